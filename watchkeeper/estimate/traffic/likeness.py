"""Whether what a receiver tells of is the aircraft itself: its own ADS-B or drone identity, heard again.

An echo is where the aircraft is or was some seconds ago, at its velocity, from the first time on and for good. One
that truly comes close was elsewhere before; it is never taken for an echo by what it does near the aircraft.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from watchkeeper.aircraft.traffic import US, Report, Whereabouts
from watchkeeper.estimate.traffic.approach import Plane
from watchkeeper.estimate.traffic.heights import above

NEAR_M: Final = 15.0
"""Two satellite receivers on one aircraft differ by less; two heavy multirotors do not keep that near."""
_ALIKE_M_S: Final = 3.0
_HEIGHT_M: Final = 20.0
_LAG_US: Final = 4 * US
"""What sender, receiver and link may be late by (ADS-B allows 2 s, ASTM F3411 1 s; from memory)."""
_AHEAD_US: Final = 2 * US
"""The aircraft's own telemetry may be late too."""
FAR_M: Final = 200.0
"""Whoever was told of from here is somebody else, for as long as it is told of."""
CLAIM_M: Final = 300.0
"""An own address is believed so near; farther off it is somebody who uses it too."""
_DECIDE_US: Final = 8 * US
_PATIENCE_US: Final = 12 * US
_ENOUGH: Final = 4
_AGAIN_US: Final = 30 * US
_AGAIN_M: Final = 100.0
"""One that was not alike before has to fly so far exactly as the aircraft does."""
_MISSES: Final = 2


def nearest_m(report: Report, track: Iterable[Whereabouts]) -> tuple[float, bool]:
    """Return how near a report comes to where the aircraft was about then, and whether it is like it there."""
    least_m, alike = float("inf"), False
    for own in track:
        if not -_AHEAD_US <= report.time_us - own.time_us <= _LAG_US:
            continue
        plane = Plane(own.latitude_deg, own.longitude_deg)
        r = plane.see(report.latitude_deg, report.longitude_deg, 0.0, 0.0)
        away_m = (r.north_m**2 + r.east_m**2) ** 0.5
        least_m = min(least_m, away_m)
        alike = alike or (away_m <= NEAR_M and _moves_alike(report, own))
    return least_m, alike


def _moves_alike(report: Report, own: Whereabouts) -> bool:
    if report.north_m_s is not None and report.east_m_s is not None:
        off = (report.north_m_s - own.north_m_s) ** 2 + (report.east_m_s - own.east_m_s) ** 2
        if off > _ALIKE_M_S**2:
            return False
    height = above(own, report)
    return height is None or not height.matched or height.least_m <= _HEIGHT_M


class Likeness:
    """What one track has had in common with one aircraft so far."""

    __slots__ = ("_alike", "_barred", "_begin_m", "_begin_us", "_doubted", "_misses", "_own", "fresh")

    def __init__(self, now_us: int) -> None:
        self.fresh = 0
        """How many positions of the track were looked at."""
        self._begin_us = now_us
        self._begin_m = 0.0
        self._alike = 0
        self._misses = 0
        self._doubted = False
        self._own = False
        self._barred = False

    def look(self, away_m: float, alike: bool, flown_m: float, now_us: int) -> None:
        """Take a new position in: how far off and whether alike; `flown_m` is how far the aircraft has flown."""
        self._barred |= away_m > FAR_M
        if alike and not self._barred:
            if not self._alike:
                self._begin_us, self._begin_m = now_us, flown_m
            self._alike += 1
            self._misses = 0
            since_us = now_us - self._begin_us
            if self._doubted:
                self._own |= since_us >= _AGAIN_US and flown_m - self._begin_m >= _AGAIN_M
            else:
                self._own |= since_us >= _DECIDE_US and self._alike >= _ENOUGH
            return
        self._misses += 1
        if self._misses >= _MISSES:
            self._own, self._doubted, self._alike = False, True, 0

    def own(self, now_us: int) -> bool:
        """Whether it is the aircraft itself, or may be and is still being looked at."""
        deciding = self._alike > 0 and not self._doubted and now_us - self._begin_us <= _PATIENCE_US
        return self._own or deciding
