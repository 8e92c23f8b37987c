"""Cuts a flight into stretches of a second or two, over each of which lean, velocity and its change are means."""

from __future__ import annotations

from operator import add
from typing import Final, NamedTuple

from watchkeeper.aircraft.motion import Motion
from watchkeeper.aircraft.readings import US

SHORTEST_US: Final = 1_800_000
"""Long enough for a change of the velocity to stand over its noise."""
LONGEST_US: Final = 4 * US
"""A stretch longer than this has holes: the mean of its attitudes is not that of its motion."""
FASTEST_M_S: Final = 60.0
HARDEST_M_S2: Final = 8.0
"""No multirotor flies faster or pulls harder; what says so is wrong."""
_Edge = tuple[float, float, float, int]
"""Velocity north and east, climb, and when."""
_NOTHING: Final = (0.0, 0.0, 0.0, 0.0, 0)


class Stretch(NamedTuple):
    """Means over a stretch: lean, heading's cosine and sine, velocity and its change; how long it was."""

    lean_n: float
    lean_e: float
    cos: float
    sin: float
    north_m_s: float
    east_m_s: float
    north_m_s2: float
    east_m_s2: float
    up_m_s2: float
    seconds: float


class Stretches:
    """Gathers attitudes and velocities from run to run; `take` gives a stretch when one is whole.

    Velocities come when they come. That at the last run is known by the one before it and the one after it, so a
    stretch ends one run late. Were lean and velocity not of the same time, each acceleration would look like drag.
    """

    __slots__ = ("_edge_us", "_gathered", "_sample", "_start")

    def __init__(self) -> None:
        self._sample: _Edge = (0.0, 0.0, 0.0, -1)
        self._start: _Edge | None = None
        self._gathered: tuple[float, ...] = _NOTHING
        self._edge_us = -1

    def take(self, motion: Motion, climb_m_s: float | None, now_us: int) -> Stretch | None:
        """Take what has come since the last run; return a stretch if one is whole."""
        lean, before, whole = motion.take_lean(), self._sample, None
        if motion.north_m_s is not None and motion.east_m_s is not None and motion.velocity_us != before[3]:
            climb = climb_m_s if climb_m_s is not None and abs(climb_m_s) < FASTEST_M_S else before[2]
            self._sample = after = (motion.north_m_s, motion.east_m_s, climb, motion.velocity_us)
            if before[3] <= self._edge_us <= after[3] <= before[3] + LONGEST_US:
                edge = _between(before, after, self._edge_us)
                start = self._start
                if start is None or edge[3] - start[3] >= SHORTEST_US:
                    whole = self._mean(start, edge) if start is not None else None
                    self._start, self._gathered = edge, _NOTHING
            else:
                self._start = None
        if lean is not None:
            n = lean.looks
            new = (n * lean.north, n * lean.east, n * lean.heading_cos, n * lean.heading_sin, n)
            self._gathered = tuple(map(add, self._gathered, new))
        self._edge_us = now_us
        return whole

    def _mean(self, start: _Edge, end: _Edge) -> Stretch | None:
        """Return the means of a stretch, or None if it cannot have been flown."""
        north, east, cos, sin, count = self._gathered
        if not count or not 0 < end[3] - start[3] <= LONGEST_US:
            return None
        seconds = (end[3] - start[3]) / US
        n, e, up = (end[0] - start[0]) / seconds, (end[1] - start[1]) / seconds, (end[2] - start[2]) / seconds
        fast = max(abs(start[0]), abs(start[1]), abs(end[0]), abs(end[1])) > FASTEST_M_S
        if fast or max(abs(n), abs(e), abs(up)) > HARDEST_M_S2:
            return None
        middle = 0.5 * (start[0] + end[0]), 0.5 * (start[1] + end[1])
        return Stretch(north / count, east / count, cos / count, sin / count, *middle, n, e, up, seconds)


def _between(before: _Edge, after: _Edge, time_us: int) -> _Edge:
    share = (time_us - before[3]) / (after[3] - before[3])
    n, e, up = (a + share * (b - a) for a, b in zip(before[:3], after[:3], strict=True))
    return n, e, up, time_us
