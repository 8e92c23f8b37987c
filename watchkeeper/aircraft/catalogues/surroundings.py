"""Wind, daylight, airspace and ground."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import ReadingType as R

SURROUNDINGS: tuple[R, ...] = (
    R("wind.speed", "m/s", "speed of the mean wind", "WIND, WIND_COV, else estimate, else sortie file", 10, 60),
    R("wind.from", "deg", "where the wind comes from", "WIND, WIND_COV, else estimate, else sortie file", 10, 60),
    R("wind.doubt", "m/s", "standard deviation of the mean wind", "estimate", 10, 60, estimate=True),
    R("wind.gust", "m/s", "highest 3 s mean wind of the last 10 min", "estimate", 10, 60, estimate=True),
    R(
        "time.to_dusk",
        "s",
        "time until the end of civil twilight",
        "position and clock",
        120,
        600,
        rate=-1.0,
        estimate=True,
    ),
)
