"""Runs all estimates of one aircraft and writes their readings.

A part that fails writes faults for its readings, is remembered, and harms no other. A part that has nothing new
to say leaves its readings as they are, so that one message is never counted as two samples.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Protocol

from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.battery import BatteryEstimates
from watchkeeper.estimate.dusk import TimeToDusk
from watchkeeper.estimate.link import LinkLoss, MarginTrend, Trackers
from watchkeeper.estimate.returning import ReturnHome
from watchkeeper.estimate.satellites import SatelliteDrop
from watchkeeper.estimate.wind import WindFallback

NEEDS: Final = frozenset(
    {
        1,  # SYS_STATUS
        24,  # GPS_RAW_INT
        33,  # GLOBAL_POSITION_INT
        109,  # RADIO_STATUS
        147,  # BATTERY_STATUS
        166,  # RADIO
        168,  # WIND
        231,  # WIND_COV
        235,  # HIGH_LATENCY2
    }
)
"""Messages that call for a run."""


class Part(Protocol):
    """One estimate: the readings it writes, in order, and how to work them out."""

    stream: Stream

    @property
    def indexes(self) -> Sequence[int]:
        """Catalogue indexes of the readings that `run` returns values for."""

    def run(self, now_us: int) -> Sequence[float | None] | None:
        """Return the values (None: unknown), or None when nothing new came."""


class Subject(Protocol):
    """What the estimates want of an aircraft."""

    @property
    def readings(self) -> Readings:
        """Readings to work from and to write to."""

    @property
    def file(self) -> AircraftFile | None:
        """The aircraft's file."""

    @property
    def sortie(self) -> SortieFile | None:
        """Today's sortie."""

    @property
    def trackers(self) -> Trackers:
        """Frame counters by source and component."""

    @property
    def position(self) -> tuple[float, float] | None:
        """Where it is: latitude and longitude in degrees."""

    @property
    def power_up(self) -> int:
        """How often it was seen to start."""


class EstimateSuite:
    """All estimates of one aircraft."""

    def __init__(self, aircraft: Subject) -> None:
        self._aircraft = aircraft
        self._power_up = aircraft.power_up
        self.failures: dict[str, str] = {}
        """What went wrong in which part, the last time it did."""
        self._parts = self._begin()

    def _begin(self) -> list[Part]:
        """Return all parts, knowing nothing yet. Later ones read what earlier ones write."""
        aircraft = self._aircraft
        readings, file, sortie = aircraft.readings, aircraft.file, aircraft.sortie
        batteries = BatteryEstimates(readings, file)
        return [
            batteries,
            LinkLoss(aircraft.trackers),
            MarginTrend(readings),
            SatelliteDrop(readings),
            WindFallback(readings, sortie),
            ReturnHome(readings, file, sortie, batteries.doubt_pct, batteries.share),
            TimeToDusk(lambda: aircraft.position, lambda now_us: now_us / 1e6),
        ]

    def run(self, now_us: int) -> None:
        """Run every estimate at `now_us` and write what is new."""
        aircraft = self._aircraft
        if aircraft.power_up != self._power_up:
            # Its readings are forgotten, and another pack may have been put in: nothing learned holds.
            self._power_up = aircraft.power_up
            self._parts = self._begin()
        put = aircraft.readings.put
        for part in self._parts:
            values: Sequence[float | None] | None
            try:
                values = part.run(now_us)
            except Exception as error:  # noqa: BLE001 - whatever it is, the watch must go on
                self.failures[type(part).__name__] = f"{type(error).__name__}: {error}"
                values = [math.nan] * len(part.indexes)
            if values is None:
                continue
            stream = part.stream
            stream.mark(now_us)
            for index, value in zip(part.indexes, values, strict=True):
                put(index, value, stream)
