"""What the flight controller believes of its motion: the truth with the errors of its sensors.

Level and compass errors are constant for a flight, the height drifts, satellite positions wander and come late.
Noise runs on a grid of its own, so that the same seed gives the same noise at any step of the simulation.
"""

from __future__ import annotations

import math
import random
from collections import deque
from dataclasses import dataclass
from typing import Final, NamedTuple

from simulators.physics.craft import Craft

GRID_S: Final = 0.1
_EARLY_S: Final = 1e-9
_SMOOTH_S: Final = 2.0
"""Inertial sensors carry the position over the jumps of the satellites'."""
_SMOOTH: Final = 1.0 - math.exp(-GRID_S / _SMOOTH_S)


@dataclass(frozen=True, slots=True)
class SensorErrors:
    """The errors of one flight. Standard deviations of noise; the rest as it is."""

    roll_rad: float = 0.0
    pitch_rad: float = 0.0
    compass_rad: float = 0.0
    height_drift_m_s: float = 0.0
    height_walk_m: float = 0.25
    """Standard deviation of what the height wanders in a minute."""
    position_m: float = 0.7
    position_memory_s: float = 45.0
    velocity_m_s: float = 0.06
    attitude_rad: float = 0.004
    latency_s: float = 0.2

    @staticmethod
    def draw(seed: int | str) -> SensorErrors:
        """Return errors as an aircraft may have them: level within 2 degrees, compass 6, height 6 m an hour."""
        dice = random.Random(f"sensors {seed}")
        level, way = math.radians(dice.uniform(0.0, 2.0)), dice.uniform(0.0, math.tau)
        return SensorErrors(
            roll_rad=level * math.cos(way),
            pitch_rad=level * math.sin(way),
            compass_rad=math.radians(max(-6.0, min(6.0, dice.gauss(0.0, 2.5)))),
            height_drift_m_s=dice.uniform(-6.0, 6.0) / 3600.0,
            position_m=dice.uniform(0.4, 1.0),
            latency_s=dice.uniform(0.1, 0.3),
        )


QUIET: Final = SensorErrors(height_walk_m=0.0, position_m=0.0, velocity_m_s=0.0, attitude_rad=0.0, latency_s=0.0)
"""Sensors without error, for checks of the physics."""


class Fix(NamedTuple):
    """A satellite position as the receiver gives it, late: m from the field's point, m/s."""

    time_s: float
    north_m: float
    east_m: float
    height_m: float
    north_m_s: float
    east_m_s: float
    climb_m_s: float


class Sensors:
    """The believed state. `update` once a step, after the craft has moved."""

    __slots__ = (
        "_dice",
        "_east",
        "_height",
        "_next_s",
        "_north",
        "_smooth_e",
        "_smooth_n",
        "_speed_e",
        "_speed_n",
        "_up",
        "_waiting",
        "climb_m_s",
        "dilution",
        "east_m",
        "east_m_s",
        "errors",
        "false_m",
        "false_m_s",
        "fix",
        "has_fix",
        "heading_rad",
        "height_m",
        "north_m",
        "north_m_s",
        "pitch_rad",
        "roll_rad",
        "satellites",
        "scatter",
    )  # fmt: skip

    def __init__(self, errors: SensorErrors, seed: int | str) -> None:
        self.errors = errors
        self._dice = random.Random(f"sensor noise {seed}")
        self._next_s = 0.0
        start = errors.position_m
        self._north, self._east = self._dice.gauss(0.0, start), self._dice.gauss(0.0, start)
        self._smooth_n, self._smooth_e = self._north, self._east
        self._up = self._dice.gauss(0.0, 1.5 * start)
        self._height = 0.0
        self._speed_n = self._speed_e = 0.0
        self._waiting: deque[Fix] = deque()
        self.has_fix = True
        """Whether satellites give a position; the scenario takes it away."""
        self.satellites = 24
        self.dilution = 0.7
        self.scatter = 1.0
        """How much more than usual positions wander, by dilution."""
        self.false_m = self.false_m_s = (0.0, 0.0, 0.0)
        """What a foreign sender adds to position and velocity (north, east, up)."""
        self.fix = Fix(0.0, self._north, self._east, self._up, 0.0, 0.0, 0.0)
        self.north_m = self.east_m = self.height_m = 0.0
        self.north_m_s = self.east_m_s = self.climb_m_s = 0.0
        self.roll_rad = self.pitch_rad = self.heading_rad = 0.0

    def update(self, craft: Craft) -> None:
        """Sense the craft as it now is."""
        now = craft.time_s
        errors = self.errors
        if now + _EARLY_S >= self._next_s:
            self._next_s += GRID_S
            self._wander(errors)
            if self.has_fix:
                self._receive(craft, now)
        waiting = self._waiting
        if waiting and waiting[0].time_s <= now - errors.latency_s + _EARLY_S:
            self.fix = waiting.popleft()
        self.height_m = craft.height_m + self._height
        self.climb_m_s = craft.climb_m_s
        if self.has_fix:
            false, rate, scatter = self.false_m, self.false_m_s, self.scatter
            self.north_m = craft.north_m + scatter * self._smooth_n + false[0]
            self.east_m = craft.east_m + scatter * self._smooth_e + false[1]
            self.north_m_s = craft.north_m_s + self._speed_n + rate[0]
            self.east_m_s = craft.east_m_s + self._speed_e + rate[1]
        heading = craft.heading_rad
        cosine, sine = math.cos(heading), math.sin(heading)
        forward = craft.tilt_north * cosine + craft.tilt_east * sine
        right = craft.tilt_east * cosine - craft.tilt_north * sine
        up = math.sqrt(max(0.0, 1.0 - forward * forward - right * right))
        self.pitch_rad = -math.atan2(forward, up) + errors.pitch_rad
        self.roll_rad = math.asin(max(-1.0, min(1.0, right))) + errors.roll_rad
        self.heading_rad = (heading + errors.compass_rad) % math.tau

    def _wander(self, errors: SensorErrors) -> None:
        gauss = self._dice.gauss
        kept = math.exp(-GRID_S / errors.position_memory_s)
        fresh = errors.position_m * math.sqrt(1.0 - kept * kept)
        self._north = self._north * kept + fresh * gauss(0.0, 1.0)
        self._east = self._east * kept + fresh * gauss(0.0, 1.0)
        self._smooth_n += _SMOOTH * (self._north - self._smooth_n)
        self._smooth_e += _SMOOTH * (self._east - self._smooth_e)
        self._up = self._up * kept + 1.5 * fresh * gauss(0.0, 1.0)
        kept = math.exp(-GRID_S)
        fresh = errors.velocity_m_s * math.sqrt(1.0 - kept * kept)
        self._speed_n = self._speed_n * kept + fresh * gauss(0.0, 1.0)
        self._speed_e = self._speed_e * kept + fresh * gauss(0.0, 1.0)
        walk = errors.height_walk_m * math.sqrt(GRID_S / 60.0)
        self._height += errors.height_drift_m_s * GRID_S + walk * gauss(0.0, 1.0)

    def _receive(self, craft: Craft, now_s: float) -> None:
        false, rate, scatter = self.false_m, self.false_m_s, self.scatter
        self._waiting.append(
            Fix(
                now_s,
                craft.north_m + scatter * self._north + false[0],
                craft.east_m + scatter * self._east + false[1],
                craft.height_m + scatter * self._up + false[2],
                craft.north_m_s + self._speed_n + rate[0],
                craft.east_m_s + self._speed_e + rate[1],
                craft.climb_m_s + rate[2],
            )
        )
