"""Charge counting and the open-circuit curve."""

from __future__ import annotations

import pytest

from watchkeeper.estimate.charge import ChargeCount
from watchkeeper.estimate.curve import charge_at, rest_voltage_at


@pytest.mark.parametrize(("charge_pct", "volt"), [(100, 4.2), (80, 3.987), (50, 3.787), (20, 3.587), (0, 2.5)])
def test_polymer_curve_is_the_published_one(charge_pct: float, volt: float) -> None:
    # Ecker 2015 (facts section 6).
    assert rest_voltage_at(charge_pct) == volt
    assert charge_at(volt) == pytest.approx(charge_pct)


def test_curves_hold_at_their_ends_and_lie_in_order() -> None:
    assert charge_at(5) == 100
    assert charge_at(1) == 0
    assert rest_voltage_at(90, "liion") == 4.097  # Chen 2020 (facts section 6)
    assert rest_voltage_at(100, "lihv") == pytest.approx(4.35)


def test_starts_from_rest_and_follows_the_counter() -> None:
    count = ChargeCount(22)
    assert count.update(3.987, 1.0, 0.1, 99, 0) == pytest.approx(80)
    assert count.start == "rest"
    assert count.update(3.9, 95.0, 2.3, 90, 60_000_000) == pytest.approx(70)
    # The counter began anew (a reboot): what it now shows was used since.
    assert count.update(3.9, 95.0, 0.22, 90, 61_000_000) == pytest.approx(69)


def test_half_used_pack_announced_as_full_is_seen_by_its_rest() -> None:
    assert ChargeCount(22).update(3.787, 1.0, None, 100, 0) == pytest.approx(50)


def test_under_load_it_starts_from_the_gauge_and_sums_the_current() -> None:
    count = ChargeCount(22)
    assert count.update(3.9, 95.0, None, 70, 0) == pytest.approx(70)
    assert count.start == "gauge"
    for second in range(1, 361):
        left = count.update(3.9, 66.0, None, 70, second * 1_000_000)
    assert left == pytest.approx(70 - 30)  # 66 A for six minutes are 6.6 Ah of 22


def test_without_a_gauge_it_starts_from_the_load_line() -> None:
    count = ChargeCount(22)
    assert count.update(3.882, 95.0, None, None, 0) == pytest.approx(70)
    assert count.start == "load"


def test_silence_is_not_summed_over() -> None:
    count = ChargeCount(22)
    count.update(3.9, 95.0, None, 70, 0)
    assert count.update(3.9, 95.0, None, 70, 60_000_000) == pytest.approx(70)


def test_without_capacity_the_gauge_is_repeated_and_without_both_it_is_unknown() -> None:
    assert ChargeCount(None).update(3.9, 20.0, 1.0, 63, 0) == 63
    assert ChargeCount(None).update(3.9, 20.0, 1.0, None, 0) is None
    assert ChargeCount(22).update(None, None, None, None, 0) is None


def test_a_counter_that_steps_back_a_little_is_not_one_that_began_anew() -> None:
    # packs in parallel even out at rest: one is charged a few mAh by the other (common practice)
    count = ChargeCount(22.0)
    count.update(None, 40.0, 5.0, 60.0, 0)
    before = count.update(None, 40.0, 5.1, 60.0, 1_000_000)
    after = count.update(None, 0.0, 5.098, 60.0, 2_000_000)
    assert before is not None
    assert after == pytest.approx(before + 100 * 0.002 / 22, abs=1e-9)
    anew = count.update(None, 40.0, 0.01, 60.0, 3_000_000)
    assert anew == pytest.approx(before + 100 * (0.002 - 0.01) / 22, abs=1e-9)
