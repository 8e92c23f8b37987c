"""How fast it goes where it leans: backwards, and the wind carries it."""

from __future__ import annotations

import math
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.motion import Motion
from watchkeeper.aircraft.readings import US, Stream
from watchkeeper.estimate.part import Known

LEAST_LEAN: Final = math.tan(math.radians(3.0))
"""Leaning less it has no direction: an attitude is level within a degree or two (common practice)."""
OLD_US: Final = 3 * US


class LeanSpeed:
    """`flight.lean_speed`."""

    indexes = (INDEX["flight.lean_speed"],)

    def __init__(self, known: Known) -> None:
        self._motion = known.aircraft.motion
        self._told_us = -1
        self._told: float | None = None
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None] | None:
        """Return it in m/s once for each velocity told, None when that is old; nothing while there is no other."""
        motion = self._motion
        found = lean_speed_m_s(motion, now_us)
        if motion.velocity_us == self._told_us and (found is None) == (self._told is None):
            return None
        self._told_us, self._told = motion.velocity_us, found
        return (found,)


def lean_speed_m_s(motion: Motion, now_us: int) -> float | None:
    """Return the speed over ground along the direction in which it leans; None while either is not known."""
    north_m_s, east_m_s = motion.north_m_s, motion.east_m_s
    if north_m_s is None or east_m_s is None or now_us - min(motion.velocity_us, motion.attitude_us) > OLD_US:
        return None
    lean = math.hypot(motion.lean_north, motion.lean_east)
    if lean < LEAST_LEAN:
        return None
    return (motion.lean_north * north_m_s + motion.lean_east * east_m_s) / lean
