"""Places on the ground: metres north and east of a point, by the WGS-84 ellipsoid's radii of curvature there."""

from __future__ import annotations

import math
from typing import Final

_A_M: Final = 6378137.0
_E2: Final = (2.0 - 1 / 298.257223563) / 298.257223563


class Field:
    """A tangent plane at a point in degrees; good to a few cm over ten kilometres away from the poles."""

    __slots__ = ("_east_m", "_north_m", "latitude_deg", "longitude_deg")

    def __init__(self, latitude_deg: float, longitude_deg: float) -> None:
        self.latitude_deg = latitude_deg
        self.longitude_deg = longitude_deg
        sine = math.sin(math.radians(latitude_deg))
        bend = 1.0 - _E2 * sine * sine
        self._north_m = math.radians(_A_M * (1 - _E2) / bend**1.5)
        self._east_m = math.radians(_A_M / math.sqrt(bend) * math.cos(math.radians(latitude_deg)))

    def degrees(self, north_m: float, east_m: float) -> tuple[float, float]:
        """Return latitude and longitude of a place in degrees."""
        return self.latitude_deg + north_m / self._north_m, self.longitude_deg + east_m / self._east_m

    def metres(self, latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
        """Return how far north and east a position lies, in m."""
        return (
            (latitude_deg - self.latitude_deg) * self._north_m,
            math.remainder(longitude_deg - self.longitude_deg, 360.0) * self._east_m,
        )
