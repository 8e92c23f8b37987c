"""When a gust is none: the mean wind has risen or turned.

A filter that has both a mean and gusts gives a wind that changes within a minute or two to the gusts, and keeps
the mean of before. But gusts change sides: the mean over time S of a Gauss-Markov process of time T has the
standard deviation of the process times (T / (T + S))^0.5. What keeps to one side by more than that is the mean's.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

WINDOWS_S: Final = (3.0, 6.0, 12.0, 30.0)
"""Over which gusts are averaged: a squall comes within seconds, a front within a minute (common practice)."""
RISEN: Final = 2.5
"""Deviations by which a gust that lasts is none."""
UNREST_S: Final = 30.0
"""A mean that has moved goes on moving for about this long, each time by what it moved within the window."""


HOLE_S: Final = 5.0
"""After as long without a look nothing goes on to one side."""
_NONE: Final = (0.0, 0.0)


class Moved(NamedTuple):
    """By how much of the gust the mean has moved, and how sure that is on either axis."""

    north: float
    east: float
    variance: float


class Steady:
    """Follows the gusts, in any unit."""

    def __init__(self) -> None:
        self._means = [_NONE] * len(WINDOWS_S)
        self._all = _NONE
        self.unrest = 0.0
        """By how much the mean walks beyond the usual, variance a second."""

    def pass_time(self, seconds: float) -> float:
        """Let time pass; returns the variance that the mean walks in it, beyond the usual."""
        if seconds > HOLE_S:
            self._means, self._all = [_NONE] * len(WINDOWS_S), _NONE
        keep = math.exp(-seconds / UNREST_S)
        walked = self.unrest * UNREST_S * (1.0 - keep)
        self.unrest *= keep
        return walked

    def moved(
        self, gust: tuple[float, float], gust_sd: float, gust_s: float, seconds: float, *, quiet: bool = True
    ) -> Moved | None:
        """Return what of the gust is the mean's; None while it is all a gust.

        `gust_sd` is the gusts' standard deviation along an axis, `gust_s` their time, `seconds` that of this look.
        What was found is shared by Bayes: a mean that has moved by so much, against a gust that stays on one side.
        Where it does not fly quietly nothing moves, and a gust that lasts makes the mean unsure only.
        """
        self._all = _follow(self._all, gust, seconds, WINDOWS_S[-1])
        found = self._found(gust, gust_sd, gust_s, seconds) if quiet else None
        if found is not None:
            self._means = [(n - found.north, e - found.east) for n, e in self._means]
            self._all = self._all[0] - found.north, self._all[1] - found.east
            return found
        n, e = self._all
        size = n * n + e * e
        if size <= RISEN * RISEN * _usual(gust_sd, gust_s, WINDOWS_S[-1]):
            return None
        self._all = _NONE
        return Moved(0.0, 0.0, 0.5 * size)

    def _found(self, gust: tuple[float, float], gust_sd: float, gust_s: float, seconds: float) -> Moved | None:
        found: Moved | None = None
        for i, window_s in enumerate(WINDOWS_S):
            n, e = self._means[i] = _follow(self._means[i], gust, seconds, window_s)
            usual, size = _usual(gust_sd, gust_s, window_s), n * n + e * e
            if found is None and size > RISEN * RISEN * usual:
                share = size / (size + usual)
                found = Moved(share * n, share * e, share * usual)
                self.unrest = max(self.unrest, size / window_s)
        return found


def _follow(
    mean: tuple[float, float], gust: tuple[float, float], seconds: float, window_s: float
) -> tuple[float, float]:
    part = min(seconds / window_s, 1.0)
    return mean[0] + part * (gust[0] - mean[0]), mean[1] + part * (gust[1] - mean[1])


def _usual(gust_sd: float, gust_s: float, window_s: float) -> float:
    """Return the variance of a mean of gusts over a window."""
    return gust_sd * gust_sd * gust_s / (gust_s + window_s)
