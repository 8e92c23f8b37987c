"""Packs on one bus lean on each other: flown on the simulator's bank of packs, by Kirchhoff and by hand."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest

from simulators.physics.cell import CELLS
from simulators.physics.packs import Pack, PackBank, PackModel
from tests.estimate.packflight import GROUND_S, Bench
from watchkeeper.aircraft.files import Packs
from watchkeeper.estimate.matrix import is_covariance
from watchkeeper.estimate.packs.busvolts import Over
from watchkeeper.estimate.packs.chargefilter import ChargeFilter
from watchkeeper.estimate.packs.curve import CHARGE_PCT, MEASURED_V, PUBLISHED
from watchkeeper.estimate.packs.onebus import APART_V, LEADS_V, OnBus, lean
from watchkeeper.estimate.packs.packtoday import SCALE

FILE = "packs: {cells: 12, capacity: 22 Ah, count: 2, topology: TOPOLOGY, age: 0 cycles, resistance: 15 mohm}"
SEEDS = range(8)
KINDS = tuple(CELLS)
DRAWN = 0.7
EVERY_S = 2


class End(NamedTuple):
    """Charges of two packs when most is drawn, what was told of them, and what each one's monitor counted."""

    true: tuple[float, float]
    told: tuple[float, float]
    counted: tuple[float, float]


@cache
def flown(seed: int, topology: str = "parallel", unlike: float = 0.0) -> End:
    """Fly two packs on a bus; each monitor's current is 3 % off by itself, one deviation.

    `unlike`: the second pack has so much more resistance than the first.
    """
    dice = random.Random(seed)
    cell = CELLS[KINDS[seed % len(KINDS)]]
    more = 1.0 + unlike
    other = replace(cell, r0_ohm=cell.r0_ohm * more, r1_ohm=cell.r1_ohm * more, r2_ohm=cell.r2_ohm * more)
    bank = PackBank([Pack(PackModel(kind, wiring_ohm=0.0), dice.uniform(0.97, 1.0)) for kind in (cell, other)])
    scale = [dice.gauss(1.0, 0.03) for _ in range(2)]
    bench = Bench(FILE.replace("TOPOLOGY", topology))
    second = 0
    while bank.packs[0].charge > 1.0 - DRAWN:
        flying = second >= GROUND_S
        power_w = (3600.0 if (second // 60) % 4 else 5000.0) if flying else 50.0
        for _ in range(5):
            bank.draw(power_w, 0.2, 25.0)
        if second % EVERY_S == 0:
            bench.at(second, flying=flying)
            for i, pack in enumerate(bank.packs):
                shown_v = bank.voltage_v + 12 * dice.gauss(0.0, 0.002)
                bench.tell(i + 1, voltage=shown_v, current=max(0.0, pack.current_a) * scale[i])
            bench.run()
        second += 1
    one, two = (kept for pack in bench.estimates._packs if (kept := pack.filter) is not None)
    return End((bank.packs[0].charge, bank.packs[1].charge), (one.charge, two.charge), (one.counted, two.counted))


def gaps(charges: list[tuple[float, float]]) -> np.ndarray:
    return np.array([one - two for one, two in charges])


def test_charges_that_cannot_run_apart_are_not_told_so() -> None:
    """Rms of how far the gap between both is off: 1.0 % told and 1.9 % counted, over 16 flights."""
    ends = [flown(seed) for seed in SEEDS]
    true = gaps([one.true for one in ends])
    told_off, counted_off = gaps([one.told for one in ends]) - true, gaps([one.counted for one in ends]) - true
    assert np.sqrt(np.mean(counted_off**2)) > 0.015
    assert np.sqrt(np.mean(told_off**2)) < 0.65 * np.sqrt(np.mean(counted_off**2))
    # the lower one, on which a forecast rests, is too low by less
    lowest = np.array([min(one.true) for one in ends])
    told = np.array([min(one.told) for one in ends])
    counted = np.array([min(one.counted) for one in ends])
    assert np.mean(counted - lowest) < np.mean(told - lowest) < 0.01


def test_packs_that_are_apart_in_truth_stay_apart() -> None:
    """With 30 % more resistance in one of them it gives less, and is 2.9 % fuller in the end."""
    ends = [flown(seed, unlike=0.3) for seed in SEEDS]
    true, told = gaps([one.true for one in ends]), gaps([one.told for one in ends])
    assert np.mean(true) < -0.02
    assert abs(np.mean(told - true)) < 0.007


def test_packs_in_series_stand_alone() -> None:
    end = flown(0, "series")
    assert end.told == end.counted


# --- by hand: a Gaussian on condition of what its parts differ by (numpy) ----------------------------------------


def counting(charge: float, drawn: float) -> ChargeFilter:
    kept = ChargeFilter(Packs.model_validate({"cells": 12, "capacity": "22 Ah"}), 12, 22.0)
    assert kept.begin(4.2, None, resting=True, load_a=0.0)
    kept.draw(22.0 * drawn / np.exp(kept._x[3]), 0.0)
    kept._x[0] = charge
    return kept


def on_bus(*filters: ChargeFilter, amps: float = 50.0, over_v: Sequence[float] = ()) -> list[OnBus]:
    over = over_v or [0.0 for _ in filters]
    return [OnBus(one, amps, over=Over(volts, 1.0)) for one, volts in zip(filters, over, strict=True)]


LEADS = LEADS_V / MEASURED_V
"""Of a monitor's voltage, what stays its own once the bus has shown it."""


def own(kept: ChargeFilter) -> float:
    """Return the charge that one deviation of all that is a pack's own makes."""
    return float(np.hypot.reduce([one[0] for one in kept.own_errors(0.0)] + [LEADS * kept.volts_error()[1][0]]))


def test_two_packs_as_numpy_has_it() -> None:
    one, two = counting(0.42, 0.55), counting(0.37, 0.5)
    middle_pct = 50.0 * (one.counted + two.counted)
    slope = 100.0 * PUBLISHED["lipo"].fall_at(middle_pct)
    # begun at a full cell's voltage, which 15 mV of a monitor and 6 of a short rest leave open by so much charge
    slope_v = 200.0 * 0.01616 / (100.0 - float(np.interp(4.2 - 0.01616, PUBLISHED["lipo"].volts, CHARGE_PCT)))
    begun = 0.015 / slope_v
    alone = np.hypot([0.55 * SCALE, 0.5 * SCALE], LEADS * begun)
    assert [own(one), own(two)] == pytest.approx(alone, rel=1e-3)
    apart = (one.drop_v(50.0) - two.drop_v(50.0)) / slope
    # z1 - z2 = what the drops differ by over the slope, within APART_V over the slope
    row = np.array([1.0, -1.0])
    square = row @ np.diag(alone**2) @ row + (APART_V / slope) ** 2
    gain = np.diag(alone**2) @ row / square
    moved = np.array([one.counted, two.counted]) + gain * (apart - row @ [one.counted, two.counted])
    left = alone**2 - gain * (alone**2 * row)
    doubts = [one.charge_doubt**2, two.charge_doubt**2]
    lean(on_bus(one, two))
    assert [one.charge, two.charge] == pytest.approx(moved, abs=1e-9)
    told = [one.charge_doubt**2, two.charge_doubt**2]
    assert np.array(doubts) - np.array(told) == pytest.approx(
        alone**2 - left + 0.5 * (1.0 - LEADS**2) * begun**2, rel=1e-3
    )
    for kept in (one, two):
        assert is_covariance(kept._told()[1], 100.0)
        # the scale of its sensor is told off in the same measure: what was drawn is what it draws
        shift = kept.charge - kept.counted
        per_ah = kept.state().per_ah * 22.0 / np.exp(kept._x[3])
        counted = (kept._drawn * SCALE) ** 2
        drawn = counted / (counted + (LEADS * begun) ** 2)  # its part of the variance
        assert np.log(per_ah) == pytest.approx(-drawn * shift / kept._drawn, rel=1e-3)


def test_nothing_enters_the_count_however_often_it_is_told() -> None:
    one, two = counting(0.42, 0.55), counting(0.37, 0.5)
    before = [list(kept._x) for kept in (one, two)], [kept.learned() for kept in (one, two)]
    lean(on_bus(one, two))
    once = one.charge
    for _ in range(100):
        lean(on_bus(one, two))
    assert one.charge == once
    assert ([list(kept._x) for kept in (one, two)], [kept.learned() for kept in (one, two)]) == before


def test_packs_that_are_no_two_of_one_make_pull_less() -> None:
    """A gap of five deviations moves a quarter as far as one that counts in full: 1 / (5 / 2.5)^2."""
    near, far = counting(0.52, 0.5), counting(0.50, 0.5)
    deviation = float(np.hypot(own(near), APART_V / (100.0 * PUBLISHED["lipo"].fall_at(51.0)) / np.sqrt(2.0)))
    far._x[0], near._x[0] = 0.5 - 5.0 * deviation, 0.5 + 5.0 * deviation
    part = own(near) ** 2 / deviation**2
    lean(on_bus(near, far))
    assert near.counted - near.charge == pytest.approx(part * 5.0 * deviation / 4.0, rel=0.02)


def test_drops_that_would_have_packs_far_apart_move_nothing() -> None:
    """Unequal in truth, or no two of one make: their monitors are not what is wrong."""
    one, two = counting(0.5, 0.5), counting(0.48, 0.5)
    lean(on_bus(one, two))
    assert one.charge - two.charge < 0.012  # closer together
    for kept in (one, two):
        kept.leaning = None
    two._x[1] = 2.0  # seven times the resistance
    lean(on_bus(one, two))
    assert (one.charge, two.charge) == (0.5, 0.48)
    # it fades, for a jump would be told as a fall
    slope = 100.0 * PUBLISHED["lipo"].fall_at(49.0)
    moved = []
    for apart in np.linspace(0.03, 0.07, 81):
        two._x[1] = one._x[1] + np.log1p(2.0 * apart * slope / one.drop_v(50.0))
        lean(on_bus(one, two))
        moved.append(one.charge)
        for kept in (one, two):
            kept.leaning = None
    assert max(abs(a - b) for a, b in itertools.pairwise(moved)) < 0.002
    assert moved[-1] == 0.5


def test_what_voltages_show_does_not_vanish_where_drops_have_packs_apart() -> None:
    """One bus has one voltage, equal packs or not: over the same fade no step, and the volts' part at its end."""
    one, two = begun(3.84), begun(3.87)
    load(one, -0.010)
    load(two, 0.010)
    slope = 100.0 * PUBLISHED["lipo"].fall_at(50.0 * (one.counted + two.counted))
    moved = []
    for apart in np.linspace(0.03, 0.09, 121):
        two._x[1] = one._x[1] + np.log1p(2.0 * apart * slope / one.drop_v(60.0))
        lean(on_bus(one, two, amps=60.0, over_v=(-0.010, 0.010)))
        moved.append(one.charge)
    assert max(abs(a - b) for a, b in itertools.pairwise(moved)) < 0.002
    assert moved[-1] - one.counted == pytest.approx(-one.volts_error()[1][0] * 0.010 / MEASURED_V, rel=1e-6)


def test_a_pack_alone_stays_as_it_is() -> None:
    one = counting(0.42, 0.55)
    lean(on_bus(one))
    assert one.charge == one.counted == 0.42


def test_a_pack_that_has_come_off_the_bus_leans_on_nothing() -> None:
    bench = Bench(FILE.replace("TOPOLOGY", "parallel"))
    for second in range(600):
        bench.at(second, flying=second >= GROUND_S)
        flying = second >= GROUND_S
        bench.tell(1, voltage=46.0 if flying else 50.0, current=72.0 if flying else 1.0)
        bench.tell(2, voltage=46.0 if flying else 50.0, current=66.0 if flying else 1.0)
        bench.run()
    kept = [pack.filter for pack in bench.estimates._packs]
    assert all(one is not None and one.charge != one.counted for one in kept)
    for second in range(600, 640):
        bench.at(second)
        bench.tell(1, voltage=44.0, current=138.0)
        bench.tell(2, voltage=47.5, current=0.0)
        bench.run()
    assert bench.estimates.out == 1
    assert all(one is not None and one.charge == one.counted for one in kept)


def test_what_was_drawn_outlasts_the_watch() -> None:
    one = counting(0.42, 0.55)
    again = counting(0.9, 0.1)
    one.loose = 0.1
    load(one, 0.01, 30)
    again.resume(one.learned())
    assert again.own_errors(0.0) == one.own_errors(0.0)
    assert one._volts.learned() == again._volts.learned() != [0.0] * 4
    rested = begun(3.87)
    again.resume(rested.learned())
    assert again.at_rest
    assert not one.at_rest


def test_one_wrong_monitor_of_three_draws_no_other_after_it() -> None:
    """Two that agree at 30 %, one that counted half: the two stay within half a per cent of where they were."""
    one, two, wrong = counting(0.30, 0.7), counting(0.30, 0.7), counting(0.65, 0.35)
    lean(on_bus(one, two, wrong))
    assert one.charge == pytest.approx(0.30, abs=0.005)
    assert two.charge == pytest.approx(0.30, abs=0.005)
    assert wrong.charge < wrong.counted


def test_a_pack_begun_under_load_leans_and_is_not_leaned_on() -> None:
    """Begun at 60 A with a drop that is only supposed: 10 % of charge in doubt, all of it this pack's own."""
    sure, loose = (
        counting(0.60, 0.2),
        ChargeFilter(Packs.model_validate({"cells": 12, "capacity": "22 Ah"}), 12, 22.0),
    )
    assert loose.begin(3.87, None, resting=False, load_a=60.0, cell_v=3.78)
    loose._x[0] = 0.70
    assert own(loose) > 0.09
    lean(on_bus(sure, loose))
    assert abs(sure.charge - sure.counted) < 0.005
    assert loose.charge < 0.63
    # what an Ah draws has little to do with how it began
    assert loose.state().per_ah == pytest.approx(np.exp(loose._x[3]) / 22.0, rel=1e-9)


def begun(rest_v: float) -> ChargeFilter:
    kept = ChargeFilter(Packs.model_validate({"cells": 12, "capacity": "22 Ah"}), 12, 22.0)
    assert kept.begin(rest_v, None, resting=True, load_a=0.0)
    return kept


def load(kept: ChargeFilter, off_v: float, seconds: int = 600) -> None:
    """Draw 60 A; the monitor shows so much too much of a cell."""
    for second in range(1, seconds):
        kept.draw(60.0 / 3600.0, 0.0)
        kept.hear(3.74 - 0.0001 * second + off_v, 60.0, 20.0, second * 1_000_000)


def test_what_a_monitor_s_volts_make_of_a_state_is_what_a_second_filter_makes_of_them() -> None:
    """Two filters, the second shown 1 mV more all along: their charges differ by what the first foretells.

    The curve's error goes with how cells differ at a charge, and two charges have two of that: no linear step.
    """
    one, two = begun(3.87), begun(3.871)
    load(one, 0.0)
    load(two, 0.001)
    apart = [b - a for a, b in zip(one._x, two._x, strict=True)]
    charge, ohm, curve_v, draw = one._volts.error()
    foretold = [part * 0.001 / MEASURED_V for part in (-charge, -ohm, MEASURED_V - curve_v, -draw)]
    assert apart[0] == pytest.approx(foretold[0], rel=0.1)
    assert apart == pytest.approx(foretold, abs=0.0002)
    assert apart[0] > 0.0008  # 1 mV was 0.14 % of charge where it began


def test_half_used_packs_on_one_bus_average_what_their_monitors_show() -> None:
    """Monitors 30 mV of a cell apart: charges told meet (to a third: no linear step), less is left in doubt."""
    one, two = begun(3.84), begun(3.87)
    load(one, -0.015)
    load(two, 0.015)
    alone = [one.charge_doubt, two.charge_doubt]
    gap = two.counted - one.counted
    assert gap > 0.015
    lean(on_bus(one, two, amps=60.0, over_v=(-0.015, 0.015)))
    assert abs(two.charge - one.charge) < 0.4 * gap
    assert all(kept.charge_doubt < before for kept, before in zip((one, two), alone, strict=True))
    assert all(is_covariance(kept._told()[1], 100.0) for kept in (one, two))


def test_on_the_ground_nothing_shows_that_packs_are_on_one_bus() -> None:
    """Before a take-off unequal packs are told as they are: 0.1 V of a cell is an eighth of the charge there."""
    bench = Bench(FILE.replace("TOPOLOGY", "parallel"))
    for second in range(30):
        bench.at(second, flying=False)
        bench.tell(1, voltage=47.4, current=1.0)
        bench.tell(2, voltage=46.2, current=1.0)
        bench.run()
    one, two = (kept for pack in bench.estimates._packs if (kept := pack.filter) is not None)
    assert (one.charge, two.charge) == (one.counted, two.counted)
    assert one.charge - two.charge > 0.12


@pytest.mark.parametrize("gauge", [True, False])
def test_what_only_a_gauge_or_a_guess_over_a_hole_tells_moves_no_pack_that_is_measured(gauge: bool) -> None:
    """Ten per cent too much told by a gauge alone, or drawn in a hole and not counted: the other hardly moves."""
    sure, loose = counting(0.40, 0.5), begun(3.87)
    if gauge:
        assert loose.begin(None, 100.0, resting=True, load_a=0.0)
        loose.draw(22.0 * 0.5 / np.exp(loose._x[3]), 0.0)
    else:
        loose.draw(22.0 * 0.15 / np.exp(loose._x[3]), 0.05)
    loose._x[0] = 0.50
    lean(on_bus(sure, loose))
    assert sure.charge == pytest.approx(0.40, abs=0.015)
    assert loose.charge < 0.47


def test_a_gauge_that_is_believed_is_this_pack_s_own() -> None:
    plain, gauged = begun(3.8), ChargeFilter(Packs.model_validate({"cells": 12, "capacity": "22 Ah"}), 12, 22.0)
    assert gauged.begin(3.8, 60.0, resting=True, load_a=0.0)
    assert gauged.counted > plain.counted + 0.01
    assert gauged.loose == pytest.approx(
        0.05 * plain.charge_doubt**2 / (plain.charge_doubt**2 + 0.05**2), rel=1e-6
    )


def test_packs_that_cannot_charge_each_other_are_told_as_unequal_as_they_are() -> None:
    """60 and 45 %, each behind a diode; 14 to 15 % apart from before the take-off to two minutes after it."""
    curve, charges, told = PUBLISHED["lipo"], [0.60, 0.45], []
    bench = Bench(FILE.replace("TOPOLOGY", "parallel"))
    for second in range(180):
        flying = second >= GROUND_S
        amps = 120.0 if flying else 2.0
        open_v = [12 * curve.rest_voltage_at(100 * one) for one in charges]
        first = max(0.0, min(amps, (amps * 0.015 + open_v[0] - open_v[1]) / 0.030))
        bench.at(second, flying=flying)
        for i, amp in enumerate((first, amps - first)):
            charges[i] -= amp / 3600 / 22
            bench.tell(i + 1, voltage=open_v[i] - amp * 0.015, current=amp)
        bench.run()
        kept = [one for pack in bench.estimates._packs if (one := pack.filter) is not None]
        told.append(abs(kept[1].charge - charges[1]))
    assert max(told) < 0.03


def bus(seconds: range, bench: Bench, *packs: tuple[float, float], flying: bool = True) -> list[ChargeFilter]:
    """Tell volts and amperes of each pack, a second each."""
    for second in seconds:
        bench.at(second, flying=flying)
        for i, (volts, amps) in enumerate(packs):
            bench.tell(i + 1, voltage=volts, current=amps)
        bench.run()
    return [one for pack in bench.estimates._packs if (one := pack.filter) is not None]


def test_a_pack_that_gives_nothing_is_not_leaned_on_whatever_was_forgotten() -> None:
    """A restart of the watch forgets that the second has come off the bus, not that it carried before."""
    bench = Bench(FILE.replace("TOPOLOGY", "parallel"))
    bus(range(30), bench, (48.5, 1.0), (48.5, 1.0), flying=False)
    kept = bus(range(30, 200), bench, (46.0, 72.0), (46.0, 66.0))
    assert all(one.charge != one.counted and not one.at_rest for one in kept)
    for second in range(200, 260):
        bench.estimates._carrying.reset()
        bus(range(second, second + 1), bench, (45.0, 138.0), (47.5, 0.3))
    assert all(one.charge == one.counted for one in kept)


def test_packs_come_to_lean_bit_by_bit_and_stay_so_after_the_landing() -> None:
    """No step in what is told: not a minute after the take-off, not at the landing, not with the next packs."""
    bench = Bench(FILE.replace("TOPOLOGY", "parallel"))
    bus(range(30), bench, (47.0, 1.0), (46.6, 1.0), flying=False)
    apart = []
    for second in range(30, 300):
        kept = bus(range(second, second + 1), bench, (45.2, 70.0), (44.8, 70.0))
        apart.append(kept[0].charge - kept[0].counted)
    assert apart[29] == 0.0
    assert abs(apart[-1]) > 0.01
    assert max(abs(b - a) for a, b in itertools.pairwise(apart[:120])) < 0.001
    assert max(abs(b - a) for a, b in itertools.pairwise(apart)) < 0.006  # over a corner of the curve
    kept = bus(range(300, 320), bench, (46.0, 1.0), (45.9, 1.0), flying=False)
    assert kept[0].charge - kept[0].counted == pytest.approx(apart[-1], abs=0.002)
    kept = bus(range(320, 620), bench, (46.0, 1.0), (45.9, 1.0), flying=False)  # rests tell of the charge
    assert all(is_covariance(one._told()[1], 100.0) and one.charge_doubt > 0.0 for one in kept)
    # a silence in which the packs are changed, and the next flight: they stand alone again at first
    bus(range(1020, 1050), bench, (48.0, 1.0), (47.0, 1.0), flying=False)
    kept = bus(range(1050, 1060), bench, (46.0, 70.0), (45.0, 70.0))
    assert all(one.charge == one.counted for one in kept)


def test_what_all_packs_share_is_no_pack_s_own() -> None:
    """One gap in the radio makes one wrong guess for both: leaning takes nothing off that doubt."""
    one, two = counting(0.42, 0.2), counting(0.42, 0.2)
    for kept in (one, two):
        kept.draw(22.0 * 0.29 / np.exp(kept._x[3]), 0.09)
    lean(on_bus(one, two))
    assert one.charge_doubt > 0.09
    assert two.charge_doubt > 0.09
