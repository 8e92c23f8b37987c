"""Distance and bearing on the WGS 84 ellipsoid, for the ranges a multirotor flies."""

from __future__ import annotations

import math
from typing import Final

_A: Final = 6378137.0
"""Semi-major axis of WGS 84, m."""
_F: Final = 1 / 298.257223563
_E2: Final = _F * (2 - _F)


class Around:
    """The neighbourhood of one place: the radii of curvature there, worked out once.

    The meridian's and the parallel's metres a degree, with the parallel's shrinking towards the pole to the first
    order. Within 0.1 % up to 20 km, as far as 70 degrees of latitude.
    """

    __slots__ = ("_east_m", "_less_m", "_north_m", "latitude_deg", "longitude_deg")

    def __init__(self, latitude_deg: float, longitude_deg: float) -> None:
        self.latitude_deg = latitude_deg
        self.longitude_deg = longitude_deg
        phi = math.radians(latitude_deg)
        w2 = 1 - _E2 * math.sin(phi) ** 2
        normal_m = _A / math.sqrt(w2)
        self._north_m = math.radians(_A * (1 - _E2) / w2**1.5)
        self._east_m = math.radians(normal_m * math.cos(phi))
        # the radius at the mean latitude of the two places: half the derivative of (normal radius x cosine)
        self._less_m = math.radians(math.radians(_A * (1 - _E2) / w2**1.5 * math.sin(phi)) / 2)

    def to(self, latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
        """Return metres and degrees (0 to 360) from here to another place."""
        north_m, east_m = self.flat(latitude_deg, longitude_deg)
        return math.hypot(north_m, east_m), math.degrees(math.atan2(east_m, north_m)) % 360

    def flat(self, latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
        """Return another place as metres north and east of here."""
        up = latitude_deg - self.latitude_deg
        around = longitude_deg - self.longitude_deg
        if not -180 <= around <= 180:
            around = (around + 180) % 360 - 180
        north_m = up * self._north_m
        east_m = around * (self._east_m - up * self._less_m)
        return north_m, east_m


def is_place(latitude_deg: float, longitude_deg: float) -> bool:
    """Whether this is a place on Earth; 0, 0 is none: it is what autopilots send without a fix."""
    return (
        -90 <= latitude_deg <= 90
        and -180 <= longitude_deg <= 180
        and (latitude_deg != 0.0 or longitude_deg != 0.0)
    )


def distance_bearing(
    latitude_deg: float, longitude_deg: float, to_latitude_deg: float, to_longitude_deg: float
) -> tuple[float, float]:
    """Return metres and degrees (0 to 360) from the first place to the second."""
    return Around(latitude_deg, longitude_deg).to(to_latitude_deg, to_longitude_deg)
