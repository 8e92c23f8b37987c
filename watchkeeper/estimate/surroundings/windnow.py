"""Wind as it is felt now, against what the aircraft bears; and the airspeed it has in it.

`wind.speed` is a mean that knows a squall late; a limit is judged by ten seconds of the wind at the aircraft, and
by the peaks that are common for gusts (three seconds; WMO Guide to Instruments, vol. I ch. 5: from memory).
"""

from __future__ import annotations

import math
from collections import deque
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import US, Readings, Stream
from watchkeeper.estimate.air.airwind import larger_axis
from watchkeeper.estimate.air.wind import WindEstimate
from watchkeeper.estimate.packs.pack import number

MEAN_US: Final = 10 * US
GUST_US: Final = 3 * US
PEAK_US: Final = 60 * US
_GAP_US: Final = 10 * US
"""Not felt for longer, it is felt anew."""
_FEWEST: Final = 3
_SPEED: Final = INDEX["position.ground_speed"]


class WindNow:
    """`wind.now`, its doubt and `wind.gust_now`; a forecast is no measurement."""

    indexes = tuple(INDEX[name] for name in ("wind.now", "wind.now_doubt", "wind.gust_now"))

    def __init__(self, wind: WindEstimate) -> None:
        self._wind = wind
        self._felt: deque[tuple[int, float]] = deque()
        self._peaks: deque[tuple[int, float]] = deque()
        self._since_us: int | None = None
        self._seen: object = None
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None, float | None, float | None] | None:
        """Return the answers for `indexes`; None without a new look at the wind."""
        felt = self._wind.felt()
        if felt is None or felt is self._seen:
            if self._since_us is None or 0 <= now_us - self._felt[-1][0] <= _GAP_US:
                return None
            self._since_us = None
            self._felt.clear()
            self._peaks.clear()
            return None, None, None
        self._seen = felt
        if self._since_us is None:
            self._since_us = now_us
        late = self._felt
        late.append((now_us, math.hypot(felt[0], felt[1])))
        while now_us - late[0][0] > MEAN_US:
            late.popleft()
        felt_us = now_us - self._since_us
        mean = None
        if felt_us >= MEAN_US and len(late) >= _FEWEST:
            mean = sum(speed for _, speed in late) / len(late)
        return mean, larger_axis(*felt[2:]), self._peak(now_us) if felt_us >= GUST_US else None

    def _peak(self, now_us: int) -> float:
        """Return the highest mean over three seconds of the last minute."""
        late = [speed for at_us, speed in self._felt if now_us - at_us <= GUST_US]
        mean, peaks = sum(late) / len(late), self._peaks
        while peaks and peaks[-1][1] <= mean:
            peaks.pop()
        peaks.append((now_us, mean))
        while now_us - peaks[0][0] > PEAK_US:
            peaks.popleft()
        return peaks[0][1]


class Airspeed:
    """`wind.airspeed`, of wind and motion; speed over ground where no wind is known."""

    indexes = (INDEX["wind.airspeed"],)

    def __init__(self, wind: WindEstimate, readings: Readings) -> None:
        self._wind = wind
        self._readings = readings
        self._count = 0
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None] | None:
        """Return the airspeed in m/s; None without a new speed."""
        stream = self._readings.streams[_SPEED]
        if stream is None or stream.count == self._count:
            return None
        self._count = stream.count
        air = self._wind.airspeed_m_s()
        return (air[0] if air is not None else number(self._readings, _SPEED, now_us),)
