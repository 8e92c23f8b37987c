"""What monitors on one bus show of its voltage: their means by hand, in noise, at other times, with holes."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

import pytest

from simulators.physics.cell import CELLS
from simulators.physics.packs import Pack, PackBank, PackModel
from tests.estimate.packflight import GROUND_S, Bench
from watchkeeper.aircraft.files import Packs
from watchkeeper.estimate.packs.busvolts import SETTLES_S, BusVolts, Over
from watchkeeper.estimate.packs.chargefilter import ChargeFilter
from watchkeeper.estimate.packs.onebus import OnBus, lean

FILE = "packs: {cells: 12, capacity: 22 Ah, count: 2, topology: parallel, age: 0 cycles, resistance: 15 mohm}"
US = 1_000_000


def followed(
    bus: BusVolts, seconds: range, volts: Sequence[float], *, noise_v: float = 0.0, every_s: int = 1
) -> list[Over]:
    """Let each monitor show its voltage, at other times of each second; return the last answer."""
    dice, over = random.Random(1), []
    for second in seconds:
        if second % every_s == 0:
            for pack, volt in enumerate(volts):
                time_us = second * US + pack * US // 4
                bus.hear(pack, volt - 0.0002 * second + dice.gauss(0.0, noise_v), time_us)
        over = bus.over(range(len(volts)), second * US + US // 2)
    return over


def test_a_difference_is_told_within_some_millivolts() -> None:
    """Two monitors 30 mV apart, told at other times, in gusts of 30 mV: half of it each, within 4 mV."""
    over = followed(BusVolts(), range(1, 180), (3.765, 3.735), noise_v=0.03)
    assert [one.over_v for one in over] == pytest.approx([0.015, -0.015], abs=0.004)
    assert sum(one.over_v for one in over) == pytest.approx(0.0, abs=1e-12)
    assert [one.sure for one in over] == [1.0, 1.0]


def test_what_is_not_measured_is_not_sure() -> None:
    bus = BusVolts()
    told = [followed(bus, range(second, second + 1), (3.76, 3.74))[0].sure for second in range(1, 120)]
    assert told[: int(SETTLES_S)] == [0.0] * int(SETTLES_S)
    assert max(b - a for a, b in itertools.pairwise(told)) < 0.05
    assert told[-1] == 1.0
    assert BusVolts().over([0], US) == [Over(0.0, 0.0)]  # alone
    assert BusVolts().over([], US) == []
    one = BusVolts()
    for second in range(1, 200):
        one.hear(0, 3.7, second * US)
        over = one.over([0, 1], second * US)  # the other is never heard
    assert over == [Over(0.0, 0.0)] * 2


def test_of_three_the_middle_one_counts() -> None:
    over = followed(BusVolts(), range(1, 150), (3.70, 3.71, 4.20))
    assert [one.over_v for one in over] == pytest.approx([-0.01, 0.0, 0.49], abs=1e-3)


def test_monitors_that_tell_rarely_are_compared_too() -> None:
    """Each 11 s."""
    over = followed(BusVolts(), range(1, 400), (3.76, 3.74), every_s=11)
    assert [one.over_v for one in over] == pytest.approx([0.01, -0.01], abs=0.002)
    assert over[0].sure == 1.0


def test_a_voltage_that_is_told_no_more_is_compared_with_nothing() -> None:
    """The other falls by 0.12 V in ten minutes; what was found before stays."""
    bus = BusVolts()
    before = followed(bus, range(1, 200), (3.76, 3.74))
    for second in range(200, 800):
        bus.hear(0, 3.76 - 0.0002 * second, second * US)
        over = bus.over([0, 1], second * US)
    assert [one.over_v for one in over] == pytest.approx([one.over_v for one in before], abs=0.003)
    # heard again, under another load than when it was lost
    over = followed(bus, range(800, 860), (3.56, 3.54))
    assert [one.over_v for one in over] == pytest.approx([one.over_v for one in before], abs=0.003)


def test_on_the_ground_nothing_is_compared_and_other_packs_are_forgotten() -> None:
    bus = BusVolts()
    before = followed(bus, range(1, 200), (3.76, 3.74))
    bus.pause(200 * US + US // 2)
    bus.hear(0, 4.0, 200 * US)  # told on the ground, without a load
    after = followed(bus, range(201, 300), (3.76, 3.74))
    assert [one.over_v for one in after] == pytest.approx([one.over_v for one in before], abs=1e-4)
    bus.forget()
    assert followed(bus, range(300, 310), (3.76, 3.74)) == [Over(0.0, 0.0)] * 2
    assert bus.over([0, 7], 311 * US) == [Over(0.0, 0.0)] * 2


def test_what_is_told_twice_is_taken_once() -> None:
    bus = BusVolts()
    before = followed(bus, range(1, 200), (3.7, 3.7))
    for _ in range(100):
        bus.hear(0, 4.2, 199 * US)
    assert bus.over([0, 1], 200 * US)[0].over_v == pytest.approx(before[0].over_v, abs=1e-9)


class Flight:
    """Two packs of the simulator on one bus; each monitor shows so much too much of a cell, or nothing (None)."""

    def __init__(self, charge: float, kind: str = "plain") -> None:
        self.bank = PackBank([Pack(PackModel(CELLS[kind], wiring_ohm=0.0), charge) for _ in range(2)])
        self.bench = Bench(FILE)
        self.second = 0
        self.told: list[list[float]] = []
        """Charges told, a second each."""
        self.doubts: list[list[float]] = []

    def fly(self, seconds: int, off_v: Sequence[float | None], power_w: float = 3600.0) -> None:
        """Fly for so long, or stand, with a power of next to nothing."""
        for _ in range(seconds):
            for _ in range(5):
                self.bank.draw(power_w, 0.2, 25.0)
            self.bench.at(self.second, flying=power_w > 100.0)
            for i, off in enumerate(off_v):
                if off is not None:
                    current_a = max(0.0, self.bank.packs[i].current_a)
                    self.bench.tell(i + 1, voltage=self.bank.voltage_v + 12 * off, current=current_a)
            self.bench.run()
            self.told.append([one.charge for one in self.kept])
            self.doubts.append([one.charge_doubt for one in self.kept])
            self.second += 1

    @property
    def kept(self) -> list[ChargeFilter]:
        return [one for pack in self.bench.estimates._packs if (one := pack.filter) is not None]


class End(NamedTuple):
    """Two equal packs after a flight: their true charge, what is told, its doubt, what each monitor counted."""

    true: float
    told: list[float]
    doubts: list[float]
    counted: list[float]


@cache
def flown(off_v: float, other_v: float, kind: str = "plain") -> End:
    """Fly two half-used packs down to 30 %."""
    flight = Flight(0.62, kind)
    flight.fly(GROUND_S, (off_v, other_v), 50.0)
    while flight.bank.packs[0].charge > 0.3:
        flight.fly(1, (off_v, other_v))
    counted = [one.counted for one in flight.kept]
    return End(flight.bank.packs[0].charge, flight.told[-1], flight.doubts[-1], counted)


@pytest.mark.parametrize("kind", list(CELLS))
def test_half_used_packs_whose_monitors_are_one_per_cent_apart_are_told_alike(kind: str) -> None:
    """Begun at rest on the flat of the curve, the lower one is what a forecast rests on."""
    alike, apart = flown(0.0, 0.0, kind), flown(0.019, -0.019, kind)
    counted, told = apart.counted[0] - apart.counted[1], apart.told[0] - apart.told[1]
    assert counted > 0.035
    assert abs(told) < 0.3 * counted
    assert min(apart.told) - min(alike.told) > 0.5 * (min(apart.counted) - min(alike.told))


def test_a_monitor_that_measures_no_bus_moves_no_other() -> None:
    """A tenth of a volt of a cell from the middle is another voltage, or none: it counts as little as it did."""
    apart, near = flown(0.1, -0.1), flown(0.025, -0.025)
    moved = [max(abs(a - b) for a, b in zip(end.told, end.counted, strict=True)) for end in (apart, near)]
    assert moved[0] < 0.5 * moved[1]


@pytest.mark.parametrize("wrong_v", [0.03, 0.06, 0.09, 0.12, 0.14])
def test_one_wrong_monitor_of_two_lifts_the_right_one_within_its_bound(wrong_v: float) -> None:
    """Which of two is wrong nobody knows: they meet halfway, until it is plain that one measures no bus."""
    right, end = flown(0.0, 0.0), flown(0.0, wrong_v)
    lower = min(range(2), key=lambda i: end.told[i])
    assert end.told[lower] - 1.65 * end.doubts[lower] < min(end.true, right.told[0])
    if wrong_v > 0.13:
        assert end.told[lower] - right.told[0] < 0.03


def test_a_hole_of_one_pack_makes_no_other_jump() -> None:
    """Its monitor is 60 mV of a cell off; it is silent for 50 s."""
    flight = Flight(0.62)
    flight.fly(GROUND_S, (0.0, 0.06), 50.0)
    flight.fly(220, (0.0, 0.06))
    flight.fly(50, (0.0, None))
    silent = len(flight.told)
    flight.fly(150, (0.0, 0.06))
    first = [charges[0] for charges in flight.told[silent - 5 :]]
    assert max(abs(b - a) for a, b in itertools.pairwise(first)) < 0.004


def test_a_second_take_off_on_the_same_packs_finds_them_as_equal_as_before() -> None:
    """The one monitor's last word before it is of a pack without a load."""
    flight = Flight(0.9)
    flight.fly(GROUND_S, (0.01, -0.01), 50.0)
    flight.fly(200, (0.01, -0.01))
    flight.fly(60, (0.01, -0.01), 50.0)
    again = len(flight.told)
    flight.fly(1, (0.01, None), 7000.0)
    flight.fly(120, (0.01, -0.01), 7000.0)
    assert max(abs(one - two) for one, two in flight.told[again:]) < 0.01


def test_a_pack_that_was_begun_loosely_is_no_surer_than_what_it_leans_on() -> None:
    sure, loose = (ChargeFilter(Packs.model_validate({"cells": 12, "capacity": "22 Ah"}), 12, 22.0) for _ in "ab")
    assert sure.begin(3.80, None, resting=True, load_a=0.0)
    assert loose.begin(None, 70.0, resting=True, load_a=0.0)
    alone = loose.charge_doubt
    lean([OnBus(sure, 50.0), OnBus(loose, 50.0)])
    assert loose.charge_doubt > 0.9 * sure.charge_doubt
    assert loose.charge_doubt < alone
