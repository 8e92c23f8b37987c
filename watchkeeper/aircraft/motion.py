"""How the aircraft moves and leans: velocity over ground, attitude gathered between two looks, the air around it.

The lean is the horizontal part of the thrust over its vertical part, along north and east: (tan of the tilt) times
the direction in which it pushes. At a steady height it is horizontal specific force over gravity. From the third
column of the rotation body to north, east, down (yaw, pitch, roll; Stevens and Lewis, Aircraft Control and
Simulation, ch. 1; from memory).
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

_STEEPEST_RAD: Final = 1.2
"""Beyond this a multirotor does not fly on, it falls; the tangent says nothing."""


class Lean(NamedTuple):
    """Means over a stretch of attitudes: lean along north and east (no unit), heading's cosine and sine."""

    north: float
    east: float
    heading_cos: float
    heading_sin: float
    looks: int
    begin_us: int
    end_us: int


class Motion:
    """Velocity, attitude and air of one power-up. None is unknown."""

    __slots__ = (
        "_begin_us", "_cos", "_count", "_east", "_north", "_sin", "air_degc", "air_us", "altitude_m",
        "attitude_us", "east_m_s", "ellipsoid_m", "ellipsoid_us", "heading_rad", "lean", "lean_east", "lean_north",
        "north_m_s", "pressure_hpa", "velocity_us",
    )  # fmt: skip

    def __init__(self) -> None:
        self.north_m_s: float | None = None
        self.east_m_s: float | None = None
        self.velocity_us = 0
        self.attitude_us = 0
        self.heading_rad = 0.0
        """Of the last attitude, which came at `attitude_us` (0: none)."""
        self.lean = (0.0, 0.0)
        """The last lean, ahead and to the right."""
        self.altitude_m: float | None = None
        """Above the sea."""
        self.ellipsoid_m: float | None = None
        """Height above the WGS 84 ellipsoid, by satellites."""
        self.ellipsoid_us = 0
        self.pressure_hpa: float | None = None
        self.air_degc: float | None = None
        """Temperature at the pressure sensor, which is warmer than the air (by 5 to 20 K, common practice)."""
        self.air_us = 0
        self.lean_north = self.lean_east = 0.0
        """The lean as it now is, smoothed over about a second (the time since the last attitude, at most half)."""
        self._clear()

    def _clear(self) -> None:
        self._north = self._east = self._cos = self._sin = 0.0
        self._count = self._begin_us = 0

    def velocity(self, north_m_s: float, east_m_s: float, now_us: int) -> None:
        """Take the velocity over ground."""
        self.north_m_s, self.east_m_s, self.velocity_us = north_m_s, east_m_s, now_us

    def attitude(self, roll_rad: float, pitch_rad: float, yaw_rad: float, now_us: int) -> None:
        """Take an attitude. What is not finite, or upside down, is left out."""
        if not (abs(roll_rad) < _STEEPEST_RAD and abs(pitch_rad) < _STEEPEST_RAD and abs(yaw_rad) < 100.0):
            return
        cos_roll, cos_pitch = math.cos(roll_rad), math.cos(pitch_rad)
        sin_yaw, cos_yaw = math.sin(yaw_rad), math.cos(yaw_rad)
        ahead = -math.sin(pitch_rad) / cos_pitch
        right = math.sin(roll_rad) / (cos_roll * cos_pitch)
        lean_north, lean_east = ahead * cos_yaw - right * sin_yaw, ahead * sin_yaw + right * cos_yaw
        fresh = min(0.5, max(0, now_us - self.attitude_us) / 1e6)
        self.lean_north += fresh * (lean_north - self.lean_north)
        self.lean_east += fresh * (lean_east - self.lean_east)
        self.attitude_us, self.heading_rad = now_us, yaw_rad
        self.lean = ahead, right
        if not self._count:
            self._begin_us = now_us
        self._north += lean_north
        self._east += lean_east
        self._cos += cos_yaw
        self._sin += sin_yaw
        self._count += 1

    def take_lean(self) -> Lean | None:
        """Return the means since the last call, and begin anew; None if no attitude came."""
        n = self._count
        if not n:
            return None
        lean = Lean(
            self._north / n, self._east / n, self._cos / n, self._sin / n, n, self._begin_us, self.attitude_us
        )
        self._clear()
        return lean
