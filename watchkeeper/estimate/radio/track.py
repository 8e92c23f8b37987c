"""What one radio told over the last minutes, in bins of three seconds: margin, signal, noise, and from where.

Which way the aircraft pointed is kept with each bin, as the sector in which the station lay: an antenna on a body
has nulls, and only what was heard in the same sector is compared.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Final, NamedTuple

from watchkeeper.aircraft.readings import US
from watchkeeper.estimate.radio.pattern import range_m, spreading_db, upright_db
from watchkeeper.estimate.slope import median

BIN_US: Final = 3 * US
BINS: Final = 60  # three minutes
SECTORS: Final = 8


class Place(NamedTuple):
    """Distance from home and height over it, m; the sector in which home lies, None where it is not known."""

    distance_m: float
    height_m: float
    sector: int | None


@dataclass(frozen=True, slots=True)
class Bin:
    """Medians of three seconds, dB; None where unknown."""

    time_s: float
    margin_db: float | None
    signal_db: float | None
    noise_db: tuple[float | None, float | None]
    """At this end and at the aircraft."""
    place: Place | None

    @property
    def range_m(self) -> float | None:
        """Distance from the station, m."""
        return None if self.place is None else range_m(self.place.distance_m, self.place.height_m)

    @property
    def sector(self) -> int | None:
        """The sector in which home lay."""
        return None if self.place is None else self.place.sector

    def unexplained(self, told_db: float, *, upright: bool) -> float:
        """Return a margin or signal less what distance takes, and upright antennas, if they are; dB."""
        if self.place is None:
            return told_db
        distance_m, height_m, _ = self.place
        free_db = told_db + spreading_db(range_m(distance_m, height_m))
        return free_db - upright_db(distance_m, height_m) if upright else free_db


def sector_of(heading_rad: float, home_bearing_deg: float) -> int:
    """Return the eighth of the circle around the aircraft in which home lies; 0 is dead ahead."""
    aspect = math.degrees(heading_rad) - home_bearing_deg
    return round(aspect * SECTORS / 360) % SECTORS


def _median(values: list[float | None]) -> float | None:
    known = sorted(v for v in values if v is not None and math.isfinite(v))
    return median(known) if known else None


class Track:
    """The bins of one radio."""

    def __init__(self) -> None:
        self.bins: deque[Bin] = deque(maxlen=BINS)
        self._told: list[tuple[float | None, float | None, float | None, float | None]] = []
        self._places: list[Place | None] = []
        self._begin_us = 0
        self.quiet_db: list[float | None] = [None, None]
        """The quietest that each end was over three bins."""

    def tell(
        self,
        margin_db: float | None,
        signal_db: float | None,
        noise_db: float | None,
        far_noise_db: float | None,
        place: Place | None,
        now_us: int,
    ) -> None:
        """Take one report, and where the aircraft is."""
        if not self._told:
            self._begin_us = now_us
        self._told.append((margin_db, signal_db, noise_db, far_noise_db))
        self._places.append(place)

    def close(self, now_us: int) -> bool:
        """Close the present bin if it is full; return whether one was closed."""
        if not self._told or now_us - self._begin_us < BIN_US:
            return False
        margin_db, signal_db, noise_db, far_noise_db = (
            _median(list(told)) for told in zip(*self._told, strict=True)
        )
        place = self._places[len(self._places) // 2]
        self._told.clear()
        self._places.clear()
        time_s = (self._begin_us + BIN_US // 2) / US
        self.bins.append(Bin(time_s, margin_db, signal_db, (noise_db, far_noise_db), place))
        for end in (0, 1):
            level_db, quiet_db = self.noise_db(end), self.quiet_db[end]
            if level_db is not None and (quiet_db is None or level_db < quiet_db):
                self.quiet_db[end] = level_db
        return True

    def forget(self, before_s: float) -> None:
        """Drop bins that are older."""
        while self.bins and self.bins[0].time_s < before_s:
            self.bins.popleft()

    def noise_db(self, end: int) -> float | None:
        """Return the noise of one end: the median of the last three bins, None with fewer."""
        if len(self.bins) < 3:
            return None
        last = [self.bins[-i].noise_db[end] for i in (1, 2, 3)]
        return None if None in last else _median(last)

    def noise_rise_db(self) -> float | None:
        """Return by how much the noise of either end, the worse, is over the quietest that it was."""
        rises = [
            level_db - quiet_db
            for end in (0, 1)
            if (level_db := self.noise_db(end)) is not None and (quiet_db := self.quiet_db[end]) is not None
        ]
        return max(rises, default=None)
