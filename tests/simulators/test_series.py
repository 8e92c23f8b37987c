"""Series, unrest and packs of the scripted flights."""

from __future__ import annotations

import pytest

from simulators.scripted.electric import REST_CELL_V, ParallelPacks, rest_cell_v
from simulators.scripted.series import Wobble, series, steps

RAMP = series([(2.0, 0.0), (4.0, 10.0), (8.0, 10.0)])


def test_values_lie_on_straight_lines_and_are_held_at_the_ends() -> None:
    assert [RAMP.at(t) for t in (0.0, 2.0, 3.0, 4.0, 6.0, 8.0, 99.0)] == [0, 0, 5, 10, 10, 10, 10]


@pytest.mark.parametrize("time_s", [0.0, 1.6, 2.3, 3.0, 4.4, 7.9, 8.3, 20.0])
def test_mean_is_the_mean_of_many_values(time_s: float) -> None:
    n = 20_000
    values = [RAMP.at(time_s + 2 * ((i + 0.5) / n - 0.5)) for i in range(n)]
    assert RAMP.mean(time_s, 2.0) == pytest.approx(sum(values) / n, abs=1e-6)


@pytest.mark.parametrize("time_s", [1.3, 2.2, 2.9, 3.4, 4.6, 6.0])
def test_rate_and_bend_are_derivatives_of_the_mean(time_s: float) -> None:
    step = 1e-4
    ahead, behind, here = (RAMP.mean(time_s + k * step, 2.0) for k in (1, -1, 0))
    assert RAMP.rate(time_s, 2.0) == pytest.approx((ahead - behind) / (2 * step), abs=1e-6)
    assert RAMP.bend(time_s, 2.0) == pytest.approx((ahead - 2 * here + behind) / step**2, abs=1e-3)


def test_words_hold_until_the_next() -> None:
    words = steps([(0.0, "a"), (5.0, "b")])
    assert [words.at(t) for t in (0.0, 4.99, 5.0, 50.0)] == ["a", "a", "b", "b"]


def test_times_have_to_increase() -> None:
    with pytest.raises(ValueError, match="increase"):
        series([(1.0, 0.0), (1.0, 1.0)])
    with pytest.raises(ValueError, match="at least one"):
        steps([])


def test_unrest_stays_within_one_and_is_the_same_for_a_seed() -> None:
    values = [Wobble("x").at(i / 10) for i in range(3000)]
    assert max(values) <= 1
    assert min(values) >= -1
    assert max(values) - min(values) > 1
    assert values == [Wobble("x").at(i / 10) for i in range(3000)]
    assert values != [Wobble("y").at(i / 10) for i in range(3000)]


def test_rest_voltage_rises_with_charge() -> None:
    volts = [v for _, v in REST_CELL_V]
    assert volts == sorted(volts)
    assert [rest_cell_v(z) for z in (-5, 15, 100, 101)] == pytest.approx([3.3, 3.595, 4.19, 4.19])


def test_equal_packs_share_the_current_and_give_the_power() -> None:
    packs = ParallelPacks(12, 22.0, [0.018, 0.018], 50.0)
    packs.draw(4000.0, 0.0, 0.05)
    # both solve 45.48 - 0.018 I = V with V I = 2000 a pack: I = (45.48 - sqrt(45.48^2 - 4 * 0.018 * 2000)) / 0.036
    assert [pack.current_a for pack in packs.packs] == pytest.approx([44.7686, 44.7686], abs=1e-4)
    assert packs.voltage_v * packs.current_a == pytest.approx(4000)


def test_the_pack_of_lower_resistance_gives_more_by_ohm_s_law() -> None:
    packs = ParallelPacks(12, 22.0, [0.018, 0.036], 50.0)
    packs.draw(3000.0, 0.0, 0.05)
    first, second = packs.packs
    assert first.current_a == pytest.approx(2 * second.current_a)


def test_a_demand_beyond_the_greatest_power_gives_half_the_rest_voltage() -> None:
    # the maximum power theorem
    packs = ParallelPacks(12, 22.0, [0.018], 50.0)
    packs.draw(1e6, 0.0, 0.05)
    assert packs.voltage_v == pytest.approx(12 * 3.79 / 2)


def test_after_the_load_the_fuller_pack_feeds_the_emptier_and_no_counter_runs_back() -> None:
    packs = ParallelPacks(12, 22.0, [0.018, 0.036], 50.0)
    for _ in range(2000):
        packs.draw(4000.0, 0.0, 0.05)
    first, second = packs.packs
    counted_ah, charge_pct = first.used_ah, first.charge_pct
    assert first.charge_pct < second.charge_pct
    for _ in range(200):
        packs.draw(0.0, 0.0, 0.05)
    assert first.charge_pct > charge_pct
    assert (first.used_ah, first.current_a) == (counted_ah, 0.0)
    assert second.current_a > 0
