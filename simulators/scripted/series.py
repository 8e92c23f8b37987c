"""Values over time, as a scenario gives them: piecewise linear numbers, or words that hold until the next."""

from __future__ import annotations

import itertools
import math
import random
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Series:
    """Numbers at times (s), joined by straight lines; constant before the first and after the last."""

    times_s: tuple[float, ...]
    values: tuple[float, ...]
    areas: tuple[float, ...]
    """Integral from the first time up to each."""

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

    def _area(self, time_s: float) -> float:
        """Return the integral from the first time up to `time_s`, negative before it."""
        i = max(0, bisect_right(self.times_s, time_s) - 1)
        return self.areas[i] + (self.values[i] + self.at(time_s)) / 2 * (time_s - self.times_s[i])

    def mean(self, time_s: float, over_s: float) -> float:
        """Return the mean of the values around a time: the series with its corners rounded off."""
        return (self._area(time_s + over_s / 2) - self._area(time_s - over_s / 2)) / over_s

    def rate(self, time_s: float, over_s: float) -> float:
        """Return the derivative (per second) of `mean` over the same span, exactly."""
        return (self.at(time_s + over_s / 2) - self.at(time_s - over_s / 2)) / over_s

    def bend(self, time_s: float, over_s: float) -> float:
        """Return the second derivative (per second squared) of `mean` over the same span."""
        return (self._slope(time_s + over_s / 2) - self._slope(time_s - over_s / 2)) / over_s

    def _slope(self, time_s: float) -> float:
        i = bisect_right(self.times_s, time_s)
        if i in {0, len(self.times_s)}:
            return 0.0
        return (self.values[i] - self.values[i - 1]) / (self.times_s[i] - self.times_s[i - 1])


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
    times_s, values = tuple(time for time, _ in points), tuple(value for _, value in points)
    _check(times_s)
    pieces = (
        (t1 - t0) * (v0 + v1) / 2
        for (t0, t1), (v0, v1) in zip(itertools.pairwise(times_s), itertools.pairwise(values), strict=True)
    )
    return Series(times_s, values, tuple(itertools.accumulate(pieces, initial=0.0)))


def steps(points: Sequence[tuple[float, str]]) -> Steps:
    """Return steps of (time, word) pairs. ValueError if times do not increase or none is given."""
    times_s = tuple(time for time, _ in points)
    _check(times_s)
    return Steps(times_s, tuple(word for _, word in points))


def _check(times_s: Sequence[float]) -> None:
    if not times_s:
        raise ValueError("a series needs at least one point")
    if any(later <= earlier for earlier, later in itertools.pairwise(times_s)):
        raise ValueError("times must increase")


class Wobble:
    """A smooth, seeded unrest around zero, never beyond 1: three sines whose periods share no common one."""

    _PERIODS_S = (5.3, 11.9, 23.7)

    def __init__(self, seed: str) -> None:
        """Take a seed; the same seed gives the same unrest."""
        source = random.Random(seed)
        self._phases = [source.uniform(0, math.tau) for _ in self._PERIODS_S]

    def at(self, time_s: float) -> float:
        """Return the value at a time, -1 to 1."""
        waves = (
            math.sin(math.tau * time_s / period_s + phase)
            for period_s, phase in zip(self._PERIODS_S, self._phases, strict=True)
        )
        return sum(waves) / len(self._PERIODS_S)
