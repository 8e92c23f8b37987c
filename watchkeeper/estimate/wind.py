"""Wind where the aircraft sends none: what the sortie file says. Messages, while they come, go before it."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.aircraft.readings import BLIND, Readings, Stream

_SPEED: Final = INDEX["wind.speed"]


class WindFallback:
    """`wind.speed` and `wind.from` out of the sortie file's weather."""

    indexes = (_SPEED, INDEX["wind.from"])

    def __init__(self, readings: Readings, sortie: SortieFile | None) -> None:
        self._readings = readings
        self._wind = sortie.weather.wind if sortie is not None else None
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float, float] | None:
        """Return speed in m/s and direction in degrees, or None to leave what a message brought."""
        if self._wind is None:
            return None
        own = self._readings.streams[_SPEED] is self.stream
        if not own and self._readings.read(_SPEED, now_us) is not BLIND:
            return None
        return self._wind.speed_m_s, self._wind.from_deg
