"""The flight batteries of one aircraft: told apart by component and id, measured or not, and the worst of them.

What is plainly not measured stays unknown: a monitor that reports neither current nor charge, and whose voltage
never moves, is not wired to the pack. With several packs SYS_STATUS does not say which it means, so it counts
only until a BATTERY_STATUS of a flight battery is heard.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX, MAX_PACKS, PACK_NAMES, pack_index
from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.aircraft.readings import US, Readings, Stream

FLIGHT_FUNCTIONS: Final = frozenset({0, 1, 2})
"""MAV_BATTERY_FUNCTION: unknown, all, propulsion. Avionics and payload batteries are none of the flight's."""
LEAST_V: Final = 1.0
LEAST_MOVE_V: Final = 0.02
"""A voltage that has moved by more than this is measured: converters flicker by one step, wires not at all."""
REST_A: Final = 1.5
REST_FOR_US: Final = 120 * US
CELL_REST_V: Final = (3.4, 4.25)
"""Resting cell voltages in which cells are counted; a pack emptier than that is not guessed at."""
SERIES: Final = (1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 20, 24)
"""Numbers of cells that packs of multirotors are made with (common practice)."""
SUM_SHARE: Final = 0.02
SUM_SAMPLES: Final = 20

VOLTAGE, CELL, CURRENT, POWER, GAUGE, CONSUMED, IMBALANCE, TEMPERATURE = (
    PACK_NAMES.index(name)
    for name in (
        "voltage", "cell_voltage", "current", "power", "gauge_left", "consumed", "imbalance", "temperature",
    )
)  # fmt: skip
_ALL: Final = [INDEX[f"battery.{name}"] for name in PACK_NAMES]
_OF_PACK: Final = [[pack_index(n, name) for name in PACK_NAMES] for n in range(1, MAX_PACKS + 1)]
_CELLS: Final = INDEX["battery.cells"]
_CELLS_SOURCE: Final = INDEX["battery.cells_source"]
FOLDED: Final = (VOLTAGE, CELL, CURRENT, POWER, GAUGE, CONSUMED, IMBALANCE, TEMPERATURE)
TOUCHED: Final = frozenset({_CELLS, _CELLS_SOURCE} | {one[i] for one in (_ALL, *_OF_PACK) for i in FOLDED})


@dataclass(frozen=True, slots=True)
class Sample:
    """One report of one monitor; None is unknown. V, A, Ah, %, degC."""

    voltage_v: float | None
    current_a: float | None
    gauge_pct: float | None
    consumed_ah: float | None = None
    temperature_degc: float | None = None
    cells_v: Sequence[float] = ()


class Pack:
    """One monitored pack: its last report, and whether it is measured at all."""

    __slots__ = ("first_us", "highest_v", "last", "lowest_v", "measured", "number", "stream", "sums")

    def __init__(self, number: int, now_us: int) -> None:
        self.number = number
        self.stream = Stream()
        self.first_us = now_us
        self.last: Sample | None = None
        self.lowest_v = self.highest_v = 0.0
        self.measured = False
        self.sums = 0
        """Reports in a row whose current was the sum of all the others'."""

    def take(self, sample: Sample, now_us: int) -> None:
        """Take one report in."""
        self.stream.mark(now_us)
        self.last = sample
        volts = sample.voltage_v
        if self.measured or volts is None or volts < LEAST_V:
            return
        if not self.lowest_v:
            self.lowest_v = self.highest_v = volts
        self.lowest_v = min(self.lowest_v, volts)
        self.highest_v = max(self.highest_v, volts)
        told = sample.current_a is not None or sample.gauge_pct is not None or sample.consumed_ah is not None
        self.measured = told or self.highest_v - self.lowest_v > LEAST_MOVE_V


class PackTable:
    """All packs of one aircraft, written to its readings."""

    __slots__ = ("_cells", "_file", "_own", "_readings", "_stream", "_whole", "packs")

    def __init__(self, readings: Readings, file: AircraftFile | None) -> None:
        self._readings = readings
        self._file = file
        self.packs: dict[tuple[int, int], Pack] = {}
        """By (component, battery id)."""
        self._whole: Pack | None = None
        """What SYS_STATUS tells."""
        self._stream = Stream()
        self._own = Stream()
        self._cells: int | None = None
        if file is not None and file.packs.cells is not None:
            self._know_cells(file.packs.cells, "aircraft_file", 0)

    def system_status(self, sample: Sample, *, armed: bool, now_us: int) -> None:
        """Take the battery fields of SYS_STATUS in."""
        if self.packs:
            return
        if self._whole is None:
            self._whole = Pack(1, now_us)
        self._whole.take(sample, now_us)
        self._count_cells(self._whole, armed=armed, now_us=now_us)
        self._write([self._whole], now_us)

    def battery_status(self, component: int, battery: int, sample: Sample, *, armed: bool, now_us: int) -> None:
        """Take one BATTERY_STATUS of a flight battery in."""
        what = self._monitors().get(battery)
        if what in {"sum", "other"}:
            return
        key = (component, battery)
        pack = self.packs.get(key)
        if pack is None:
            if len(self.packs) >= MAX_PACKS:
                return
            pack = self.packs[key] = Pack(self._free_number(what, battery), now_us)
            self._whole = None
        pack.take(sample, now_us)
        self._watch_for_sums(pack)
        self._count_cells(pack, armed=armed, now_us=now_us)
        self._write([p for p in self.packs.values() if p.sums < SUM_SAMPLES], now_us)

    def _monitors(self) -> Mapping[int, int | str]:
        return self._file.packs.monitors if self._file is not None and self._file.packs.monitors else {}

    def _free_number(self, wanted: int | str | None, battery: int) -> int:
        taken = {pack.number for pack in self.packs.values()}
        first = wanted if isinstance(wanted, int) else battery + 1
        if 1 <= first <= MAX_PACKS and first not in taken:
            return first
        return next(n for n in range(1, MAX_PACKS + 1) if n not in taken)

    def _watch_for_sums(self, pack: Pack) -> None:
        """Count reports in which a current is the sum of two or more others': that monitor is no pack."""
        mine = pack.last.current_a if pack.last is not None else None
        others = [
            p.last.current_a
            for p in self.packs.values()
            if p is not pack and p.last is not None and p.last.current_a is not None
        ]
        if mine is None or mine < REST_A or len(others) < 2 or len(others) != len(self.packs) - 1:
            return
        near = abs(mine - sum(others)) <= SUM_SHARE * mine + 0.2
        pack.sums = pack.sums + 1 if near else 0

    def _count_cells(self, pack: Pack, *, armed: bool, now_us: int) -> None:
        """Learn the number of cells: from those reported, else from a resting voltage if only one fits."""
        sample = pack.last
        if sample is None or (self._cells is not None and not (len(sample.cells_v) > 1)):
            return
        source = self._readings.values[_CELLS_SOURCE]
        if source == "aircraft_file":
            return
        if len(sample.cells_v) > 1:
            if source != "reported" or self._cells != len(sample.cells_v):
                self._know_cells(len(sample.cells_v), "reported", now_us)
            return
        resting = not armed and (sample.current_a is None or sample.current_a < REST_A)
        if not resting or not pack.measured or sample.voltage_v is None or now_us - pack.first_us > REST_FOR_US:
            return
        low, high = CELL_REST_V
        fitting = [n for n in SERIES if low <= sample.voltage_v / n <= high]
        if len(fitting) == 1:
            self._know_cells(fitting[0], "inferred", now_us)

    def _know_cells(self, cells: int, source: str, now_us: int) -> None:
        self._cells = cells
        self._own.mark(now_us)
        self._readings.put(_CELLS, cells, self._own)
        self._readings.put(_CELLS_SOURCE, source, self._own)

    def _write(self, packs: Sequence[Pack], now_us: int) -> None:
        """Write every pack, and over all of them: worst of what limits, sum of what they give together."""
        self._stream.mark(now_us)
        readings = self._readings
        rows: list[list[float | None]] = []
        told_apart = bool(self.packs)
        for pack in packs:
            row = self._row(pack)
            rows.append(row)
            if told_apart and pack.stream.time_us == now_us:
                for i in FOLDED:
                    readings.put(_OF_PACK[pack.number - 1][i], row[i], pack.stream)
        put = readings.put
        if len(rows) == 1:
            for i in FOLDED:
                put(_ALL[i], rows[0][i], self._stream)
            return
        for i in FOLDED:
            known = [value for row in rows if (value := row[i]) is not None]
            total: float | None = None
            if known:
                if i in {CURRENT, POWER, CONSUMED}:
                    total = sum(known) if len(known) == len(rows) else None
                else:
                    total = max(known) if i in {IMBALANCE, TEMPERATURE} else min(known)
            put(_ALL[i], total, self._stream)

    def _row(self, pack: Pack) -> list[float | None]:
        row: list[float | None] = [None] * len(PACK_NAMES)
        sample = pack.last
        if sample is None or not pack.measured:
            return row
        volts, current_a = sample.voltage_v, sample.current_a
        row[VOLTAGE] = volts
        row[CURRENT] = current_a
        row[GAUGE] = sample.gauge_pct
        row[CONSUMED] = sample.consumed_ah
        row[TEMPERATURE] = sample.temperature_degc
        if volts is not None and self._cells:
            row[CELL] = volts / self._cells
        if volts is not None and current_a is not None:
            row[POWER] = volts * current_a
        if len(sample.cells_v) > 1:
            row[IMBALANCE] = max(sample.cells_v) - min(sample.cells_v)
        return row
