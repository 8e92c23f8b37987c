"""From a place to reach to a velocity to fly."""

from __future__ import annotations

import math
from collections.abc import Mapping

from simulators.onboard.control import RISE_M_S2, braking, towards, turn_to
from simulators.onboard.sensors import Sensors

Place = tuple[float, float, float]
"""North, east, height in m from the field's point."""
Velocity = tuple[float, float, float, float]
"""North, east, up in m/s, and the rate of turn in rad/s."""


class Guide:
    """Velocities towards places, by what the aircraft believes of itself and its own limits."""

    def __init__(self, sensors: Sensors, values: Mapping[str, float]) -> None:
        self._sensors = sensors
        self._values = values

    def distance(self, north_m: float, east_m: float) -> float:
        """Return the distance over ground to a place in m."""
        return math.hypot(north_m - self._sensors.north_m, east_m - self._sensors.east_m)

    def go(self, place: Place, speed_m_s: float, *, face: bool = True) -> Velocity:
        """Return the velocity to a place, turning towards it if `face`."""
        sensors = self._sensors
        north, east = place[0] - sensors.north_m, place[1] - sensors.east_m
        distance = math.sqrt(north * north + east * east)
        turn = turn_to(math.atan2(east, north), sensors) if face else 0.0
        if distance < 1e-6:
            return 0.0, 0.0, self.rise(place[2]), turn
        speed = towards(distance, speed_m_s, self._brake_m_s2) / distance
        return north * speed, east * speed, self.rise(place[2]), turn

    def stay(self, place: Place) -> Velocity:
        """Return the velocity that holds a place without turning."""
        return self.go(place, self._values["fly.speed_m_s"], face=False)

    def rest(self) -> tuple[float, float]:
        """Return where, north and east, it comes to rest when it brakes now."""
        sensors = self._sensors
        speed = math.hypot(sensors.north_m_s, sensors.east_m_s)
        if speed < 1e-6 or not sensors.has_fix:
            return sensors.north_m, sensors.east_m
        lead_s = braking(speed, self._brake_m_s2) / speed
        return sensors.north_m + sensors.north_m_s * lead_s, sensors.east_m + sensors.east_m_s * lead_s

    def rest_height(self) -> float:
        """Return the height in which a climb or a descent ends when it is braked now."""
        climb = self._sensors.climb_m_s
        return self._sensors.height_m + 0.5 * climb * abs(climb) / RISE_M_S2

    @property
    def _brake_m_s2(self) -> float:
        return 0.6 * self._values["fly.accel_m_s2"]

    def rise(self, height_m: float) -> float:
        """Return the climb to a height in m/s."""
        off = height_m - self._sensors.height_m
        values = self._values
        if off >= 0:
            return towards(off, values["fly.climb_m_s"], 0.8)
        return -towards(-off, values["fly.sink_m_s"], 0.8)
