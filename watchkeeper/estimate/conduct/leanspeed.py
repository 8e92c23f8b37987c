"""How fast it goes where it leans: backwards, and the wind carries it."""

from __future__ import annotations

import math
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.estimate.packs.pack import number
from watchkeeper.estimate.part import Known

LEAST_TILT_DEG: Final = 3.0
"""Leaning less it has no direction: an attitude is level within a degree or two (common practice)."""
_TILT: Final = INDEX["flight.tilt"]
_SPEED: Final = INDEX["position.ground_speed"]


class LeanSpeed:
    """`flight.lean_speed`."""

    indexes = (INDEX["flight.lean_speed"],)

    def __init__(self, known: Known) -> None:
        self._aircraft = known.aircraft
        self._count = 0
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None] | None:
        """Return it in m/s once for each motion told; None while there is no other."""
        readings = self._aircraft.readings
        stream = readings.streams[_SPEED]
        if stream is None or stream.count == self._count:
            return None
        self._count = stream.count
        tilt_deg = number(readings, _TILT, now_us)
        return (lean_speed_m_s(self._aircraft) if tilt_deg is not None and tilt_deg > LEAST_TILT_DEG else None,)


def lean_speed_m_s(aircraft: Aircraft) -> float | None:
    """Return the speed over ground along the direction in which it leans; None while that or motion is unknown."""
    motion, intended = aircraft.motion, aircraft.intended
    if motion.north_m_s is None or motion.east_m_s is None:
        return None
    ahead, right = -math.sin(intended.pitch_rad), math.sin(intended.roll_rad) * math.cos(intended.pitch_rad)
    sin_yaw, cos_yaw = math.sin(intended.yaw_rad), math.cos(intended.yaw_rad)
    north, east = ahead * cos_yaw - right * sin_yaw, ahead * sin_yaw + right * cos_yaw
    size = math.hypot(north, east)
    return (north * motion.north_m_s + east * motion.east_m_s) / size if size > 0.0 else None
