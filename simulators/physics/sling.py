"""A load on a line under the aircraft: a pendulum that the air holds back.

It hangs once the line is taut and rests on the ground again when the aircraft comes down. Small angles are not
assumed for the line's pull, but the load's height follows the line's length only.
"""

from __future__ import annotations

import math
from typing import Final

from simulators.physics.airframe import Load
from simulators.physics.constants import G_M_S2

_DAMPING_1_S: Final = 0.06
_MOST_SWING: Final = 0.9
_SLACK: Final = 0.9


class Sling:
    """The load's place and speed from the aircraft, north and east."""

    __slots__ = ("_drag_e", "_drag_n", "_pull", "east_m", "east_m_s", "hangs", "north_m", "north_m_s")

    def __init__(self) -> None:
        self.hangs = False
        self.rest()

    def rest(self) -> None:
        """Straight down, still."""
        self.north_m = self.east_m = self.north_m_s = self.east_m_s = 0.0
        self._drag_n = self._drag_e = self._pull = 0.0

    def lifts(self, load: Load, above_m: float) -> bool:
        """Tell whether the load leaves the ground in this step; lets it down when the aircraft has come low."""
        if self.hangs:
            self.hangs = above_m >= load.line_m * _SLACK
            return False
        if above_m < load.line_m:
            return False
        self.rest()
        self.hangs = True
        return True

    def pull(
        self, load: Load, climb_m_s2: float, density: float, speed: tuple[float, float], wind: tuple[float, float]
    ) -> tuple[float, float, float]:
        """Return the line's pull on the aircraft in N; the vertical part is the load's weight alone."""
        line, north, east = load.line_m, self.north_m, self.east_m
        drop = math.sqrt(max(line * line - north * north - east * east, 0.01 * line * line))
        self._pull = pull = load.mass_kg * max(0.0, G_M_S2 + climb_m_s2) / drop
        flow_n = speed[0] + self.north_m_s - wind[0]
        flow_e = speed[1] + self.east_m_s - wind[1]
        brake = 0.5 * density * load.drag_m2 * math.sqrt(flow_n * flow_n + flow_e * flow_e)
        self._drag_n, self._drag_e = -brake * flow_n, -brake * flow_e
        return pull * north, pull * east, -load.mass_kg * G_M_S2

    def swing(self, step_s: float, load: Load, north_m_s2: float, east_m_s2: float) -> None:
        """Move on under the aircraft's acceleration, the line and the air of the last `pull`."""
        pull, mass = self._pull, load.mass_kg
        push_n = (self._drag_n - pull * self.north_m) / mass - north_m_s2 - _DAMPING_1_S * self.north_m_s
        push_e = (self._drag_e - pull * self.east_m) / mass - east_m_s2 - _DAMPING_1_S * self.east_m_s
        self.north_m_s += push_n * step_s
        self.east_m_s += push_e * step_s
        north = self.north_m + self.north_m_s * step_s
        east = self.east_m + self.east_m_s * step_s
        out = math.hypot(north, east) / (_MOST_SWING * load.line_m)
        if out > 1.0:  # as far as a line swings before this model says nothing any more
            north, east = north / out, east / out
            self.north_m_s = self.east_m_s = 0.0
        self.north_m, self.east_m = north, east
