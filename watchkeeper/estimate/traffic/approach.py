"""How two that fly straight on come closest, and how sure that is.

Relative place p and velocity v: the distance is least at t = -(p.v) / (v.v), or now if that lies behind (closest
point of approach, as in any text on collision avoidance; worked by hand and against a numerical minimum in the
tests).
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

_A: Final = 6378137.0
"""Semi-major axis of WGS 84, m."""
_E2: Final = (1 / 298.257223563) * (2 - 1 / 298.257223563)
_STILL_M2_S2: Final = 1e-4
TURN_M_S2: Final = 3.0
"""What one that turns leaves its straight way by: standard rate (3 degrees a second) at 55 m/s."""


class Relative(NamedTuple):
    """Where another is from here and how it moves: m and m/s towards north and east of here."""

    north_m: float
    east_m: float
    north_m_s: float
    east_m_s: float


class Plane:
    """The plane that touches the ellipsoid at one place. Good at the date line and at the poles."""

    __slots__ = ("_axes", "_origin")

    def __init__(self, latitude_deg: float, longitude_deg: float) -> None:
        self._origin, self._axes = _frame(latitude_deg, longitude_deg)

    def see(self, latitude_deg: float, longitude_deg: float, north_m_s: float, east_m_s: float) -> Relative:
        """Return another place, and a velocity along its own north and east, as seen from here."""
        place, (north, east) = _frame(latitude_deg, longitude_deg)
        away = tuple(there - here for there, here in zip(place, self._origin, strict=True))
        moves = tuple(n * north_m_s + e * east_m_s for n, e in zip(north, east, strict=True))
        mine_north, mine_east = self._axes
        return Relative(
            _along(away, mine_north), _along(away, mine_east), _along(moves, mine_north), _along(moves, mine_east)
        )


def _along(vector: tuple[float, ...], axis: tuple[float, ...]) -> float:
    return vector[0] * axis[0] + vector[1] * axis[1] + vector[2] * axis[2]


def _frame(
    latitude_deg: float, longitude_deg: float
) -> tuple[tuple[float, float, float], tuple[tuple[float, float, float], tuple[float, float, float]]]:
    """Return a place on the ellipsoid in earth-fixed axes, m, and the directions of north and east there."""
    phi, lam = math.radians(latitude_deg), math.radians(longitude_deg)
    sin_phi, cos_phi, sin_lam, cos_lam = math.sin(phi), math.cos(phi), math.sin(lam), math.cos(lam)
    normal_m = _A / math.sqrt(1 - _E2 * sin_phi * sin_phi)
    place = (normal_m * cos_phi * cos_lam, normal_m * cos_phi * sin_lam, normal_m * (1 - _E2) * sin_phi)
    north = (-sin_phi * cos_lam, -sin_phi * sin_lam, cos_phi)
    return place, (north, (-sin_lam, cos_lam, 0.0))


def closest(r: Relative) -> tuple[float, float]:
    """Return in how many s the distance is least (0: now), and that distance in m."""
    square = r.north_m_s**2 + r.east_m_s**2
    time_s = 0.0
    if square > _STILL_M2_S2:
        time_s = max(0.0, -(r.north_m * r.north_m_s + r.east_m * r.east_m_s) / square)
    return time_s, distance_at(r, time_s)


def distance_at(r: Relative, time_s: float) -> float:
    """Return the distance in m after a time."""
    return math.hypot(r.north_m + r.north_m_s * time_s, r.east_m + r.east_m_s * time_s)


def closing_m_s(r: Relative) -> float:
    """Return how fast the distance shrinks now, m/s; negative where it grows."""
    distance_m = math.hypot(r.north_m, r.east_m)
    if distance_m < 1.0:
        return 0.0
    return -(r.north_m * r.north_m_s + r.east_m * r.east_m_s) / distance_m


def doubt_m(places_m: float, speeds_m_s: float, age_s: float, time_s: float) -> float:
    """Return the bound of a distance after `time_s`: doubts of both places and speeds, and a turn since last told.

    Independent doubts add as squares; speeds count from when the place was told, a turn for the age alone, for
    what either will do is what a warning is given for.
    """
    return math.hypot(places_m, speeds_m_s * (age_s + time_s), TURN_M_S2 * age_s**2 / 2)
