"""Motors against each other: one that turns faster than in this flight's own hover, and one that stands still.

Balance is judged near the lean of a hover only, for what a steep lean takes of trim is not known beforehand: on
real quadrotors one motor stands out by up to 20 % at 28 degrees, by more than 12 % for a second at most under
12 degrees.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.motion import Motion
from watchkeeper.aircraft.readings import US, Stream
from watchkeeper.estimate.airframe.hover import Baseline
from watchkeeper.estimate.airframe.speeds import MotorSpeeds
from watchkeeper.estimate.airframe.standout import shares, standout

SMOOTH_US: Final = 4 * US
NEAR_LEAN: Final = math.tan(math.radians(12.0))
LEVEL_CLIMB_M_S: Final = 2.0
UNLIKE: Final = 0.10
"""What motors that are all well differ by in a hover: mass off centre, mounting, propellers (common practice)."""
_GAP_US: Final = 10 * US
_ATTITUDE_US: Final = 3 * US


class MotorStill:
    """`motors.still`, `motors.peak`."""

    indexes = (INDEX["motors.still"], INDEX["motors.peak"])

    def __init__(self, speeds: MotorSpeeds) -> None:
        self.stream = Stream()
        self._speeds = speeds
        self._seen = 0

    def run(self, now_us: int) -> Sequence[float | None] | None:
        """Return how many stand still in flight, and the highest output in % of its range."""
        speeds = self._speeds
        speeds.look(now_us)
        if speeds.samples == self._seen:
            return None
        self._seen = speeds.samples
        peak_pct = None if speeds.peak is None else 100 * speeds.peak
        if speeds.values is None:
            return None, peak_pct
        return float(speeds.still) if speeds.flies else 0.0, peak_pct


class MotorBalance:
    """`motors.uneven`, `motors.odd`."""

    indexes = (INDEX["motors.uneven"], INDEX["motors.odd"])

    def __init__(self, speeds: MotorSpeeds, motion: Motion) -> None:
        self.stream = Stream()
        self._speeds = speeds
        self._motion = motion
        self._seen = self._source = 0
        self._baseline = Baseline()
        self._smooth: list[float] | None = None
        self._last_us = 0

    def run(self, now_us: int) -> tuple[float | None, float | None] | None:
        """Return by how much one motor stands out in %, and its number; None inside: nobody can tell."""
        speeds = self._speeds
        if speeds.samples == self._seen:
            return None
        self._seen = speeds.samples
        if speeds.source != self._source:
            self._source = speeds.source
            self._baseline, self._smooth = Baseline(), None
        if speeds.values is None:
            return None, None
        if not speeds.flies:
            return 0.0, 0.0
        if not speeds.lifts or speeds.still or not self._is_level(now_us):
            return None  # no sample of balance; what stands still is told of by itself
        now = shares(speeds.values)
        if now is None:
            return None
        if self._smooth is None or now_us - self._last_us > _GAP_US:
            self._smooth = now
        else:
            fresh = 1 - math.exp((self._last_us - now_us) / SMOOTH_US)
            self._smooth = [old + fresh * (new - old) for old, new in zip(self._smooth, now, strict=True)]
        self._last_us = now_us
        if speeds.flown.calm(now_us):
            self._baseline.learn(now, now_us)
        hover = self._baseline.values
        if hover is None:
            out, odd = standout(self._smooth)
            out = max(0.0, out - UNLIKE)
        else:
            out, odd = standout([share - usual for share, usual in zip(self._smooth, hover, strict=True)])
        return 100 * out, odd + 1.0

    def _is_level(self, now_us: int) -> bool:
        """Whether it leans and climbs little; where no attitude is told, whether it hovers."""
        flown, motion = self._speeds.flown, self._motion
        climb = flown.climb(now_us)
        if climb is not None and abs(climb) > LEVEL_CLIMB_M_S:
            return False
        if not motion.attitude_us or now_us - motion.attitude_us > _ATTITUDE_US:
            return flown.calm(now_us)
        return motion.lean < NEAR_LEAN
