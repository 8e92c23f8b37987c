"""Velocity and height control: from a wanted velocity to thrust and tilt, with limits.

Two loops in a row, proportional and integral. The integral holds what is not known: wind on the body, a level
error, the true weight. Gains are those of a heavy machine that is flown gently.
"""

from __future__ import annotations

import math
from typing import Final

from simulators.onboard.sensors import Sensors
from simulators.physics.constants import G_M_S2
from simulators.physics.craft import Craft

_SPEED_GAIN_1_S: Final = 1.3
_SPEED_MEMORY_1_S2: Final = 0.35
_CLIMB_GAIN_1_S: Final = 2.2
_CLIMB_MEMORY_1_S2: Final = 1.0
_MOST_HELD_M_S2: Final = 4.5
_MOST_CLIMB_HELD_M_S2: Final = 5.0
_MOST_LIFT_M_S2: Final = 3.0
_TURN_GAIN_1_S: Final = 1.2
_CLOSE_GAIN_1_S: Final = 0.8
_FULL: Final = 0.999
RISE_M_S2: Final = 1.6
"""Change of the climb that is asked for."""


class Control:
    """Holds the integrals. `fly` for a wanted velocity, `lean` for a wanted tilt; both command the craft."""

    def __init__(self, weight_kg: float) -> None:
        """Take the mass that the controller reckons with; the integral finds the rest."""
        self.weight_kg = weight_kg
        self.tilt_most = math.sin(math.radians(30.0))
        self.accel_m_s2 = 1.8
        self._held_n = self._held_e = self._held_u = 0.0
        self._asked_n = self._asked_e = self._asked_u = 0.0

    def reset(self) -> None:
        """Begin anew, as on the ground."""
        self._held_n = self._held_e = self._held_u = 0.0
        self._asked_n = self._asked_e = self._asked_u = 0.0

    def fly(
        self,
        step_s: float,
        craft: Craft,
        sensors: Sensors,
        velocity: tuple[float, float, float],
        turn_rad_s: float,
    ) -> None:
        """Fly a velocity north, east and up in m/s."""
        change_n, change_e = velocity[0] - self._asked_n, velocity[1] - self._asked_e
        change = math.sqrt(change_n * change_n + change_e * change_e)
        most = self.accel_m_s2 * step_s
        if change > most:
            change_n, change_e = change_n * most / change, change_e * most / change
        self._asked_n += change_n
        self._asked_e += change_e
        lack_n, lack_e = self._asked_n - sensors.north_m_s, self._asked_e - sensors.east_m_s
        wish_n = _SPEED_GAIN_1_S * lack_n + self._held_n + change_n / step_s
        wish_e = _SPEED_GAIN_1_S * lack_e + self._held_e + change_e / step_s
        lift = self._lift(step_s, craft, sensors, velocity[2])
        size = math.sqrt(wish_n * wish_n + wish_e * wish_e + lift * lift)
        tilt_n, tilt_e = wish_n / size, wish_e / size
        tilt = math.sqrt(tilt_n * tilt_n + tilt_e * tilt_e)
        if tilt > self.tilt_most:
            tilt_n, tilt_e = tilt_n * self.tilt_most / tilt, tilt_e * self.tilt_most / tilt
        elif not craft.on_ground:
            rate = _SPEED_MEMORY_1_S2 * step_s
            self._held_n = max(-_MOST_HELD_M_S2, min(_MOST_HELD_M_S2, self._held_n + lack_n * rate))
            self._held_e = max(-_MOST_HELD_M_S2, min(_MOST_HELD_M_S2, self._held_e + lack_e * rate))
        self._command(step_s, craft, sensors, (tilt_n, tilt_e, lift), turn_rad_s)

    def lean(
        self, step_s: float, craft: Craft, sensors: Sensors, tilt: tuple[float, float], climb_m_s: float,
        turn_rad_s: float,
    ) -> None:  # fmt: skip
        """Hold a tilt (north, east) and a climb: there is no position to hold, so it drifts."""
        self._asked_n, self._asked_e = craft.north_m_s, craft.east_m_s
        self._held_n = self._held_e = 0.0
        size = math.hypot(*tilt)
        scale = self.tilt_most / size if size > self.tilt_most else 1.0
        lift = self._lift(step_s, craft, sensors, climb_m_s)
        self._command(step_s, craft, sensors, (tilt[0] * scale, tilt[1] * scale, lift), turn_rad_s)

    def _lift(self, step_s: float, craft: Craft, sensors: Sensors, climb_m_s: float) -> float:
        """Return the wanted upward specific force in m/s2."""
        change = max(-RISE_M_S2 * step_s, min(RISE_M_S2 * step_s, climb_m_s - self._asked_u))
        self._asked_u += change
        lack = self._asked_u - sensors.climb_m_s
        if craft.drive.throttle < _FULL or lack < 0:
            held = self._held_u + lack * _CLIMB_MEMORY_1_S2 * step_s
            self._held_u = max(-_MOST_CLIMB_HELD_M_S2, min(_MOST_CLIMB_HELD_M_S2, held))
        wish = _CLIMB_GAIN_1_S * lack + self._held_u
        held = self._held_u  # what it has learned of its weight bounds it both ways
        return G_M_S2 + max(held - _MOST_LIFT_M_S2, min(held + _MOST_LIFT_M_S2, wish))

    def _command(
        self, step_s: float, craft: Craft, sensors: Sensors, wish: tuple[float, float, float], turn_rad_s: float
    ) -> None:
        """Turn what is wanted into the body's frame as it is believed, and so into what really happens.

        A compass error turns the tilt; a level error adds to it.
        """
        tilt_n, tilt_e, lift = wish
        errors = sensors.errors
        off = errors.compass_rad
        if off:
            cosine, sine = math.cos(off), math.sin(off)
            tilt_n, tilt_e = tilt_n * cosine + tilt_e * sine, tilt_e * cosine - tilt_n * sine
        if errors.pitch_rad or errors.roll_rad:
            cosine, sine = math.cos(craft.heading_rad), math.sin(craft.heading_rad)
            tilt_n += errors.pitch_rad * cosine + errors.roll_rad * sine
            tilt_e += errors.pitch_rad * sine - errors.roll_rad * cosine
        upright = math.sqrt(
            max(0.25, 1.0 - craft.tilt_north * craft.tilt_north - craft.tilt_east * craft.tilt_east)
        )
        craft.step(step_s, self.weight_kg * lift / upright, tilt_n, tilt_e, turn_rad_s)


def towards(distance_m: float, most_m_s: float, accel_m_s2: float) -> float:
    """Return the speed at which to close a distance so that braking gently ends at the point."""
    bend = accel_m_s2 / (_CLOSE_GAIN_1_S * _CLOSE_GAIN_1_S)
    if distance_m <= bend:
        return min(most_m_s, _CLOSE_GAIN_1_S * distance_m)
    return min(most_m_s, math.sqrt(2.0 * accel_m_s2 * (distance_m - 0.5 * bend)))


def braking(speed_m_s: float, accel_m_s2: float) -> float:
    """Return the distance in which a speed is braked: from there `towards` gives that speed."""
    bend_m_s = accel_m_s2 / _CLOSE_GAIN_1_S
    if speed_m_s <= bend_m_s:
        return speed_m_s / _CLOSE_GAIN_1_S
    return (speed_m_s * speed_m_s + bend_m_s * bend_m_s) / (2.0 * accel_m_s2)


def turn_to(wanted_rad: float, sensors: Sensors) -> float:
    """Return the rate of turn in rad/s towards a heading."""
    return max(-0.7, min(0.7, _TURN_GAIN_1_S * math.remainder(wanted_rad - sensors.heading_rad, math.tau)))
