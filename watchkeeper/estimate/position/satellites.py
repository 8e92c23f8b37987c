"""Fall of the satellite count: how many of the most seen in the last seconds are gone."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.position.recent import Least

WINDOW_US: Final = 10_000_000
LONG_US: Final = 120_000_000
"""What disturbs reception comes as slowly as an aircraft nears it: 40 % have been lost over 65 s."""
_USED: Final = INDEX["satellites.used"]


class SatelliteDrop:
    """`satellites.drop`, `satellites.long_drop`: fall of the count within 10 and 120 s, % of the most then."""

    indexes = (INDEX["satellites.drop"], INDEX["satellites.long_drop"])

    def __init__(self, readings: Readings) -> None:
        self._readings = readings
        self._lately, self._long = Least(WINDOW_US), Least(LONG_US)
        self._seen = 0
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None, float | None] | None:
        """Return the falls in %, None inside when the count is unknown, None when no new sample came."""
        stream = self._readings.streams[_USED]
        if stream is None or stream.count == self._seen:
            return None
        self._seen = stream.count
        used = self._readings.values[_USED]
        if used is None:
            return None, None
        return _fall_pct(self._lately, now_us, used), _fall_pct(self._long, now_us, used)


def _fall_pct(window: Least, now_us: int, used: int) -> float:
    most = -window.take(now_us, -used)
    return 100 * (most - used) / most if most else 0.0
