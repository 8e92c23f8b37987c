"""The least of the last seconds, in a bounded queue."""

from __future__ import annotations

from collections import deque


class Least:
    """The least value of a window of time."""

    __slots__ = ("_rising", "_window_us")

    def __init__(self, window_us: int) -> None:
        self._window_us = window_us
        self._rising: deque[tuple[int, float]] = deque()

    def take(self, now_us: int, value: float) -> float:
        """Take a value; return the least of the window, this one included. Times never run back."""
        rising = self._rising
        while rising and rising[-1][1] >= value:
            rising.pop()
        rising.append((now_us, value))
        while now_us - rising[0][0] > self._window_us:
            rising.popleft()
        return rising[0][1]
