"""A quantity over time in bounded memory: the least and the greatest of equal stretches survive any thinning.

So the deepest sag of an hour is in its plot, however few points that has. A stretch begins as one second; when
there are too many, two become one.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.debrief.findings import Fix, Point

MOST: Final = 700
"""Stretches; a plot has at most two points a stretch."""
MOST_PLACES: Final = 1400
_Stretch = tuple[float, float, float, float]
"""(time of the least, the least, time of the greatest, the greatest)"""


class Trace:
    """One quantity."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._stretches: list[_Stretch | None] = []
        self._begins_s = 0.0
        self._width_s = 1.0

    def put(self, at_s: float, value: float | None) -> None:
        """Take a value at a time that does not run back; None is unknown."""
        if not self._stretches:
            self._begins_s = at_s
        at = int((at_s - self._begins_s) // self._width_s)
        while at >= self._most:
            self._halve()
            at = int((at_s - self._begins_s) // self._width_s)
        while len(self._stretches) <= at:
            self._stretches.append(None)
        if value is None:
            return
        one = self._stretches[at]
        if one is None:
            self._stretches[at] = (at_s, value, at_s, value)
        elif value < one[1]:
            self._stretches[at] = (at_s, value, one[2], one[3])
        elif value > one[3]:
            self._stretches[at] = (one[0], one[1], at_s, value)

    def _halve(self) -> None:
        old = self._stretches
        joined: list[_Stretch | None] = []
        for k in range(0, len(old), 2):
            a, b = old[k], old[k + 1] if k + 1 < len(old) else None
            joined.append(_joined(a, b) if a is not None and b is not None else a if b is None else b)
        self._stretches = joined
        self._width_s *= 2

    @property
    def known(self) -> bool:
        """Whether there was any value."""
        return any(one is not None for one in self._stretches)

    def points(self) -> tuple[Point, ...]:
        """Return what is to be drawn, oldest first, with one gap where nothing was known."""
        found: list[Point] = []
        for k, one in enumerate(self._stretches):
            if one is None:
                if found and found[-1][1] is not None:
                    found.append((self._begins_s + k * self._width_s, None))
                continue
            first, second = (one[0], one[1]), (one[2], one[3])
            if first[0] > second[0]:
                first, second = second, first
            found.append(first)
            if second != first:
                found.append(second)
        while found and found[-1][1] is None:
            found.pop()
        return tuple(found)


def _joined(a: _Stretch, b: _Stretch) -> _Stretch:
    low, high = (a if a[1] <= b[1] else b), (a if a[3] >= b[3] else b)
    return low[0], low[1], high[2], high[3]


class Track:
    """Places over time in bounded memory: when there are too many, every second one goes. Degrees, m."""

    def __init__(self, most: int = MOST_PLACES) -> None:
        self._most = most
        self._every_s = 0.9
        self._places: list[tuple[float, float, float, float | None]] = []

    def put(self, at_s: float, place: tuple[float, float], height_m: float | None) -> None:
        """Take where it is."""
        if self._places and at_s - self._places[-1][0] < self._every_s:
            return
        if len(self._places) >= self._most:
            self._places = self._places[::2]
            self._every_s *= 2
        self._places.append((at_s, *place, height_m))

    def end(self, at_s: float, place: tuple[float, float], height_m: float | None) -> None:
        """Take the last place, whatever came before."""
        self._places.append((at_s, *place, height_m))

    @property
    def places(self) -> list[tuple[float, float, float, float | None]]:
        """Each as (at_s, latitude, longitude, height)."""
        return self._places


def at(track: tuple[Fix, ...], at_s: float, within_s: float) -> Fix | None:
    """Return the place of a track nearest in time; None if none is near enough."""
    best = min(track, key=lambda fix: abs(fix.at_s - at_s), default=None)
    return best if best is not None and abs(best.at_s - at_s) <= within_s else None
