"""Fall of the satellite count: how many of the most seen in the last seconds are gone."""

from __future__ import annotations

from collections import deque
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream

WINDOW_US: Final = 10_000_000
_USED: Final = INDEX["satellites.used"]


class SatelliteDrop:
    """`satellites.drop`: fall of the count within 10 s, % of the most in that time."""

    indexes = (INDEX["satellites.drop"],)

    def __init__(self, readings: Readings) -> None:
        self._readings = readings
        self._counts: deque[tuple[int, int]] = deque(maxlen=64)
        self._seen = 0
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None] | None:
        """Return the fall in %, None inside when the count is unknown, None when no new sample came."""
        stream = self._readings.streams[_USED]
        if stream is None or stream.count == self._seen:
            return None
        self._seen = stream.count
        used = self._readings.values[_USED]
        if used is None:
            return (None,)
        self._counts.append((now_us, used))
        while self._counts[0][0] < now_us - WINDOW_US:
            self._counts.popleft()
        most = max(count for _, count in self._counts)
        return (100 * (most - used) / most if most else 0.0,)
