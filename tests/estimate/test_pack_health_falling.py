"""A voltage that falls with less current than explains it, on flights by pybamm's Thevenin cell.

The cell is that of facts.md section 6.
"""

from __future__ import annotations

from functools import cache

import pytest

from tests.estimate.packflight import CHARGE, GROUND_S, Bench, Second, flown_a, fly, thevenin
from watchkeeper.aircraft.pack import Pack, Sample
from watchkeeper.estimate.packs.falling import BIN_S, BINS
from watchkeeper.estimate.packs.onepack import OnePack

FILE = "packs: {cells: 12, capacity: 22 Ah, age: 0 cycles}"
LIMIT_V = 0.06


class Followed(Bench):
    """A bench that follows one pack's health beside, report by report."""

    def __init__(self, file: str = FILE) -> None:
        super().__init__(file)
        self.heard = Pack(1, self.now_us)
        self.one = OnePack(1)
        self.found: list[float | None] = []
        self.over: list[float | None] = []

    def run(self) -> list[float | None] | None:
        values = super().run()
        told = Sample(self.read("battery.1.voltage"), self.read("battery.1.current"), None)
        self.heard.take(told, True, self.now_us)
        self.one.update(self.heard, self.estimates.numbered(1))
        self.found.append(self.one.falling.unexplained_v)
        self.over.append(self.one.resistance_over_pct)
        return values


@cache
def whole_flight() -> list[Second]:
    return thevenin(0.98, flown_a(1140))


def most(found: list[float | None]) -> float:
    return max(v for v in found if v is not None)


@pytest.mark.parametrize(("seed", "scale"), [(0, 0.94), (1, 1.0), (2, 1.06)])
def test_a_flight_down_to_empty_explains_itself(seed: int, scale: float) -> None:
    bench = Followed()
    told = fly(bench, whole_flight(), seed=seed, scale=scale)
    assert told[-1].truth < 0.12
    assert most(bench.found) < 0.5 * LIMIT_V


@pytest.mark.parametrize("above_v", [-0.02, 0.02])
def test_so_does_another_cell_with_another_resistance(above_v: float) -> None:
    curve = tuple(above_v * (-1) ** i for i in range(len(CHARGE)))  # kinked against the published one
    bench = Followed()
    fly(bench, thevenin(0.98, flown_a(900), r0_ohm=2.2e-3, above_v=curve))
    assert most(bench.found) < LIMIT_V


def test_a_pack_that_loses_voltage_in_hover_for_no_reason() -> None:
    # a cell of twelve fails over half a minute: 0.3 V off the mean by then
    bench = Followed()
    begin_s, slope = 400.0, 0.2 / 30.0
    flight = [
        one._replace(cell_v=one.cell_v - min(0.2, slope * max(0.0, one.time_s - begin_s)))
        for one in whole_flight()[:470]
    ]
    fly(bench, flight)
    assert most(bench.found[:400]) < 0.5 * LIMIT_V
    late = next(i for i, v in enumerate(bench.found) if v is not None and v > LIMIT_V)
    assert late - begin_s < 45


def test_a_leak_on_the_ground() -> None:
    """What is drawn beside the sensor: 66 A by pybamm, of which 1 A is told."""
    hidden = thevenin(0.9, [1.0] * 60 + [66.0] * 90)
    bench = Followed()
    fly(bench, [one._replace(current_a=1.0) for one in hidden])
    assert most(bench.found[:60]) < 0.01
    assert most(bench.found) > LIMIT_V


def test_a_pack_that_rests_after_a_flight_does_not_fall() -> None:
    bench = Followed()
    fly(bench, thevenin(0.98, flown_a(500) + [1.0] * 300))
    assert most(bench.found) < 0.5 * LIMIT_V


def test_after_a_hole_it_waits_for_a_whole_window() -> None:
    bench = Followed()
    flight = [one for one in whole_flight()[:300] if not 150 <= one.time_s < 200]
    fly(bench, flight)
    back = 150
    assert bench.found[back - 1] is not None
    assert all(v is None for v in bench.found[back : back + int(BIN_S * BINS) - 1])
    assert bench.found[-1] is not None


# --- resistance -----------------------------------------------------------------------------------------------

STATED = "packs: {cells: 12, capacity: 22 Ah, resistance: 30 mohm, age: 0 cycles}"
"""12 times (1.5 + 1.0) mohm: the reference cell, settled."""


@pytest.mark.parametrize(
    ("factor", "low", "high"),
    [(1.0, 0.0, 10.0), (1.25, 0.0, 40.0), (2.5, 55.0, 150.0)],
)
def test_resistance_over_what_the_file_states(factor: float, low: float, high: float) -> None:
    bench = Followed(STATED)
    # only R0 grows: 1.5 to 1.5 f of a settled 2.5 mohm
    grown = 1.5e-3 + 2.5e-3 * (factor - 1.0)
    fly(bench, thevenin(0.98, flown_a(500), r0_ohm=grown))
    assert bench.over[GROUND_S] is None  # nothing learned yet
    last = bench.over[-1]
    assert last is not None
    assert low <= last <= high


def test_without_a_stated_resistance_nothing_is_over() -> None:
    bench = Followed()
    fly(bench, thevenin(0.98, flown_a(300), r0_ohm=5e-3))
    assert set(bench.over) == {None}
