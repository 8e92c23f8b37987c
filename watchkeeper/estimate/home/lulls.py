"""Whether a gust decides what is left at home: what the weakest wind of late leaves, and what is mostly left."""

from __future__ import annotations

import math
from collections import deque
from typing import Final

from watchkeeper.aircraft.readings import US
from watchkeeper.estimate.home.homeway import HomeWind

GUST_US: Final = 30 * US
"""Gusts 200 m long (MIL-F-8785C at 50 m) are over by then; what lasts longer is a mean wind."""
MOSTLY: Final = 0.75
"""Of that time."""
_MOST_LOOKS: Final = 64


class Lulls:
    """Head winds and forecasts of the last `GUST_US`."""

    def __init__(self) -> None:
        self._winds: deque[tuple[int, HomeWind]] = deque(maxlen=_MOST_LOOKS)
        self._left: deque[tuple[int, float]] = deque(maxlen=_MOST_LOOKS)

    def weakest(self, wind: HomeWind, now_us: int) -> HomeWind:
        """Return the wind of late with the least head wind; `wind` is the present one."""
        winds = self._winds
        while winds and winds[-1][1].head_m_s >= wind.head_m_s:
            winds.pop()
        winds.append((now_us, wind))
        while now_us - winds[0][0] > GUST_US:
            winds.popleft()
        return winds[0][1]

    def mostly(self, left_pct: float, now_us: int) -> float:
        """Return under what the charge left was for most of that time; `left_pct` is the present one, %."""
        self._left.append((now_us, left_pct))
        while now_us - self._left[0][0] > GUST_US:
            self._left.popleft()
        ordered = sorted(pct for _, pct in self._left)
        return ordered[math.ceil(MOSTLY * len(ordered)) - 1]
