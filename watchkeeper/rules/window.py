"""The history that functions over time need, one object a function, rule and aircraft."""

from __future__ import annotations

from collections import deque

FILLED = 0.8
"""A window is blind until samples span this share of it ..."""
FEWEST = 3
"""... and it holds so many."""
MOST = 60
"""At most about so many samples in a window: what comes faster is thinned, for sums are over all of them."""
UNWATCHED_US = 2_000_000
"""A condition not judged for so long (the grid judges ten times a second) may have been interrupted unseen."""


class Window:
    """Samples of the last `span_us` microseconds."""

    __slots__ = ("_average", "_gap_us", "_key", "_slope", "samples", "span_us")

    def __init__(self, span_us: int) -> None:
        self.span_us = span_us
        self.samples: deque[tuple[int, float]] = deque()
        self._gap_us = max(span_us // MOST, 1)
        self._key = -1
        self._average: float | None = None
        self._slope: float | None = None

    def add(self, key: int, now_us: int, value: float) -> None:
        """Take a sample if `key` (the count of samples of its sources) has changed: a held value is one sample."""
        if key == self._key:
            return
        self._key = key
        if self.samples and now_us - self.samples[-1][0] < self._gap_us:
            return
        self.samples.append((now_us, value))
        self._average = self._slope = None

    def ready(self, now_us: int) -> bool:
        """Drop what is too old; say whether enough is left."""
        samples = self.samples
        oldest_us = now_us - self.span_us
        while samples and samples[0][0] < oldest_us:
            samples.popleft()
            self._average = self._slope = None
        return len(samples) >= FEWEST and samples[-1][0] - samples[0][0] >= FILLED * self.span_us

    def average(self) -> float:
        """Return the mean of the samples; not finite if they are too large to add."""
        if self._average is None:
            self._average = sum(value for _, value in self.samples) / len(self.samples)
        return self._average

    def slope(self) -> float:
        """Return the slope by least squares, per second; not finite if the samples are too large."""
        if self._slope is None:
            first_us = self.samples[0][0]
            times = [(time_us - first_us) / 1e6 for time_us, _ in self.samples]
            mean_t = sum(times) / len(times)
            mean_v = self.average()
            top = sum((t - mean_t) * (v - mean_v) for t, (_, v) in zip(times, self.samples, strict=True))
            self._slope = top / sum((t - mean_t) * (t - mean_t) for t in times)
        return self._slope


class Lasting:
    """Since when a condition has been met without interruption."""

    __slots__ = ("_seen_us", "_since_us", "span_us")

    def __init__(self, span_us: int) -> None:
        self.span_us = span_us
        self._since_us: int | None = None
        self._seen_us = 0

    def met(self, now_us: int) -> bool:
        """Note that the condition is met now; say whether it has been for the span."""
        if self._since_us is None or now_us - self._seen_us > UNWATCHED_US:
            self._since_us = now_us
        self._seen_us = now_us
        return now_us - self._since_us >= self.span_us

    def interrupted(self) -> None:
        """Note that it is not, or that nobody can tell."""
        self._since_us = None
