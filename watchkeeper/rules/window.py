"""The history that functions over time need, one object a function, rule and aircraft."""

from __future__ import annotations

from collections import deque

FILLED = 0.8
"""A window is blind until samples span this share of it ..."""
FEWEST = 3
"""... and it holds so many."""
FINEST = 2000
"""At most so many samples in a window: what comes faster is thinned."""


class Window:
    """Samples of the last `span_us` microseconds."""

    __slots__ = ("_gap_us", "_key", "samples", "span_us")

    def __init__(self, span_us: int) -> None:
        self.span_us = span_us
        self.samples: deque[tuple[int, float]] = deque()
        self._gap_us = span_us // FINEST
        self._key = -1

    def add(self, key: int, now_us: int, value: float) -> None:
        """Take a sample if `key` (the count of samples of its sources) has changed: a held value is one sample."""
        if key == self._key:
            return
        if self.samples and now_us - self.samples[-1][0] < self._gap_us:
            return
        self._key = key
        self.samples.append((now_us, value))

    def ready(self, now_us: int) -> bool:
        """Drop what is too old; say whether enough is left."""
        samples = self.samples
        oldest_us = now_us - self.span_us
        while samples and samples[0][0] < oldest_us:
            samples.popleft()
        return len(samples) >= FEWEST and samples[-1][0] - samples[0][0] >= FILLED * self.span_us

    def average(self) -> float:
        """Return the mean of the samples."""
        return sum(value for _, value in self.samples) / len(self.samples)

    def slope(self) -> float:
        """Return the slope by least squares, per second."""
        first_us = self.samples[0][0]
        times = [(time_us - first_us) / 1e6 for time_us, _ in self.samples]
        mean_t = sum(times) / len(times)
        mean_v = self.average()
        top = sum((t - mean_t) * (v - mean_v) for t, (_, v) in zip(times, self.samples, strict=True))
        return top / sum((t - mean_t) ** 2 for t in times)


class Lasting:
    """Since when a condition has been met without interruption."""

    __slots__ = ("since_us", "span_us")

    def __init__(self, span_us: int) -> None:
        self.span_us = span_us
        self.since_us: int | None = None
