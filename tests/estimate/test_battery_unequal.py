"""Packs that are unlike each other, in parallel or in series: shares, spreads, and what a forecast gets."""

from __future__ import annotations

import math

import pytest

from tests.estimate.packflight import Bench
from watchkeeper.aircraft.readings import BLIND

TWO = "packs: {cells: 12, capacity: 22 Ah, count: 2, age: 0 cycles}"
SERIES = "packs: {cells: 6, capacity: 22 Ah, count: 2, topology: series, age: 0 cycles}"


def hover(bench: Bench, begin_s: int, end_s: int, **packs: tuple[float | None, float | None] | None) -> None:
    """Tell each second; `p1=(V, A)` is pack 1, `whole=(V, A)` one monitor of all."""
    for second in range(begin_s, end_s):
        bench.at(second)
        for name, told in packs.items():
            if told is not None:
                bench.tell(None if name == "whole" else int(name[1:]), voltage=told[0], current=told[1])
        bench.run()


def test_unequal_packs_share_as_kirchhoff_has_it() -> None:
    # facts section 6: R .018 and .022 ohm, 44.4 and 43.8 V, 150 A: 42.645 V, 97.5 and 52.5 A
    bench = Bench(TWO)
    hover(bench, 0, 90, p1=(42.645, 97.5), p2=(42.645, 52.5))
    supplies = bench.estimates.supplies()
    assert supplies is not None
    assert [one.share for one in supplies] == pytest.approx([97.5 / 150, 52.5 / 150])
    assert [one.mean_power_w for one in supplies] == pytest.approx(
        # before it flew, 3.5 capacities an hour weigh 30 s: 3.5 x 22 x 12 x 3.7 = 3418.8 W; then 89 s
        [(3418.8 * 30 + 42.645 * amps * 89) / 119 for amps in (97.5, 52.5)],
        rel=1e-3,
    )
    assert bench.read("battery.share_spread") == pytest.approx(100 * 45 / 75)
    assert bench.read("battery.packs_out") == 0


def test_spreads_are_largest_less_smallest() -> None:
    bench = Bench(TWO)
    for second in range(120):
        flying = second >= 30
        bench.at(second, flying=flying)
        drop_v = 70 * 0.030 if flying else 0.0
        bench.tell(1, voltage=47.4 - drop_v, current=70.0 if flying else 1.0, temperature=31.0)
        bench.tell(2, voltage=46.2 - drop_v, current=70.0 if flying else 1.0, temperature=24.5)
        bench.run()
        if second == 29:
            # at rest 3.95 and 3.85 V a cell: 75.5 and 62.6 % on the mean curve
            assert bench.read("battery.charge_spread") == pytest.approx(12.9, abs=0.5)
    assert bench.read("battery.temperature_spread") == pytest.approx(6.5)
    assert bench.read("battery.share_spread") == pytest.approx(0.0, abs=1e-9)
    # in flight as the packs' filters have it: voltages that hold for 90 s tell the two apart further
    charges = [one.filter.charge for one in bench.estimates._packs if one.filter is not None]
    assert bench.read("battery.charge_spread") == pytest.approx(100 * (charges[0] - charges[1]))
    assert bench.read("battery.charge_left") == bench.read("battery.2.charge_left")


def test_a_pack_told_alone_has_no_spread_and_no_supplies() -> None:
    bench = Bench(TWO)
    hover(bench, 0, 90, p1=(44.4, 70.0))
    for name in ("share_spread", "charge_spread", "temperature_spread"):
        assert bench.read(f"battery.{name}") is BLIND
    assert bench.estimates.supplies() is None
    assert "1 of 2" in bench.estimates.why_unknown()


def test_packs_in_series_give_even_parts_and_have_no_shares_to_compare() -> None:
    bench = Bench(SERIES)
    hover(bench, 0, 90, p1=(22.6, 70.0), p2=(22.0, 70.0))
    supplies = bench.estimates.supplies()
    assert supplies is not None
    assert [one.share for one in supplies] == [0.5, 0.5]
    assert [one.state.cells for one in supplies] == [6, 6]
    assert supplies[0].state.charge > supplies[1].state.charge
    assert bench.read("battery.share_spread") is BLIND
    # a pack in series cannot come off the bus and leave the other to carry
    hover(bench, 90, 100, p1=(22.6, 140.0), p2=(22.0, 0.2))
    assert bench.read("battery.packs_out") == 0


def test_one_monitor_of_all_is_a_pack_of_them_all() -> None:
    beside, behind = Bench(TWO), Bench(SERIES)
    hover(beside, 0, 60, whole=(44.4, 140.0))
    hover(behind, 0, 60, whole=(44.4, 70.0))
    (one,) = beside.estimates.supplies() or []
    assert (one.share, one.state.cells) == (1.0, 12)
    assert one.state.per_ah == pytest.approx(1 / 44, rel=0.1)
    (other,) = behind.estimates.supplies() or []
    assert (other.share, other.state.cells) == (1.0, 12)
    assert other.state.per_ah == pytest.approx(1 / 22, rel=0.15)
    # the same load of each pack, of the same voltage a cell: the same charge
    assert one.state.charge == pytest.approx(other.state.charge, abs=1e-6)
    assert one.empty == pytest.approx(other.empty, abs=1e-3)


def test_a_pack_off_the_bus_leaves_the_other_with_all_of_the_load() -> None:
    bench = Bench(TWO)
    hover(bench, 0, 60, p1=(44.4, 70.0), p2=(44.4, 70.0))
    hover(bench, 60, 70, p1=(42.8, 140.0), p2=(45.6, 0.2))
    assert bench.read("battery.packs_out") == 1
    (one,) = bench.estimates.supplies() or []
    assert one.share == 1.0
    hover(bench, 70, 80, p1=(44.2, 70.0), p2=(44.4, 70.0))  # the plug has found its contact again
    assert bench.read("battery.packs_out") == 0
    supplies = bench.estimates.supplies()
    assert supplies is not None
    assert sum(one.share for one in supplies) == pytest.approx(1.0)


@pytest.mark.parametrize("stays_a", [70.0, 50.0])
def test_what_a_pack_can_give_alone_ends_where_it_cannot_hold_the_whole_flight(stays_a: float) -> None:
    """Energy is conserved: what a flight takes does not change when a pack opens, so the other gives all of it."""
    bench = Bench(TWO)
    hover(bench, 0, 600, p1=(44.4, stays_a), p2=(44.4, 140.0 - stays_a))
    both = bench.estimates.supplies() or []
    usable = bench.read("battery.1.charge_left")
    hover(bench, 600, 610, p1=(42.8, 145.2), p2=(45.6, 0.2))
    (one,) = bench.estimates.supplies() or []
    assert one.mean_power_w == pytest.approx(sum(each.mean_power_w for each in both), rel=0.01)
    assert one.mean_power_w == pytest.approx(44.4 * 140.0, rel=0.1)
    assert one.empty == pytest.approx(one.state.empty(one.mean_power_w, one.floor_v))
    assert one.empty > both[0].empty + 0.01
    assert bench.read("battery.1.charge_left") < usable - 1.0
    hover(bench, 610, 620, p1=(44.2, stays_a), p2=(44.2, 140.0 - stays_a))
    again = bench.estimates.supplies() or []
    assert [each.mean_power_w for each in again] == pytest.approx([each.mean_power_w for each in both], rel=0.02)


def test_a_silent_pack_is_missed_and_taken_up_where_it_is_when_it_comes_back() -> None:
    bench = Bench(TWO)
    hover(bench, 0, 60, p1=(44.4, 70.0), p2=(44.4, 70.0))
    before = bench.estimates._packs[1].filter
    assert before is not None
    charge = before.charge
    hover(bench, 60, 120, p1=(44.4, 70.0), p2=None)
    assert bench.estimates.supplies() is None
    assert bench.read("battery.2.charge_left") is BLIND
    assert bench.read("battery.gauge_off") is BLIND
    hover(bench, 120, 125, p1=(44.3, 70.0), p2=(44.3, 70.0))
    after = bench.estimates._packs[1].filter
    assert after is not None
    # 70 A for 61 s and 4 s more of 22 Ah: 5.7 %; it is not begun anew, and the voltage says a little too
    assert charge - after.charge == pytest.approx(70 * 65 / 3600 / 22, abs=0.015)
    assert bench.estimates.supplies() is not None


@pytest.mark.parametrize("current_a", [None, 0.0, -70.0, math.nan, math.inf])
def test_a_current_that_is_none_gives_no_supply(current_a: float | None) -> None:
    bench = Bench(TWO)
    hover(bench, 0, 60, p1=(44.4, 70.0), p2=(44.4, current_a))
    assert bench.estimates.supplies() is None
    assert bench.estimates.why_unknown()
    assert isinstance(bench.read("battery.1.charge_left"), float)
