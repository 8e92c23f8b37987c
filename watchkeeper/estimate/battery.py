"""The batteries: load line and charge of each pack, and the worst of them.

Packs are those that the aircraft folds as `battery.1.…` to `battery.8.…`. A pack that is not measured stays blind
here: without voltage, current and cells nothing is worked out, without capacity only the gauge is repeated. A
current that does not leave the pack in flight is not measured: the sensor is turned round, or not wired.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX, MAX_PACKS, PHASE_GROUPS, pack_index
from watchkeeper.aircraft.files import AircraftFile, Packs
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.carrying import Carrying
from watchkeeper.estimate.charge import ChargeCount
from watchkeeper.estimate.curve import fall_at
from watchkeeper.estimate.loadline import LoadLine

NAMES: Final = ("charge_left", "rest_cell_voltage", "resistance", "sag", "time_left")
_WORST: Final[tuple[Callable[[list[float]], float], ...]] = (min, min, max, max, min)
_CELLS: Final = INDEX["battery.cells"]
_PHASE: Final = INDEX["flight.phase"]
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]
_STEEPEST: Final = 0.013  # V for each % of charge: the curve above 10 %; a count that is off must not mislead
_LEAST_A: Final = 0.05
_LONGEST_S: Final = 36_000.0  # a longer time left says no more than "not limited"

Values = tuple[float | None, ...]
_BLIND: Final[Values] = (None,) * len(NAMES)


def number(readings: Readings, index: int, now_us: int) -> float | None:
    """Return a reading as a float, or None when it is blind, faulty or no number."""
    value = readings.read(index, now_us)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def whole_pack(packs: Packs) -> Packs:
    """Return all packs as the one that a monitor of the whole sees: capacities add, or in series cells."""
    count, ohm = packs.count, packs.resistance_ohm
    if packs.topology == "series":
        more: dict[str, float | None] = {
            "cells": packs.cells * count if packs.cells is not None else None,
            "resistance_ohm": ohm * count if ohm is not None else None,
        }
    else:
        more = {
            "capacity_ah": packs.capacity_ah * count if packs.capacity_ah is not None else None,
            "resistance_ohm": ohm / count if ohm is not None else None,
        }
    return packs.model_copy(update={**more, "count": 1})


class PackEstimate:
    """One pack: its inputs by reading index, and what is learned about it."""

    def __init__(self, inputs: Sequence[int]) -> None:
        """Take the indexes of voltage, current, consumed and gauge_left."""
        self._inputs = inputs
        self._count = 0
        self._line: LoadLine | None = None
        self._charge: ChargeCount | None = None
        self.values: Values = _BLIND
        self.last_charge_pct: float | None = None
        """The charge when it was last known."""

    @property
    def doubt_pct(self) -> float:
        """Standard deviation that holes add to the charge."""
        return self._charge.doubt_pct if self._charge is not None else 0.0

    def run(self, readings: Readings, packs: Packs, now_us: int) -> bool:
        """Work out the values anew if a sample came; return whether they are new.

        A pack that has fallen silent has none any more: it must not stay the worst for ever.
        """
        stream = readings.streams[self._inputs[0]]
        if stream is None or stream.count == self._count:
            silent = stream is None or now_us - stream.time_us > readings.limit_us(self._inputs[0])
            changed = silent and self.values is not _BLIND
            if changed:
                self.values = _BLIND
            return changed
        self._count = stream.count
        voltage_v, current_a, consumed_ah, gauge_pct = (number(readings, i, now_us) for i in self._inputs)
        if current_a is not None and current_a <= 0 and readings.values[_PHASE] in _IN_FLIGHT:
            current_a = None
        cells = packs.cells or number(readings, _CELLS, now_us)
        if self._charge is None:
            self._charge = ChargeCount(packs.capacity_ah, packs.chemistry)
        line = None
        if voltage_v is not None and current_a is not None and cells:
            line = self._line
            if line is None or line.cells != cells:
                line = self._line = LoadLine(int(cells), packs.resistance_ohm, packs.capacity_ah)
            line.update(voltage_v, current_a, stream.time_us, self._fall(packs))
        rest_cell_v = line.rest_v / line.cells if line is not None and line.rest_v is not None else None
        charge_pct = self._charge.update(rest_cell_v, current_a, consumed_ah, gauge_pct, stream.time_us)
        if charge_pct is not None:
            self.last_charge_pct = charge_pct
        self.values = (
            charge_pct,
            rest_cell_v,
            line.resistance_ohm if line is not None else None,
            line.sag_v / line.cells if line is not None else None,
            _time_left(charge_pct, self._charge.usual_a if current_a is not None else None, packs.capacity_ah),
        )
        return True

    def _fall(self, packs: Packs) -> float:
        """Return by how much a cell's rest voltage now falls an Ah; 0 while the charge is not counted."""
        charge_pct = self.values[0]
        if charge_pct is None or packs.capacity_ah is None:
            return 0.0
        return min(_STEEPEST, fall_at(charge_pct, packs.chemistry)) * 100 / packs.capacity_ah


def _time_left(charge_pct: float | None, usual_a: float | None, capacity_ah: float | None) -> float | None:
    """Return the seconds until the charge is used at the smoothed current."""
    if charge_pct is None or capacity_ah is None or usual_a is None or usual_a < _LEAST_A:
        return None
    return min(_LONGEST_S, charge_pct / 100 * capacity_ah * 3600 / usual_a)


def _indexes(prefix: str, names: Sequence[str]) -> list[int]:
    return [INDEX[f"{prefix}{name}"] for name in names]


_INPUTS: Final = ("voltage", "current", "consumed", "gauge_left")


class BatteryEstimates:
    """All packs of an aircraft, and the worst. Before any pack is told apart, a monitor measures them all."""

    def __init__(self, readings: Readings, file: AircraftFile | None) -> None:
        self._readings = readings
        self._each = file.packs if file is not None else Packs()
        self._all = whole_pack(self._each)
        self._whole = PackEstimate(_indexes("battery.", _INPUTS))
        self._packs: list[PackEstimate] = []
        self._known: list[int] = []
        self._carrying = Carrying()
        self.stream = Stream()
        self.indexes: list[int] = [*_indexes("battery.", NAMES), INDEX["battery.packs_out"]]
        """Readings that `run` writes: the worst pack's, the number of packs out, then each known pack's."""

    def doubt_pct(self) -> float | None:
        """Return what holes add to the doubt of the charge; None when not all packs that are told apart are known.

        Half the packs say nothing of the other half, which may be empty or not connected.
        """
        if not self._packs:
            return self._whole.doubt_pct
        told = [one.doubt_pct for one in self._connected() if one.values[0] is not None]
        return max(told) if told and len(told) + len(self._carrying.out) >= self._each.count else None

    def share(self) -> float:
        """Return the part of all packs that can still give: 1 unless one has come off the bus."""
        return 1.0 - len(self._carrying.out) / max(self._each.count, len(self._packs), 1)

    def _connected(self) -> list[PackEstimate]:
        return [one for i, one in enumerate(self._packs) if i not in self._carrying.out]

    def _judge(self, now_us: int) -> None:
        """Find the packs that have come off the bus; only in flight, where all of them carry."""
        readings = self._readings
        if self._each.topology != "parallel" or readings.values[_PHASE] not in _IN_FLIGHT:
            self._carrying.reset()
            return
        currents = [number(readings, pack_index(pack, "current"), now_us) for pack in self._known]
        self._carrying.update(currents, now_us)

    def run(self, now_us: int) -> list[float | None] | None:
        """Return values for `indexes`, or None when no new sample came."""
        readings = self._readings
        for pack in range(1, MAX_PACKS + 1):
            if pack not in self._known and readings.streams[pack_index(pack, "voltage")] is not None:
                self._known.append(pack)
                self._packs.append(PackEstimate(_indexes(f"battery.{pack}.", _INPUTS)))
                self.indexes.extend(_indexes(f"battery.{pack}.", NAMES))
        if not self._packs:
            return [*self._whole.values, None] if self._whole.run(readings, self._all, now_us) else None
        if not sum(one.run(readings, self._each, now_us) for one in self._packs):  # every one runs
            return None
        self._judge(now_us)
        values: list[float | None] = []
        connected = self._connected()
        for position, worst in enumerate(_WORST):
            known = [v for one in connected if (v := one.values[position]) is not None]
            values.append(worst(known) if known else None)
        values[0] = self._not_better(values[0], connected)
        values.append(float(len(self._carrying.out)))
        for one in self._packs:
            values.extend(one.values)
        return values

    def _not_better(self, worst_pct: float | None, connected: Sequence[PackEstimate]) -> float | None:
        """Return the worst charge, in flight no better than it last was in a pack that is no longer told."""
        if self._readings.values[_PHASE] not in _IN_FLIGHT:
            for one in self._packs:
                one.last_charge_pct = one.values[0]  # what is silent on the ground may be taken out
        if worst_pct is None:
            return None
        return min([worst_pct, *(p for one in connected if (p := one.last_charge_pct) is not None)])
