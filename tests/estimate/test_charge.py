"""Charge counting and the open-circuit curve."""

from __future__ import annotations

import pytest

from watchkeeper.estimate.packs.charge import ChargeCount
from watchkeeper.estimate.packs.curve import PUBLISHED


@pytest.mark.parametrize(("charge_pct", "volt"), [(100, 4.2), (80, 3.989), (50, 3.782), (20, 3.65), (0, 3.0)])
def test_polymer_curve_is_the_mean_of_published_ones(charge_pct: float, volt: float) -> None:
    # of four parameter sets of pybamm, as test_curve derives it
    assert PUBLISHED["lipo"].rest_voltage_at(charge_pct) == volt
    assert PUBLISHED["lipo"].charge_at(volt) == pytest.approx(charge_pct)


def test_curves_hold_at_their_ends_and_lie_in_order() -> None:
    assert PUBLISHED["lipo"].charge_at(5) == 100
    assert PUBLISHED["lipo"].charge_at(1) == 0
    assert PUBLISHED["liion"].rest_voltage_at(90) == 4.097  # Chen 2020 (facts section 6)
    assert PUBLISHED["lihv"].rest_voltage_at(100) == pytest.approx(4.35)


def test_starts_from_rest_and_follows_the_counter() -> None:
    count = ChargeCount(22)
    assert count.update(3.989, 1.0, 0.1, 99, 0) == pytest.approx(80)
    assert count.start == "rest"
    assert count.update(3.9, 95.0, 2.3, 90, 60_000_000) == pytest.approx(70)
    # The counter began anew (a reboot): what it now shows was used since.
    count.update(3.9, 95.0, 0.22, 90, 61_000_000)
    assert count.update(3.9, 95.0, 0.2464, 90, 62_000_000) == pytest.approx(70 - 100 * 0.2464 / 22)


def test_half_used_pack_announced_as_full_is_seen_by_its_rest() -> None:
    assert ChargeCount(22).update(3.782, 1.0, None, 100, 0) == pytest.approx(50)


def test_under_load_it_starts_from_the_gauge_and_sums_the_current() -> None:
    count = ChargeCount(22)
    assert count.update(3.9, 95.0, None, 70, 0) == pytest.approx(70)
    assert count.start == "gauge"
    for second in range(1, 361):
        left = count.update(3.9, 66.0, None, 70, second * 1_000_000)
    assert left == pytest.approx(70 - 30)  # 66 A for six minutes are 6.6 Ah of 22


def test_without_a_gauge_it_starts_from_the_load_line() -> None:
    count = ChargeCount(22)
    assert count.update(3.902, 95.0, None, None, 0) == pytest.approx(70)
    assert count.start == "load"


def test_a_hole_without_counter_is_drawn_at_the_last_current_with_a_wider_doubt() -> None:
    count = ChargeCount(22)
    count.update(3.9, 90.0, None, 70, 0)
    assert count.doubt_pct == 0
    # 90 A for 120 s are 3 Ah of 22
    assert count.update(3.9, 90.0, None, 70, 120_000_000) == pytest.approx(70 - 100 * 3 / 22)
    assert count.doubt_pct == pytest.approx(0.3 * 100 * 3 / 22)


def test_a_counter_that_comes_back_tells_what_a_hole_used() -> None:
    count = ChargeCount(22)
    count.update(3.9, 90.0, 1.0, 70, 0)
    assert count.update(3.9, 90.0, 3.8, 70, 120_000_000) == pytest.approx(70 - 100 * 2.8 / 22)
    assert count.doubt_pct == 0


def test_after_a_hole_too_long_to_guess_it_begins_anew() -> None:
    count = ChargeCount(22)
    count.update(None, 90.0, None, 70, 0)
    assert count.update(3.782, 90.0, None, None, 400_000_000) == pytest.approx(50)
    assert count.start == "load"
    assert count.doubt_pct == 5
    assert count.update(3.9, 90.0, None, 40, 800_000_000) == pytest.approx(40)
    assert count.update(None, 90.0, None, None, 1_200_000_000) is None


def test_unknown_when_neither_current_nor_counter_tells_for_more_than_ten_seconds() -> None:
    count = ChargeCount(22)
    count.update(3.9, 90.0, None, 70, 0)
    assert count.update(3.9, None, None, 70, 10_000_000) is not None
    for second in range(11, 60):
        assert count.update(3.9, None, None, 70, second * 1_000_000) is None
    assert count.update(3.9, 90.0, None, 70, 60_000_000) == pytest.approx(70 - 100 * 1.5 / 22)


def test_a_pack_that_never_told_a_current_is_followed_by_its_gauge() -> None:
    count = ChargeCount(22)
    for second in range(100):
        assert count.update(None, None, None, 90.0 - second / 10, second * 1_000_000) == pytest.approx(
            90 - second / 10
        )
    assert count.update(None, None, None, None, 111_000_000) is None


def test_a_counter_that_stands_still_is_not_followed() -> None:
    """Some aircraft send 0 mAh for ever."""
    count = ChargeCount(22)
    for second in range(361):
        left = count.update(3.9, 66.0, 0.0, 70, second * 1_000_000)
    assert left == pytest.approx(70 - 30)
    still = ChargeCount(22)
    still.update(3.9, 66.0, 0.0, 70, 0)
    assert still.update(3.9, None, 0.0, 70, 11_000_000) is None


def flown(odd: dict[int, float]) -> list[float | None]:
    """Return the charge of each second at 90 A; `odd` replaces what the counter says in some seconds."""
    count = ChargeCount(22)
    return [count.update(None, 90.0, odd.get(s, s / 40), 85, s * 1_000_000) for s in range(60)]


@pytest.mark.parametrize("odd_ah", [2000.0, 15.0, 0.0])
def test_one_odd_value_of_the_counter_changes_nothing(odd_ah: float) -> None:
    assert flown({30: odd_ah}) == pytest.approx(flown({}))


def test_a_step_told_twice_is_believed_if_a_pack_can_hold_it() -> None:
    stepped = {s: s / 40 + 8 for s in range(30, 60)}
    assert flown(stepped)[-1] == pytest.approx(85 - 100 * (59 / 40 + 8) / 22)
    set_anew = {s: s / 40 + 2000 for s in range(30, 60)}
    assert flown(set_anew)[-1] == pytest.approx(flown({})[-1])


def test_a_current_into_the_pack_gives_back_no_more_than_evening_out() -> None:
    count = ChargeCount(22)
    for second in range(600):
        left = count.update(3.9, -90.0, None, 70, second * 1_000_000)
    assert left == pytest.approx(71)


@pytest.mark.parametrize(
    ("rest_v", "gauge_pct", "expected_pct"),
    [
        (3.782, 100, 50),  # a half used pack put in as full
        (3.782, 45, 45),  # on the flat 50 mV are 15 %: the gauge may be right
        (3.782, 0, 35.53),  # but not by more
        (3.989, 40, 74.25),  # where it is steep, 50 mV are 5 %
        (3.989, None, 80),
    ],
)
def test_the_gauge_lowers_a_resting_start_within_the_doubt_of_the_voltage(
    rest_v: float, gauge_pct: float | None, expected_pct: float
) -> None:
    # By hand on the mean curve: 3.732 V lies at 30 + 10 x 21 / 38, 3.939 V at 70 + 10 x 37 / 87.
    assert ChargeCount(22).update(rest_v, 1.0, None, gauge_pct, 0) == pytest.approx(expected_pct, abs=0.01)


def test_without_capacity_the_gauge_is_repeated_and_without_both_it_is_unknown() -> None:
    assert ChargeCount(None).update(3.9, 20.0, 1.0, 63, 0) == 63
    assert ChargeCount(None).update(3.9, 20.0, 1.0, None, 0) is None
    assert ChargeCount(22).update(None, None, None, None, 0) is None


def test_a_counter_that_steps_back_a_little_is_not_one_that_began_anew() -> None:
    # packs in parallel even out at rest: one is charged a few mAh by the other (common practice)
    count = ChargeCount(22.0)
    count.update(None, 40.0, 5.0, 60.0, 0)
    before = count.update(None, 40.0, 5.012, 60.0, 1_000_000)
    after = count.update(None, 0.0, 5.01, 60.0, 2_000_000)
    assert before is not None
    assert after == pytest.approx(before + 100 * 0.002 / 22, abs=1e-9)
    count.update(None, 40.0, 0.011, 60.0, 3_000_000)
    anew = count.update(None, 40.0, 0.022, 60.0, 4_000_000)
    assert anew == pytest.approx(before + 100 * (0.002 - 0.022) / 22, abs=1e-9)
