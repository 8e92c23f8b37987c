"""What monitors on one bus show of its voltage: their means by hand, in noise, at other times, with holes."""

from __future__ import annotations

import random
from functools import cache
from typing import NamedTuple

import pytest

from simulators.physics.cell import CELLS
from simulators.physics.packs import Pack, PackBank, PackModel
from tests.estimate.packflight import GROUND_S, Bench
from watchkeeper.estimate.packs.busvolts import BusVolts

FILE = "packs: {cells: 12, capacity: 22 Ah, count: 2, topology: parallel, age: 0 cycles, resistance: 15 mohm}"
US = 1_000_000


def test_a_difference_is_told_within_some_millivolts_after_a_minute() -> None:
    """Two monitors 30 mV apart, told at other times, in gusts of 30 mV: half of it each, within 4 mV."""
    dice, bus = random.Random(1), BusVolts()
    over: list[float] = []
    for second in range(1, 180):
        for pack, off in ((0, 0.015), (1, -0.015)):
            time_us = second * US + pack * US // 2
            bus.hear(pack, 3.75 - 0.0002 * second + off + dice.gauss(0.0, 0.03), time_us)
            over = bus.over_v([0, 1], time_us)
    assert over == pytest.approx([0.015, -0.015], abs=0.004)
    assert sum(over) == pytest.approx(0.0, abs=1e-12)


def test_of_three_the_middle_one_counts() -> None:
    bus = BusVolts()
    for second in range(1, 120):
        for pack, volts in enumerate((3.70, 3.71, 4.20)):
            bus.hear(pack, volts, second * US)
        over = bus.over_v([0, 1, 2], second * US)
    assert over == pytest.approx([-0.01, 0.0, 0.49], abs=1e-6)


def test_it_begins_anew_with_other_packs_and_after_a_silence() -> None:
    bus = BusVolts()
    for second in range(1, 60):
        for pack, volts in enumerate((3.70, 3.72)):
            bus.hear(pack, volts, second * US)
        bus.over_v([0, 1], second * US)
    assert bus.over_v([0, 1], 59 * US) == pytest.approx([-0.01, 0.01])
    assert bus.over_v([0], 59 * US) == [0.0]
    assert bus.over_v([0, 1], 59 * US) == [0.0, 0.0]
    assert bus.over_v([0, 1], 60 * US) == pytest.approx([-0.01, 0.01])
    bus.hear(1, 3.70, 90 * US)  # half a minute later, and another load
    assert bus.over_v([0, 1], 90 * US) == [0.0, 0.0]
    assert bus.over_v([0, 7], 91 * US) == [0.0, 0.0]  # never heard


def test_what_is_told_twice_is_taken_once() -> None:
    bus = BusVolts()
    bus.hear(0, 3.7, US)
    bus.hear(1, 3.7, US)
    bus.over_v([0, 1], US)
    for _ in range(100):
        bus.hear(0, 4.2, US)
    assert bus.over_v([0, 1], 2 * US) == [0.0, 0.0]


class End(NamedTuple):
    """Two equal packs after a flight: their true charge, what is told of them, what each monitor counted."""

    true: float
    told: list[float]
    counted: list[float]


@cache
def flown(off_v: float, kind: str = "plain", charge: float = 0.62) -> End:
    """Fly two half-used packs of the simulator on one bus down to 30 %.

    The first monitor shows so much too much of a cell, the second as much too little.
    """
    bank = PackBank([Pack(PackModel(CELLS[kind], wiring_ohm=0.0), charge) for _ in range(2)])
    bench, second = Bench(FILE), 0
    while bank.packs[0].charge > 0.3:
        flying = second >= GROUND_S
        for _ in range(5):
            bank.draw(3600.0 if flying else 50.0, 0.2, 25.0)
        bench.at(second, flying=flying)
        for i, off in enumerate((off_v, -off_v)):
            bench.tell(i + 1, voltage=bank.voltage_v + 12 * off, current=max(0.0, bank.packs[i].current_a))
        bench.run()
        second += 1
    kept = [one for pack in bench.estimates._packs if (one := pack.filter) is not None]
    return End(bank.packs[0].charge, [one.charge for one in kept], [one.counted for one in kept])


@pytest.mark.parametrize("kind", list(CELLS))
def test_half_used_packs_whose_monitors_are_one_per_cent_apart_are_told_alike(kind: str) -> None:
    """Begun at rest on the flat of the curve, the lower one is what a forecast rests on."""
    alike, apart = flown(0.0, kind), flown(0.019, kind)
    counted, told = apart.counted[0] - apart.counted[1], apart.told[0] - apart.told[1]
    assert counted > 0.035
    assert abs(told) < 0.3 * counted
    assert min(apart.told) - min(alike.told) > 0.5 * (min(apart.counted) - min(alike.told))


def test_a_monitor_that_measures_no_bus_moves_no_other() -> None:
    """A tenth of a volt of a cell from the middle is another voltage, or none: it counts as little as it did."""
    apart, near = flown(0.1), flown(0.03)
    moved = [max(abs(a - b) for a, b in zip(end.told, end.counted, strict=True)) for end in (apart, near)]
    assert moved[0] < 0.5 * moved[1]


def test_no_pack_on_the_bus_is_no_fault() -> None:
    assert BusVolts().over_v([], US) == []
