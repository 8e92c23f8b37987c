"""One pack: load line, charge with its doubt, and what is usable of it.

A pack that is not measured stays blind: without voltage, current and cells nothing is worked out, without capacity
only the gauge is repeated. A current that does not leave the pack in flight is not measured: the sensor is turned
round, or not wired.

Usable charge is 0 % where the mean power of the flight can no longer be held above the cell floor.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from watchkeeper.aircraft.catalogue import INDEX, PHASE_GROUPS
from watchkeeper.aircraft.files import Packs
from watchkeeper.aircraft.readings import Readings
from watchkeeper.estimate.packs.cell import usable
from watchkeeper.estimate.packs.charge import REST_RATE, ChargeCount
from watchkeeper.estimate.packs.chargefilter import ChargeFilter
from watchkeeper.estimate.packs.curve import NOMINAL_V
from watchkeeper.estimate.packs.keptpack import KeptPack, kept_pack
from watchkeeper.estimate.packs.loadline import LoadLine
from watchkeeper.estimate.packs.owncurve import curve_of

FLOORS_V: Final = {"lipo": 3.3, "lihv": 3.3, "liion": 3.0}
"""Cell floor under load where no file names one (common practice)."""
FLIGHT_RATE: Final = 3.5  # of the capacity an hour: a heavy multirotor's hover, where no power is known yet
_CELLS: Final = INDEX["battery.cells"]
_PHASE: Final = INDEX["flight.phase"]
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]
_STEEPEST: Final = 0.013  # V for each % of charge: the curve above 10 %; a count that is off must not mislead
_LEAST_A: Final = 0.05
_LONGEST_S: Final = 36_000.0  # a longer time left says no more than "not limited"
_PRIOR_S: Final = 30.0  # by which the power expected before a flight weighs in its mean
_LONGEST_STEP_S: Final = 10.0
_CELL_V: Final = (1.0, 5.0)  # outside, it is no voltage of a pack: a sensor that is not wired, or broken
_SETTLED_S: Final = 60.0
_EMPTY_EVERY_US: Final = 5_000_000
_OTHER_LOAD: Final = 0.05
"""By so much another load, what is usable is worked out at once."""

Values = tuple[float | None, ...]
BLIND: Final[Values] = (None,) * 5


def number(readings: Readings, index: int, now_us: int) -> float | None:
    """Return a reading as a float, or None when it is blind, faulty or no number."""
    value = readings.read(index, now_us)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


class PackEstimate:
    """One pack: its inputs by reading index, and what is learned about it.

    `values` are charge left (usable, %), a cell's rest voltage, resistance, sag, time left; None where unknown.
    """

    def __init__(self, inputs: Sequence[int], packs: Packs, flight_power_w: Callable[[], float | None]) -> None:
        """Take the indexes of voltage, current, consumed, gauge_left and temperature.

        `flight_power_w` gives the power that this pack is expected to give in flight before any was seen.
        """
        self._inputs = inputs
        self._packs = packs
        self._expected_w = flight_power_w
        self._count = 0
        self._line: LoadLine | None = None
        self._curve = curve_of(packs)
        self._charge = ChargeCount(packs.capacity_ah, self._curve)
        self.filter: ChargeFilter | None = None
        """Once cells and capacity are known and a voltage was told."""
        self.wrong_current = False
        """The current is taken to be grossly wrong."""
        self._begun = 0
        self._counted_us = 0
        self._drawn_ah = 0.0
        self._doubt_pct = 0.0
        self._resumed: KeptPack | None = None
        self._power_j = 0.0
        self._power_s = 0.0
        self._power_us = 0
        self._carries = 1.0
        self._empty = 0.0
        self._empty_us = -_EMPTY_EVERY_US
        self.cell_v: tuple[float, int] | None = None
        """What its monitor last showed of a cell under load, V, and when."""
        self.values: Values = BLIND
        self.last_charge_pct: float | None = None
        """The charge when it was last known."""
        self.known = False
        """Whether the charge is known now."""
        self.gauge_off_pct: float | None = None
        """By how much the gauge shows more than the charge, beyond two standard deviations; 0 within them."""

    @property
    def packs(self) -> Packs:
        """What is told of it beforehand."""
        return self._packs

    @property
    def doubt_pct(self) -> float:
        """Standard deviation of the charge, in % of the capacity."""
        if self.filter is not None:
            return 100.0 * self.filter.charge_doubt
        return self._charge.doubt_pct

    @property
    def usual_a(self) -> float | None:
        """The current, smoothed."""
        return self._charge.usual_a

    def carry(self, times: float) -> None:
        """Take it that it now carries so many times the load that it has while all packs carry; 0 off the bus."""
        if abs(times - self._carries) > _OTHER_LOAD * self._carries:
            self._empty_us = -_EMPTY_EVERY_US
        self._carries = times

    def distrust_current(self) -> None:
        """Go on with the supposition that the current is grossly wrong; what the voltage tells counts for more."""
        if self.filter is not None and self.filter.started and not self.wrong_current:
            self.wrong_current = True
            self.filter.distrust_current(self._charge.drawn_ah)

    @property
    def settled(self) -> bool:
        """Whether it has carried a flight's load for long enough that its smoothed current says something."""
        return self.known and self._power_s >= _SETTLED_S

    @property
    def floor_v(self) -> float:
        """A cell's floor under load."""
        stated = self._packs.cell_floor_v
        return stated if stated is not None else FLOORS_V[self._packs.chemistry]

    @property
    def empty(self) -> float:
        """The charge (0 to 1) that is not usable."""
        return self._empty

    @property
    def mean_power_w(self) -> float:
        """The mean power of this flight as it falls to this pack by who carries now.

        What is usable ends where that power cannot be held: earlier for a pack that now carries for two.
        """
        return self._carries * self.even_power_w

    @property
    def even_power_w(self) -> float:
        """The mean power that it gives while all carry, in this flight; before one, what is expected."""
        expected_w = self._expected_w()
        if expected_w is None:
            filter_ = self.filter
            cells = filter_.cells if filter_ is not None else 1
            expected_w = FLIGHT_RATE * (self._packs.capacity_ah or 0.0) * cells * NOMINAL_V[self._packs.chemistry]
        return (self._power_j + expected_w * _PRIOR_S) / (self._power_s + _PRIOR_S)

    def run(self, readings: Readings, now_us: int) -> bool:
        """Work out the values anew if a sample came; return whether they are new.

        A pack that has fallen silent has none any more: it must not stay the worst for ever.
        """
        stream = readings.streams[self._inputs[0]]
        if stream is None or stream.count == self._count:
            silent = stream is None or now_us - stream.time_us > readings.limit_us(self._inputs[0])
            changed = silent and self.values is not BLIND
            if changed:
                self.values = BLIND
                self.known = False
                self.gauge_off_pct = None
            return changed
        self._count = stream.count
        time_us = stream.time_us
        voltage_v, current_a, consumed_ah, gauge_pct, degc = (number(readings, i, now_us) for i in self._inputs)
        flying = readings.values[_PHASE] in _IN_FLIGHT
        if current_a is not None and current_a <= 0 and flying:
            current_a = None
        cells = self._packs.cells or number(readings, _CELLS, now_us)
        if voltage_v is not None and cells and not _CELL_V[0] <= voltage_v / cells <= _CELL_V[1]:
            voltage_v = None
        line = None
        if voltage_v is not None and current_a is not None and cells:
            line = self._line
            if line is None or line.cells != cells:
                line = self._line = LoadLine(int(cells), self._packs.resistance_ohm, self._packs.capacity_ah)
            line.update(voltage_v, current_a, time_us, self._fall())
            self.cell_v = voltage_v / line.cells, time_us
            if flying:
                self._fly(voltage_v * current_a, time_us)
        rest_cell_v = line.rest_v / line.cells if line is not None and line.rest_v is not None else None
        charge_pct = self._charge.update(rest_cell_v, current_a, consumed_ah, gauge_pct, time_us)
        told = charge_pct is not None
        if told and cells and self._packs.capacity_ah is not None:
            charge_pct = self._filtered(voltage_v, current_a, rest_cell_v, gauge_pct, degc, int(cells), time_us)
        self.known = charge_pct is not None
        self.gauge_off_pct = None
        if self.known and gauge_pct is not None and self.filter is not None:
            off_pct = gauge_pct - 100.0 * self.filter.charge
            beyond_pct = max(0.0, abs(off_pct) - 2.0 * self.doubt_pct)
            self.gauge_off_pct = math.copysign(beyond_pct, off_pct) if beyond_pct else 0.0
        if charge_pct is not None:
            self.last_charge_pct = charge_pct
        self.values = (
            charge_pct,
            rest_cell_v,
            line.resistance_ohm if line is not None else None,
            line.sag_v / line.cells if line is not None else None,
            self._time_left(charge_pct, current_a),
        )
        return True

    def _filtered(
        self,
        voltage_v: float | None,
        current_a: float | None,
        rest_cell_v: float | None,
        gauge_pct: float | None,
        degc: float | None,
        cells: int,
        time_us: int,
    ) -> float | None:
        """Return the usable charge in %, after what was counted and what the voltage tells."""
        count, capacity_ah = self._charge, self._packs.capacity_ah
        assert capacity_ah is not None
        kept = self.filter
        if kept is None or kept.cells != cells:
            self._resumed = None
            kept = self._anew(cells, capacity_ah)
            self._begun = 0
        if count.begun != self._begun:
            resting = current_a is not None and abs(current_a) < REST_RATE * capacity_ah
            before = self._resumed
            goes_on = before is not None and before.draw_meanwhile(count.counter_ah, time_us)
            if before is not None and not goes_on:  # another pack may have been put in
                kept = self._anew(cells, capacity_ah)
            cell_v = voltage_v / cells if voltage_v is not None else None
            if not goes_on and not kept.begin(
                rest_cell_v, gauge_pct, cell_v=cell_v, resting=resting, load_a=current_a or 0.0
            ):
                return None
            self._resumed = None
            self._begun, self._drawn_ah, self._doubt_pct = count.begun, count.drawn_ah, count.doubt_pct
        more = math.sqrt(max(0.0, count.doubt_pct**2 - self._doubt_pct**2)) / 100.0
        kept.draw(count.drawn_ah - self._drawn_ah, more)
        if voltage_v is not None and current_a is not None:
            kept.hear(voltage_v / cells, current_a, degc, time_us)
        self._drawn_ah, self._doubt_pct = count.drawn_ah, count.doubt_pct
        self._counted_us = time_us
        if time_us - self._empty_us >= _EMPTY_EVERY_US:
            self._empty_us = time_us
            self._empty = kept.state().empty(self.mean_power_w, self.floor_v)
        return max(0.0, usable(kept.charge, self._empty))

    def _anew(self, cells: int, capacity_ah: float) -> ChargeFilter:
        """Begin with a filter that knows nothing."""
        self.filter = ChargeFilter(self._packs, cells, capacity_ah)
        self.wrong_current = False
        return self.filter

    def _fly(self, power_w: float, time_us: int) -> None:
        step_s = (time_us - self._power_us) / 1e6
        self._power_us = time_us
        if 0.0 < step_s <= _LONGEST_STEP_S and self._carries > 0.0:
            self._power_j += power_w / self._carries * step_s
            self._power_s += step_s

    def _fall(self) -> float:
        """Return by how much a cell's rest voltage now falls an Ah; 0 while the charge is not counted."""
        capacity_ah = self._packs.capacity_ah
        charge_pct = self.values[0] if self.filter is None else 100.0 * self.filter.counted
        if charge_pct is None or capacity_ah is None:
            return 0.0
        return min(_STEEPEST, self._curve.fall_at(charge_pct)) * 100 / capacity_ah

    def _time_left(self, charge_pct: float | None, current_a: float | None) -> float | None:
        """Return the seconds until what is usable is used at the smoothed current."""
        usual_a, capacity_ah = self.usual_a, self._packs.capacity_ah
        if charge_pct is None or capacity_ah is None or current_a is None or usual_a is None or usual_a < _LEAST_A:
            return None
        left_ah = charge_pct / 100 * capacity_ah
        if self.filter is not None:
            left_ah = max(0.0, self.filter.charge - self._empty) / self.filter.state().per_ah
        return min(_LONGEST_S, left_ah * 3600 / usual_a)

    def learned(self) -> Mapping[str, Any]:
        """Return what was learned, to be kept over a restart of the watch; nothing before it is known."""
        if self.filter is None or not self.filter.started or self._charge.start is None:
            return {}
        return {
            "cells": self.filter.cells,
            "filter": self.filter.learned(),
            "power": [self._power_j * (self._carries or 1.0), self._power_s],  # who carries is not kept
            "usual_a": self.usual_a or 0.0,
            "time_us": self._counted_us,
            "counter_ah": self._charge.counter_ah,
        }

    def resume(self, kept: Mapping[str, Any]) -> None:
        """Take up what was kept; since then it drew what a counter says, else what was usual.

        ValueError, KeyError or TypeError if it cannot be that; then nothing is changed.
        """
        capacity_ah = self._packs.capacity_ah
        if not kept or capacity_ah is None:
            return
        taken = kept_pack(kept, self._packs, capacity_ah)
        self.filter, self._power_j, self._power_s = taken.filter, taken.power_j, taken.power_s
        self._power_us = taken.time_us
        self._resumed = taken
