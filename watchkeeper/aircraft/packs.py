"""The flight batteries of one aircraft: told apart by component and id, and the worst of them.

With several packs SYS_STATUS does not say which it means, so it counts only while no BATTERY_STATUS of a flight
battery is heard.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX, MAX_PACKS, pack_index
from watchkeeper.aircraft.cells import REST_A, REST_FOR_US, CellCount, inferred
from watchkeeper.aircraft.celltaps import is_odd, mended
from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.aircraft.pack import BLIND_ROW, FOLDED, Pack, Row, Sample
from watchkeeper.aircraft.readings import US, Readings, Stream
from watchkeeper.aircraft.smartbattery import SmartBattery

SUM_SHARE: Final = 0.02
SUM_SAMPLES: Final = 20
"""Reports in a row, each the sum of the others, until a monitor is taken for the sum of the packs."""
_REMOVED_US: Final = 60 * US
_BUS_US: Final = 5 * US
_ALL: Final = tuple(INDEX[f"battery.{name}"] for name in FOLDED)
_OF_PACK: Final = [tuple(pack_index(n, name) for name in FOLDED) for n in range(1, MAX_PACKS + 1)]
_CELLS: Final = INDEX["battery.cells"]
_CELLS_SOURCE: Final = INDEX["battery.cells_source"]
TOUCHED: Final = frozenset({_CELLS, _CELLS_SOURCE, *_ALL}.union(*_OF_PACK))


class PackTable:
    """All packs of one aircraft, written to its readings."""

    __slots__ = (
        "_bus",
        "_cells",
        "_expected",
        "_monitors",
        "_own",
        "_readings",
        "_series",
        "_stream",
        "_whole",
        "_whole_cells",
        "packs",
        "smart",
    )

    def __init__(self, readings: Readings, file: AircraftFile | None) -> None:
        self._readings = readings
        self._monitors: Mapping[int, int | str] = file.packs.monitors if file is not None else {}
        self._expected = len({pack for pack in self._monitors.values() if isinstance(pack, int)})
        """Packs that the aircraft file says are monitored."""
        self._series = file is not None and file.packs.topology == "series"
        self._cells = CellCount(file.packs.cells if file is not None else None)
        self._whole_cells = None
        """Cells that a monitor of all packs has in series, where the aircraft file tells."""
        if file is not None and file.packs.cells is not None and self._series:
            self._whole_cells = file.packs.cells * file.packs.count
        self.packs: dict[tuple[int, int], Pack] = {}
        """By (component, battery id)."""
        self._whole: Pack | None = None
        """What SYS_STATUS tells."""
        self._bus: tuple[float, int] | None = None
        """Its voltage, and when."""
        self.smart: dict[tuple[int, int], SmartBattery] = {}
        """What batteries tell of themselves, by (component, battery id)."""
        self._stream = Stream()
        self._own = Stream()
        if self._cells.cells is not None:
            self._put_cells(0)

    def system_status(
        self, sample: Sample, armed: bool, flying: bool, now_us: int, *, monitored: bool = True
    ) -> None:
        """Take the battery fields of SYS_STATUS in; not `monitored` is a gauge alone."""
        if sample.voltage_v is not None:
            self._bus = sample.voltage_v, now_us
        if self.packs and (len(self.packs) > 1 or not next(iter(self.packs.values())).is_silent(now_us)):
            return
        whole = self._whole
        if whole is None:
            whole = self._whole = Pack(1, now_us)
        if monitored:
            whole.connection.take(whole.last, sample, (), flying, now_us)
        whole.take(sample, flying, now_us)
        self._count_cells(whole, armed, now_us)
        self._write_all(whole.row(self._whole_cells or self._cells.cells), now_us)

    def gauge(self, gauge_pct: float, armed: bool, flying: bool, now_us: int) -> None:
        """Take a gauge that comes without a voltage in, unless SYS_STATUS tells both."""
        whole = self._whole
        if whole is None or whole.last.voltage_v is None or whole.is_silent(now_us):
            self.system_status(Sample(None, None, gauge_pct), armed, flying, now_us, monitored=False)

    def battery_status(
        self, component: int, battery: int, sample: Sample, armed: bool, flying: bool, now_us: int
    ) -> None:
        """Take one BATTERY_STATUS of a flight battery in."""
        key = (component, battery)
        pack = self.packs.get(key)
        if pack is None:
            monitors = self._monitors.get(battery)
            if monitors in {"sum", "other"} or not self._gives_way(monitors, now_us):
                return
            if len(self.packs) >= MAX_PACKS:
                return
            pack = self.packs[key] = Pack(self._free_number(monitors, battery), now_us)
            self._whole = None
        sample = self._mended(pack, sample, now_us)
        others_a: list[float] = []
        for other in self.packs.values():
            if other is not pack:
                other.connection.other(sample.current_a)
                if other.current_a is not None and not other.is_silent(now_us):
                    others_a.append(other.current_a)
        pack.connection.take(pack.last, sample, others_a, flying, now_us)
        pack.take(sample, flying, now_us)
        self._count_cells(pack, armed, now_us)
        self._watch_for_sums(pack)
        row = pack.row(self._cells.cells) if pack.sums < SUM_SAMPLES else BLIND_ROW
        values, streams, stream = self._readings.values, self._readings.streams, pack.stream
        for index, value in zip(_OF_PACK[pack.number - 1], row, strict=True):
            values[index] = value
            streams[index] = stream
        if len(self.packs) == 1 and self._expected <= 1:
            self._write_all(row, now_us)
            return
        self._write_all(self._over_all(armed, now_us), now_us)

    def flight(self, now_us: int) -> list[Pack]:
        """Return the flight packs that are heard, by number; one for all where none is told apart."""
        if not self.packs:
            whole = self._whole
            return [whole] if whole is not None and whole.measured and not whole.is_silent(now_us) else []
        heard = (p for p in self.packs.values() if p.sums < SUM_SAMPLES and p.measured and not p.is_silent(now_us))
        return sorted(heard, key=lambda pack: pack.number)

    def take_smart(self, component: int, battery: int, told: SmartBattery) -> None:
        """Take in what a battery tells of itself."""
        if (component, battery) in self.smart or len(self.smart) < MAX_PACKS:
            self.smart[component, battery] = told

    def _mended(self, pack: Pack, sample: Sample, now_us: int) -> Sample:
        """Return the report without what a broken wire of the balance lead makes of a cell.

        A last cell of 0 V is sent as one that is not there.
        """
        cells_v = sample.cells_v
        known = self._cells
        if len(cells_v) > 1 and known.source == "reported" and len(cells_v) + 1 == known.cells:
            cells_v = (*cells_v, 0.0)
            sample = sample._replace(cells_v=cells_v)
        pack.tap_wrong = False
        if not is_odd(cells_v):
            return sample
        found = mended(cells_v, self._bus_v(pack, now_us))
        if found is None:
            return sample
        pack.tap_wrong = True
        return sample._replace(voltage_v=found[0], cells_v=found[1])

    def _bus_v(self, pack: Pack, now_us: int) -> float | None:
        """Return another measurement of the voltage of the bus that a pack is on."""
        if self._series:
            return None
        others = [
            p.last.voltage_v
            for p in self.packs.values()
            if p is not pack and p.last.voltage_v is not None and not p.tap_wrong and not p.is_silent(now_us)
        ]
        if others:
            return min(others)
        bus = self._bus
        return bus[0] if bus is not None and now_us - bus[1] <= _BUS_US else None

    def _gives_way(self, wanted: int | str | None, now_us: int) -> bool:
        """Whether no other monitor is heard of a pack that the aircraft file gives to this one too.

        An autopilot may pass on what a smart battery sends itself: the same pack, and not to be summed.
        """
        if wanted is None:
            return True
        for key, pack in self.packs.items():
            if self._monitors.get(key[1]) == wanted == pack.number:
                if pack.is_silent(now_us):
                    del self.packs[key]
                    return True
                return False
        return True

    def _free_number(self, wanted: int | str | None, battery: int) -> int:
        taken = {pack.number for pack in self.packs.values()}
        first = wanted if isinstance(wanted, int) else battery + 1
        if 1 <= first <= MAX_PACKS and first not in taken:
            return first
        return next(n for n in range(1, MAX_PACKS + 1) if n not in taken)

    def _watch_for_sums(self, pack: Pack) -> None:
        """Count reports in which a current is the sum of two or more others': that monitor is no pack."""
        mine = pack.current_a
        others = [p.current_a for p in self.packs.values() if p is not pack]
        known = [current_a for current_a in others if current_a is not None]
        if mine is None or mine < REST_A or len(known) < 2 or len(known) != len(others):
            return
        near = abs(mine - sum(known)) <= SUM_SHARE * mine + 0.2
        pack.sums = pack.sums + 1 if near else 0

    def _count_cells(self, pack: Pack, armed: bool, now_us: int) -> None:
        """Learn the number of cells: from those reported, else from a resting voltage if only one fits."""
        sample, counted = pack.last, self._cells
        reported = len(sample.cells_v)
        if reported > 1:
            if counted.take(reported, "reported"):
                self._put_cells(now_us)
            return
        if armed or counted.cells is not None or sample.voltage_v is None or now_us - pack.first_us > REST_FOR_US:
            return
        resting = sample.current_a is None or sample.current_a < REST_A
        if resting and pack.measured:
            cells = inferred(sample.voltage_v)
            if cells is not None and counted.take(cells, "inferred"):
                self._put_cells(now_us)

    def _put_cells(self, now_us: int) -> None:
        self._own.mark(now_us)
        self._readings.put(_CELLS, self._cells.cells, self._own)
        self._readings.put(_CELLS_SOURCE, self._cells.source, self._own)

    def _over_all(self, armed: bool, now_us: int) -> Row:
        """Return the worst of what limits, and the sum of what the packs give together.

        A pack that has fallen silent is no longer the worst, but the sums are unknown without it, and without one
        that the aircraft file names; on the ground it is in time taken for removed.
        """
        if not armed:
            gone = [k for k, p in self.packs.items() if now_us - p.stream.time_us > _REMOVED_US]
            for key in gone:
                del self.packs[key]
        flight = [pack for pack in self.packs.values() if pack.sums < SUM_SAMPLES]
        rows = [pack.row(self._cells.cells) for pack in flight if not pack.is_silent(now_us)]
        if not rows:
            return BLIND_ROW
        columns = list(zip(*rows, strict=True))
        volts, cell, current_a, power, gauge, consumed, imbalance, temperature = columns
        complete = len(rows) == len(flight) >= self._expected
        return (
            _lowest(volts),
            _lowest(cell),
            self._together(current_a) if complete else None,
            _total(power) if complete else None,
            _lowest(gauge),
            self._together(consumed) if complete else None,
            _highest(imbalance),
            _highest(temperature),
        )

    def _together(self, values: Sequence[float | None]) -> float | None:
        """Return currents or charges of all packs together; the same one flows through packs in series."""
        if not self._series:
            return _total(values)
        return _highest(values) if None not in values else None

    def _write_all(self, row: Row, now_us: int) -> None:
        stream = self._stream
        stream.mark(now_us)
        values, streams = self._readings.values, self._readings.streams
        for index, value in zip(_ALL, row, strict=True):
            values[index] = value
            streams[index] = stream


def _lowest(values: Sequence[float | None]) -> float | None:
    return min((v for v in values if v is not None), default=None)


def _highest(values: Sequence[float | None]) -> float | None:
    return max((v for v in values if v is not None), default=None)


def _total(values: Sequence[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return sum(known) if len(known) == len(values) else None
