"""Values over time, as a scenario gives them: piecewise linear numbers, or words that hold until the next."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Series:
    """Numbers at times (s), joined by straight lines; constant before the first and after the last."""

    times_s: tuple[float, ...]
    values: tuple[float, ...]

    def at(self, time_s: float) -> float:
        """Return the value at a time."""
        i = bisect_right(self.times_s, time_s)
        if i == 0:
            return self.values[0]
        if i == len(self.times_s):
            return self.values[-1]
        t0, t1 = self.times_s[i - 1], self.times_s[i]
        v0, v1 = self.values[i - 1], self.values[i]
        return v0 + (v1 - v0) * (time_s - t0) / (t1 - t0)

    def rate(self, time_s: float, over_s: float = 0.5) -> float:
        """Return the mean rate of change (per second) around a time."""
        return (self.at(time_s + over_s / 2) - self.at(time_s - over_s / 2)) / over_s


@dataclass(frozen=True, slots=True)
class Steps:
    """Words at times (s), each holding until the next; the first holds from the beginning."""

    times_s: tuple[float, ...]
    words: tuple[str, ...]

    def at(self, time_s: float) -> str:
        """Return the word that holds at a time."""
        return self.words[max(0, bisect_right(self.times_s, time_s) - 1)]


def series(points: Sequence[tuple[float, float]]) -> Series:
    """Return a series of (time, value) pairs. ValueError if times do not increase or none is given."""
    _check([time for time, _ in points])
    return Series(tuple(time for time, _ in points), tuple(value for _, value in points))


def steps(points: Sequence[tuple[float, str]]) -> Steps:
    """Return steps of (time, word) pairs. ValueError if times do not increase or none is given."""
    _check([time for time, _ in points])
    return Steps(tuple(time for time, _ in points), tuple(word for _, word in points))


def _check(times_s: Sequence[float]) -> None:
    if not times_s:
        raise ValueError("a series needs at least one point")
    if any(later <= earlier for earlier, later in zip(times_s, times_s[1:], strict=False)):
        raise ValueError("times must increase")
