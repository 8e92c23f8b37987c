"""How strong the gusts are, learned in flight as a share of the mean wind.

By second differences over equal times: those of a wind that rises or turns evenly are zero, and so is what a tilt
error adds; with gusts of a Gauss-Markov process of time T, standard deviation s and r = exp(-t / T), the mean of
(w(0) - 2 w(t) + w(2 t))^2 is s^2 (6 - 8 r + 2 r^2).
"""

from __future__ import annotations

import math
from collections import deque
from typing import Final

APART_S: Final = 10.0
_NEAR_S: Final = 1.5
"""A look from so near to where one is wanted serves."""
FIRST_S: Final = 30.0
LONGEST_S: Final = 300.0
"""For how long a flight what was thought at first counts, and how long it remembers."""
YOUNG: Final = 0.5
"""By how much gusts are taken for stronger at first: a minute does not show them all."""
_MOST: Final = 0.1
_MOST_LOOKS: Final = 64
SEEN: Final = 0.9
"""Of the gusts' strength that the wind as a filter tells it has, for it smooths; with gusts drawn for it, what is
learned is then 0.78 to 0.98 of their strength."""


class Gustiness:
    """`share` is the standard deviation of the gusts along a horizontal axis over the mean wind."""

    def __init__(self, share: float) -> None:
        """Take what is thought at first."""
        self.share = share
        self._weight_s = FIRST_S
        self._clock_s = 0.0
        self._late: deque[tuple[float, float, float]] = deque(maxlen=_MOST_LOOKS)

    @property
    def cautious(self) -> float:
        """The share, with some more while little was seen."""
        return self.share * (1 + YOUNG * FIRST_S / self._weight_s)

    def pass_time(self, seconds: float) -> None:
        """Let time pass without looking."""
        self._clock_s += seconds

    def look(self, north: float, east: float, mean: float, gust_s: float, seconds: float) -> None:
        """Learn from the wind where it is now, as a filter tells it.

        `mean` is the size of the mean in the same unit, `gust_s` the gusts' time.
        """
        late, now_s = self._late, self._clock_s
        late.append((now_s, north, east))
        while now_s - late[0][0] > 2 * APART_S + _NEAR_S:
            late.popleft()
        first, middle = self._ago(2 * APART_S), self._ago(APART_S)
        if first is None or middle is None:
            return
        off_n, off_e = north - 2 * middle[1] + first[1], east - 2 * middle[2] + first[2]
        keep = math.exp(-APART_S / gust_s)
        found = 0.5 * (off_n * off_n + off_e * off_e) / (6 - 8 * keep + 2 * keep * keep) / (SEEN * mean) ** 2
        self._weight_s = min(self._weight_s + seconds, LONGEST_S)
        square = self.share * self.share
        self.share = math.sqrt(square + (found - square) * min(seconds / self._weight_s, _MOST))

    def _ago(self, seconds: float) -> tuple[float, float, float] | None:
        """Return the look from so long ago, or None."""
        wanted_s = self._clock_s - seconds
        best = min(self._late, key=lambda look: abs(look[0] - wanted_s))
        return best if abs(best[0] - wanted_s) < _NEAR_S else None
