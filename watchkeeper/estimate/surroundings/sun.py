"""When the sun stands at a given altitude.

The low-precision position of the Astronomical Almanac (page C5; 0.01 degrees from 1950 to 2050), and the hour
angle by spherical trigonometry, solved again at the time found.
"""

from __future__ import annotations

import math
from typing import Final

CIVIL_DEG: Final = -6.0
RISE_DEG: Final = -50 / 60  # refraction 34', half the sun's disc 16'
DAY_S: Final = 86_400.0
_J2000_S: Final = 946_728_000.0  # 2000-01-01 12:00 UTC, seconds since 1970


def position(unix_s: float) -> tuple[float, float]:
    """Return the sun's declination (radian) and the equation of time (s, apparent less mean solar time)."""
    days = (unix_s - _J2000_S) / DAY_S
    mean_deg = 280.460 + 0.9856474 * days
    anomaly = math.radians(357.528 + 0.9856003 * days)
    ecliptic = math.radians(mean_deg + 1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly))
    tilt = math.radians(23.439 - 0.0000004 * days)
    ascension = math.atan2(math.cos(tilt) * math.sin(ecliptic), math.cos(ecliptic))
    declination = math.asin(math.sin(tilt) * math.sin(ecliptic))
    apart_deg = (mean_deg - math.degrees(ascension) + 180) % 360 - 180
    return declination, apart_deg * 240


def crossing(
    unix_s: float, latitude_deg: float, longitude_deg: float, altitude_deg: float, side: int
) -> float | None:
    """Return the unix time at which the sun crosses `altitude_deg` on the local solar day that holds `unix_s`.

    `side` -1 is the morning's crossing, 1 the evening's. None when it does not cross on that day (polar).
    """
    local_s = unix_s + longitude_deg * 240
    noon_s = math.floor(local_s / DAY_S) * DAY_S + DAY_S / 2 - longitude_deg * 240
    latitude, altitude = math.radians(latitude_deg), math.radians(altitude_deg)
    found_s = noon_s
    for _ in range(6):
        declination, equation_s = position(found_s)
        cosine = (math.sin(altitude) - math.sin(latitude) * math.sin(declination)) / (
            math.cos(latitude) * math.cos(declination)
        )
        if not -1 <= cosine <= 1:
            return None
        found_s = noon_s - equation_s + side * math.degrees(math.acos(cosine)) * 240
    return found_s
