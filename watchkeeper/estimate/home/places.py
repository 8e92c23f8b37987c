"""What lies on the way home and where else it can land: the sortie file's obstacles and landing places.

On a plane around home; distances of the kind a multirotor flies do not ask for more (`geodesy.Around`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import Clearance, SortieFile
from watchkeeper.aircraft.geodesy import Around

ASIDE_M: Final = 15.0
"""How far beside its track a return may stray: position error, and corners cut in wind (common practice)."""
OPEN_M: Final = 1000.0
"""Clearance where nothing stands in the way."""
DIGITS: Final = 6
"""Of a metre: so that tenths add up to tenths."""


class Post(NamedTuple):
    """An obstacle: metres north and east of home, its top above home, its radius, all m."""

    north_m: float
    east_m: float
    top_m: float
    radius_m: float


class Place(NamedTuple):
    """A landing place: from the aircraft, m and degrees; its height above home, m."""

    distance_m: float
    bearing_deg: float
    height_m: float


def posts(sortie: SortieFile | None, home: tuple[float, float] | None) -> list[Post]:
    """Return the sortie's obstacles around home."""
    if sortie is None or home is None:
        return []
    around = Around(*home)
    return [Post(*around.flat(*one.at), one.height_m, one.radius_m) for one in sortie.obstacles]


def clearing_m(top_m: float, clearance: Clearance, line_m: float) -> float:
    """Return the least height above home at which something `top_m` above home is cleared, `line_m` hanging."""
    share_m = clearance.share_pct / 100.0 * top_m
    return round(top_m + max(share_m, clearance.least_m) + line_m, DIGITS)


def clearance_m(
    obstacles: Sequence[Post], distance_m: float, bearing_deg: float, height_m: float, line_m: float = 0.0
) -> float:
    """Return by how much a straight way home at a height clears what stands on it; `line_m` hangs below.

    `distance_m` and `bearing_deg` are of the aircraft from home.
    """
    least = OPEN_M
    angle = math.radians(bearing_deg)
    north, east = math.cos(angle), math.sin(angle)
    for post in obstacles:
        along_m = post.north_m * north + post.east_m * east
        aside_m = abs(post.east_m * north - post.north_m * east)
        reach_m = post.radius_m + ASIDE_M
        if aside_m <= reach_m and -reach_m <= along_m <= distance_m + reach_m:
            least = min(least, height_m - line_m - post.top_m)
    return least


def nearest_place(sortie: SortieFile | None, position: tuple[float, float] | None) -> Place | None:
    """Return the nearest landing place of the sortie; None without one, or without a position."""
    if sortie is None or position is None or not sortie.landing_places:
        return None
    around = Around(*position)
    places = [Place(*around.to(*one.at), one.height_m) for one in sortie.landing_places]
    return min(places, key=lambda place: place.distance_m)
