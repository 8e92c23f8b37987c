"""Distance and bearing over the WGS 84 ellipsoid, for the ranges a multirotor flies."""

from __future__ import annotations

import math
from typing import Final

_A: Final = 6378137.0
"""Semi-major axis of WGS 84, m."""
_F: Final = 1 / 298.257223563
_E2: Final = _F * (2 - _F)


def distance_bearing(
    latitude_deg: float, longitude_deg: float, to_latitude_deg: float, to_longitude_deg: float
) -> tuple[float, float]:
    """Return metres and degrees (0 to 360) from the first place to the second.

    By the radii of curvature at the mean latitude: within 0.1 % up to 20 km away from the poles.
    """
    mean = math.radians((latitude_deg + to_latitude_deg) / 2)
    w2 = 1 - _E2 * math.sin(mean) ** 2
    meridian_m = _A * (1 - _E2) / w2**1.5
    normal_m = _A / math.sqrt(w2)
    around = (to_longitude_deg - longitude_deg + 180) % 360 - 180
    north_m = math.radians(to_latitude_deg - latitude_deg) * meridian_m
    east_m = math.radians(around) * normal_m * math.cos(mean)
    return math.hypot(north_m, east_m), math.degrees(math.atan2(east_m, north_m)) % 360
