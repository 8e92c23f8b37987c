"""Motors against each other: one that turns faster than trim explains, and one that stands still."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.motion import Motion
from watchkeeper.aircraft.readings import US, Stream
from watchkeeper.estimate.airframe.hover import Flown
from watchkeeper.estimate.airframe.speeds import MotorSpeeds
from watchkeeper.estimate.airframe.standout import shares
from watchkeeper.estimate.airframe.trim import TrimFilter

NEAR_LEAN: Final = math.tan(math.radians(15.0))
"""Beyond this what trim takes is not in proportion to the lean."""
LEVEL_CLIMB_M_S: Final = 2.0
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
        self._trim: TrimFilter | None = None
        self._settled = False

    def run(self, now_us: int) -> tuple[float | None, float | None] | None:
        """Return by how much one motor stands out in %, and its number; None inside: nobody can tell."""
        speeds = self._speeds
        if speeds.samples == self._seen:
            return None
        self._seen = speeds.samples
        values = speeds.values
        if values is None:
            return None, None
        if speeds.source != self._source or self._trim is None or self._trim.motors != len(values):
            self._source = speeds.source
            self._trim = TrimFilter(len(values))
            self._settled = False
        if not speeds.flies:
            return 0.0, 0.0
        if speeds.still:
            return 100.0, 1.0 + min(range(len(values)), key=values.__getitem__)
        now = shares(values)
        lean = level_lean(self._motion, speeds.flown, now_us)
        found = None
        if now is not None and lean is not None and speeds.lifts:
            found = self._trim.look(now, lean, now_us)
        if found is not None:
            self._settled = True
            return 100 * found[0], found[1] + 1.0
        # before the first level stretch nothing is certain, so nothing certainly stands out
        return None if self._settled else (0.0, 0.0)


def level_lean(motion: Motion, flown: Flown, now_us: int) -> tuple[float, float] | None:
    """Return the lean (tangents ahead and right) if it leans and climbs little enough to judge by, else None.

    Where no attitude is told, a hover is level.
    """
    climb = flown.climb(now_us)
    if climb is not None and abs(climb) > LEVEL_CLIMB_M_S:
        return None
    if not motion.attitude_us or now_us - motion.attitude_us > _ATTITUDE_US:
        return (0.0, 0.0) if flown.calm(now_us) else None
    ahead, right = motion.lean
    return (ahead, right) if math.hypot(ahead, right) < NEAR_LEAN else None
