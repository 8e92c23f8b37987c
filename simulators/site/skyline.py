"""Where the sky begins: a table of elevations over azimuths, from one look at each hill, ridge and obstacle."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Final

DIRECTIONS: Final = 72
"""Every 5 degrees; straight between."""

Round = tuple[float, float, float, float]
"""North, east, top; the square of a hill's radius, or the radius of an obstacle."""
Shape = tuple[Sequence[tuple[float, float]], float, float]
"""A ridge's points, height, half width."""

_STEP_RAD: Final = math.tau / DIRECTIONS
_NEAREST_M: Final = 1.0
_HILL_SEEN: Final = 2.5
"""A hill is looked at within so many radii; it has a five-hundredth of its height there."""
# The highest seen point of a rounded top lies on its flank when one is near: places on it by radii from the top,
# and the share of the height that a hill and a ridge have there.
_HILL_FLANK: Final = tuple((back, math.exp(-back * back)) for back in (0.0, 0.35, 0.7, 1.05, 1.4))
_RIDGE_FLANK: Final = tuple((back, (1.0 - back * back) ** 2) for back in (0.0, 0.3, 0.6, 0.8))


def level(_azimuth_rad: float) -> float:
    """Return the elevation of a level horizon."""
    return 0.0


class Skyline:
    """Call it with an azimuth in rad; it gives an elevation in rad, 0 or above."""

    __slots__ = ("_at", "_table")

    def __init__(
        self,
        at: tuple[float, float, float],
        hills: Iterable[Round],
        ridges: Iterable[Shape],
        standing: Iterable[Round],
    ) -> None:
        self._at = at
        self._table = [0.0] * (DIRECTIONS + 1)  # slopes until all is seen
        height = at[2]
        for north, east, top, square in hills:
            if top > height:
                self._hill(north, east, top, math.sqrt(square))
        for points, top, width in ridges:
            if top > height:
                self._ridge(points, top, width)
        for north, east, top, radius in standing:
            if top > height:
                self._obstacle(north, east, top, radius)
        self._table = [math.atan(slope) for slope in self._table]
        self._table[DIRECTIONS] = self._table[0]

    def __call__(self, azimuth_rad: float) -> float:
        """Return the elevation in rad under which the sky begins."""
        place = azimuth_rad / _STEP_RAD % DIRECTIONS
        index = min(int(place), DIRECTIONS - 1)
        low = self._table[index]
        return low + (self._table[index + 1] - low) * (place - index)

    def _within(self, north: float, east: float, reach: float) -> tuple[float, list[tuple[int, float]]]:
        """Return the distance of a place, and each direction that passes within reach with its angle off it."""
        north -= self._at[0]
        east -= self._at[1]
        distance = math.sqrt(north * north + east * east)
        if distance <= reach:
            first, last, azimuth = 0, DIRECTIONS - 1, math.atan2(east, north)
        else:
            azimuth = math.atan2(east, north)
            half = math.asin(reach / distance)
            first = math.ceil((azimuth - half) / _STEP_RAD)
            last = math.floor((azimuth + half) / _STEP_RAD)
            if first > last and half > _STEP_RAD / 4.0:  # between two directions; a thin mast may go unseen
                first = last = round(azimuth / _STEP_RAD)
        return distance, [(i % DIRECTIONS, i * _STEP_RAD - azimuth) for i in range(first, last + 1)]

    def _raise(self, index: int, rise: float, distance: float) -> None:
        slope = rise / max(distance, _NEAREST_M)
        self._table[index] = max(self._table[index], slope)

    def _hill(self, north: float, east: float, top: float, radius: float) -> None:
        height = self._at[2]
        distance, seen = self._within(north, east, _HILL_SEEN * radius)
        for index, off in seen:
            beside = distance * math.sin(off) / radius
            crest = top * math.exp(-beside * beside)
            along = distance * math.cos(off)
            for back, share in _HILL_FLANK:
                if along > back * radius:
                    self._raise(index, crest * share - height, along - back * radius)

    def _obstacle(self, north: float, east: float, top: float, radius: float) -> None:
        distance, seen = self._within(north, east, radius)
        for index, off in seen:
            half_chord = math.sqrt(max(0.0, radius * radius - (distance * math.sin(off)) ** 2))
            self._raise(index, top - self._at[2], distance * math.cos(off) - half_chord)

    def _ridge(self, points: Sequence[tuple[float, float]], top: float, width: float) -> None:
        height = self._at[2]
        for north, east in (points[0], points[-1]):
            distance, seen = self._within(north, east, width)
            for index, off in seen:
                share = 1.0 - (distance * math.sin(off) / width) ** 2
                along = distance * math.cos(off)
                if along > 0.0 and share > 0.0:
                    self._raise(index, top * share * share - height, along)
        for a, b in pairwise(points):
            self._crest(a, b, top, width)

    def _crest(self, a: tuple[float, float], b: tuple[float, float], top: float, width: float) -> None:
        """Look at one straight part of a ridge in every direction that crosses it."""
        an, ae = a[0] - self._at[0], a[1] - self._at[1]
        vn, ve = b[0] - a[0], b[1] - a[1]
        moment, length = an * ve - ae * vn, math.hypot(vn, ve)
        start = math.atan2(ae, an)
        span = math.remainder(math.atan2(b[1] - self._at[1], b[0] - self._at[0]) - start, math.tau)
        low, high = (start, start + span) if span > 0.0 else (start + span, start)
        for i in range(math.ceil(low / _STEP_RAD), math.floor(high / _STEP_RAD) + 1):
            across = math.cos(i * _STEP_RAD) * ve - math.sin(i * _STEP_RAD) * vn
            if abs(across) < 1e-6 * length:
                continue
            along, flank = moment / across, width * length / abs(across)
            for back, share in _RIDGE_FLANK:
                if along > back * flank:
                    self._raise(i % DIRECTIONS, top * share - self._at[2], along - back * flank)
