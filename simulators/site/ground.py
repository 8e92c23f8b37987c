"""The ground around the field: hills, ridges, and obstacles that stand on it.

Metres north and east of the field's point, heights above the field, which is level. Where hills and ridges
overlap the higher one counts, so that each is known by itself: a line of sight or a skyline needs one look at each
and no walk along the ground. Hollows are not modelled, nor is the curve of the earth (0.4 m amid 5 km).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from simulators.site.skyline import Skyline, level

Place = tuple[float, float]
"""North and east, m."""
Crest = tuple[float, float, float, float]
"""On a line: distance from its beginning, top; for an obstacle how far beside the line its axis stands, and its
radius; zeros for the ground. All in m."""

_HILL_ENDS: Final = 4.0
"""A hill is nothing beyond so many radii: there it is a ten-millionth of its height."""
_CELL_M: Final = 4.0
_STOREY_M: Final = 2.0
"""A skyline is made for the middle of a cell of space: it follows from the place, not from the way there."""
_MOST_SAMPLES: Final = 100_000
_SIDE_BY_SIDE: Final = 1e-9


def _check(*sizes: float) -> None:
    """Raise ValueError unless every size is finite and above zero."""
    if not all(0.0 < size < math.inf for size in sizes):
        raise ValueError("heights, radii and widths must be above 0 m")


@dataclass(frozen=True, slots=True)
class Hill:
    """A round hill: `height_m` exp(-(d / `radius_m`)^2) at the distance d from its top."""

    at: Place
    height_m: float
    radius_m: float

    def __post_init__(self) -> None:
        _check(self.height_m, self.radius_m)


@dataclass(frozen=True, slots=True)
class Ridge:
    """A crest of one height along a line: `height_m` (1 - (d / `half_width_m`)^2)^2, nothing beyond that width."""

    points: tuple[Place, ...]
    height_m: float
    half_width_m: float

    def __post_init__(self) -> None:
        _check(self.height_m, self.half_width_m)
        if len(self.points) < 2 or any(a == b for a, b in pairwise(self.points)):
            raise ValueError("a ridge needs two points or more, each apart from the next")


@dataclass(frozen=True, slots=True)
class Obstacle:
    """An upright cylinder: building, mast or tree. It stands on the ground at its axis."""

    at: Place
    height_m: float
    radius_m: float

    def __post_init__(self) -> None:
        _check(self.height_m, self.radius_m)


class Ground:
    """Hills, ridges and obstacles, asked for heights, lines and skylines. Without any it costs nothing."""

    __slots__ = ("_hills", "_kept", "_kept_at", "_ridges", "_standing", "hills", "obstacles", "ridges")

    def __init__(
        self, hills: tuple[Hill, ...] = (), ridges: tuple[Ridge, ...] = (), obstacles: tuple[Obstacle, ...] = ()
    ) -> None:
        self.hills: Final = tuple(hills)
        self.ridges: Final = tuple(ridges)
        self.obstacles: Final = tuple(obstacles)
        self._hills: Final = [(*one.at, one.height_m, one.radius_m**2) for one in self.hills]
        self._ridges: Final = [_Line(one) for one in self.ridges]
        self._standing: Final = [
            (*one.at, self.height_m(*one.at) + one.height_m, one.radius_m) for one in self.obstacles
        ]
        self._kept: Callable[[float], float] = level
        self._kept_at = (math.inf, math.inf, math.inf)

    def __bool__(self) -> bool:
        """Whether there is anything but the level field."""
        return bool(self.hills or self.ridges or self.obstacles)

    def height_m(self, north: float, east: float) -> float:
        """Return the height of the ground, without what stands on it, in m."""
        found = 0.0
        for n, e, height, square in self._hills:
            away = ((north - n) * (north - n) + (east - e) * (east - e)) / square
            if away < _HILL_ENDS * _HILL_ENDS:
                found = max(found, height * math.exp(-away))
        for ridge in self._ridges:
            found = max(found, ridge.height_at(north, east))
        return found

    def top_m(self, north: float, east: float) -> float:
        """Return the height of the ground or of the obstacle that stands there, in m."""
        found = self.height_m(north, east)
        for n, e, top, radius in self._standing:
            if math.hypot(north - n, east - e) <= radius:
                found = max(found, top)
        return found

    def profile(self, a: Place, b: Place, step_m: float) -> list[tuple[float, float]]:
        """Return (distance, top) in m along the line from a to b, both ends included.

        Steps are at most `step_m`. ValueError if it is not above zero or would give more than 100 000 samples.
        """
        length = math.dist(a, b)
        if not step_m > 0.0 or not length / step_m < _MOST_SAMPLES:
            raise ValueError(f"steps of {step_m} m do not divide {length} m")
        steps = max(1, math.ceil(length / step_m))
        north, east = (b[0] - a[0]) / steps, (b[1] - a[1]) / steps
        return [(i * length / steps, self.top_m(a[0] + i * north, a[1] + i * east)) for i in range(steps + 1)]

    def crests(self, a: Place, a_m: float, b: Place, b_m: float, beside_m: float = 0.0) -> list[Crest]:
        """Return what stands highest against the straight line from a at height `a_m` to b at height `b_m`.

        One for each hill and crossing of a ridge that the line passes over, one for each obstacle within
        `beside_m` of it. Where the line slopes, the point on the flank that comes nearest to it from below counts.
        """
        north, east = b[0] - a[0], b[1] - a[1]
        length = math.sqrt(north * north + east * east)
        if length < 2.0:
            return []
        north /= length
        east /= length
        slope = (b_m - a_m) / length
        found: list[Crest] = []
        for n, e, height, square in self._hills:
            along = (n - a[0]) * north + (e - a[1]) * east
            beside = (n - a[0]) * east - (e - a[1]) * north
            nearest = min(max(along, 0.0), length) - along
            if beside * beside + nearest * nearest >= _HILL_ENDS * _HILL_ENDS * square:
                continue
            crest = height * math.exp(-beside * beside / square)
            most = 0.7 * math.sqrt(square)
            along -= min(max(slope * square / (2.0 * crest), -most), most)
            along = min(max(along, 1.0), length - 1.0)
            found.append((along, self.height_m(a[0] + along * north, a[1] + along * east), 0.0, 0.0))
        for ridge in self._ridges:
            found += [
                (along, self.height_m(a[0] + along * north, a[1] + along * east), 0.0, 0.0)
                for along in ridge.met(a, (north, east), length, slope)
            ]
        for n, e, top, radius in self._standing:
            along = (n - a[0]) * north + (e - a[1]) * east
            beside = abs((n - a[0]) * east - (e - a[1]) * north)
            if 0.0 < along < length and beside < radius + beside_m:
                found.append((min(max(along, 1.0), length - 1.0), top, beside, radius))
        return found

    def skyline(self, north: float, east: float, height_m: float) -> Callable[[float], float]:
        """Return a function of azimuth, in rad clockwise of north: the elevation in rad where the sky begins.

        Nothing lies below the level horizon. It is that of the middle of a cell of 4 m, 2 m high, and the last is
        kept: it costs something only on the way into another cell.
        """
        if not self:
            return level
        at = (
            _CELL_M * round(north / _CELL_M),
            _CELL_M * round(east / _CELL_M),
            _STOREY_M * round(height_m / _STOREY_M),
        )
        if at != self._kept_at:
            self._kept = Skyline(at, self._hills, [ridge.shape for ridge in self._ridges], self._standing)
            self._kept_at = at
        return self._kept


class _Line:
    """A ridge made ready for asking."""

    __slots__ = ("_box", "_height", "_parts", "_width", "shape")

    def __init__(self, ridge: Ridge) -> None:
        width = ridge.half_width_m
        norths, easts = [n for n, _ in ridge.points], [e for _, e in ridge.points]
        self._box = (min(norths) - width, max(norths) + width, min(easts) - width, max(easts) + width)
        self._height = ridge.height_m
        self._width = width
        self._parts = [
            (*a, b[0] - a[0], b[1] - a[1], (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2)
            for a, b in pairwise(ridge.points)
        ]
        self.shape = (ridge.points, ridge.height_m, width)

    def away2(self, north: float, east: float) -> float:
        """Return the square of the distance to the crest line."""
        least = math.inf
        for n, e, vn, ve, square in self._parts:
            pn, pe = north - n, east - e
            share = min(max((pn * vn + pe * ve) / square, 0.0), 1.0)
            pn -= share * vn
            pe -= share * ve
            least = min(least, pn * pn + pe * pe)
        return least

    def height_at(self, north: float, east: float) -> float:
        """Return the ridge's height at a place."""
        low_n, high_n, low_e, high_e = self._box
        if not (low_n < north < high_n and low_e < east < high_e):
            return 0.0
        share = 1.0 - self.away2(north, east) / (self._width * self._width)
        return self._height * share * share if share > 0.0 else 0.0

    def met(self, a: Place, along: Place, length: float, slope: float) -> list[float]:
        """Return how far from a the line meets the crest, or if it does not, comes nearest to it on the flank."""
        low_n, high_n, low_e, high_e = self._box
        un, ue = along
        end_n, end_e = a[0] + length * un, a[1] + length * ue
        if max(a[0], end_n) < low_n or min(a[0], end_n) > high_n:
            return []
        if max(a[1], end_e) < low_e or min(a[1], end_e) > high_e:
            return []
        found = []
        for n, e, vn, ve, square in self._parts:
            across = un * ve - ue * vn
            if across * across < _SIDE_BY_SIDE * square:
                continue
            pn, pe = n - a[0], e - a[1]
            at = (pn * ve - pe * vn) / across
            if 0.0 < at < length and 0.0 <= (pn * ue - pe * un) / across <= 1.0:
                flank = self._width * math.sqrt(square) / abs(across)
                at -= min(max(slope * flank * flank / (4.0 * self._height), -0.5 * flank), 0.5 * flank)
                found.append(min(max(at, 1.0), length - 1.0))
        if found:
            return found
        ends = [(n - a[0]) * un + (e - a[1]) * ue for n, e, *_ in self._parts]
        n, e, vn, ve, _ = self._parts[-1]
        ends += [(n + vn - a[0]) * un + (e + ve - a[1]) * ue, length]
        away, at = min(
            (self.away2(a[0] + at * un, a[1] + at * ue), at)
            for at in (min(max(x, 1.0), length - 1.0) for x in ends)
        )
        return [at] if away < self._width * self._width else []
