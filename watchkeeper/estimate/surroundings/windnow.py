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
_SPANNED: Final = 0.8
_SPEED: Final = INDEX["position.ground_speed"]
Row = tuple[float | None, float | None, float | None, float | None]


class WindNow:
    """`wind.now`, its doubt, `wind.gust_now` and `wind.airspeed`; a forecast is no measurement."""

    indexes = tuple(INDEX[name] for name in ("wind.now", "wind.now_doubt", "wind.gust_now", "wind.airspeed"))

    def __init__(self, wind: WindEstimate, readings: Readings) -> None:
        self._wind = wind
        self._readings = readings
        self._felt: deque[tuple[int, float]] = deque()
        self._peaks: deque[tuple[int, float]] = deque()
        self._seen: object = None
        self._speed_count = 0
        self.stream = Stream()

    def run(self, now_us: int) -> Row | None:
        """Return the answers for `indexes`; None without a new wind or speed."""
        felt = self._wind.felt()
        stream = self._readings.streams[_SPEED]
        count = stream.count if stream is not None else 0
        if felt is self._seen and count == self._speed_count:
            return None
        self._speed_count = count
        airspeed = self._wind.airspeed_m_s()
        airspeed_m_s = airspeed[0] if airspeed is not None else number(self._readings, _SPEED, now_us)
        if felt is not self._seen:
            self._seen = felt
            if felt is not None:
                self._felt.append((now_us, math.hypot(felt[0], felt[1])))
        while self._felt and now_us - self._felt[0][0] > MEAN_US:
            self._felt.popleft()
        if felt is None or not self._felt:
            return None, None, None, airspeed_m_s
        return self._mean(now_us), larger_axis(*felt[2:]), self._peak(now_us), airspeed_m_s

    def _mean(self, now_us: int) -> float | None:
        if now_us - self._felt[0][0] < _SPANNED * MEAN_US:
            return None
        return sum(speed for _, speed in self._felt) / len(self._felt)

    def _peak(self, now_us: int) -> float | None:
        """Return the highest mean over three seconds of the last minute."""
        late = [speed for at_us, speed in self._felt if now_us - at_us <= GUST_US]
        peaks = self._peaks
        if late and now_us - self._felt[0][0] >= _SPANNED * GUST_US:
            mean = sum(late) / len(late)
            while peaks and peaks[-1][1] <= mean:
                peaks.pop()
            peaks.append((now_us, mean))
        while peaks and now_us - peaks[0][0] > PEAK_US:
            peaks.popleft()
        return peaks[0][1] if peaks else None
