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


class Moved(NamedTuple):
    """By how much of the gust the mean has moved, and how sure that is on either axis."""

    north: float
    east: float
    variance: float


class Steady:
    """Follows the gusts, in any unit; `unrest` is what the mean walks beyond the usual, variance a second."""

    def __init__(self) -> None:
        self._means = [(0.0, 0.0)] * len(WINDOWS_S)
        self.unrest = 0.0

    def moved(self, gust: tuple[float, float], gust_sd: float, gust_s: float, seconds: float) -> Moved | None:
        """Return what of the gust is the mean's; None while it is all a gust.

        `gust_sd` is the gusts' standard deviation along an axis, `gust_s` their time, `seconds` that of this look.
        What was found is shared by Bayes: a mean that has moved by so much, against a gust that stays on one side.
        """
        self.unrest *= math.exp(-seconds / UNREST_S)
        found: Moved | None = None
        for i, window_s in enumerate(WINDOWS_S):
            part = min(seconds / window_s, 1.0)
            n, e = self._means[i]
            n, e = n + part * (gust[0] - n), e + part * (gust[1] - e)
            self._means[i] = n, e
            usual = gust_sd * gust_sd * gust_s / (gust_s + window_s)
            size = n * n + e * e
            if found is None and size > RISEN * RISEN * usual:
                share = size / (size + usual)
                found = Moved(share * n, share * e, share * usual)
                self.unrest = max(self.unrest, size / window_s)
        if found is not None:
            self._means = [(n - found.north, e - found.east) for n, e in self._means]
        return found
