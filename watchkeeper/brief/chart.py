"""Where everything of a sortie lies: on a plane around home, metres north and east.

Good to a thousandth as far as a multirotor flies (`geodesy.Around`: 20 km, up to 70 degrees of latitude); what
lies much further is named, for it is a slip more often than a place. Straight ways are straight on this plane; at
5 km and 60 degrees of latitude that is within a metre of the shortest way over the ellipsoid.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import SortieFile
from watchkeeper.aircraft.filetypes import Position, Wind
from watchkeeper.aircraft.geodesy import Around
from watchkeeper.aircraft.polygon import Flat
from watchkeeper.brief.findings import PlaceToday, Remark
from watchkeeper.estimate.home.homeway import LEAST_SPEED_M_S, HomeWind, speed_home
from watchkeeper.estimate.home.places import ASIDE_M
from watchkeeper.estimate.home.returnplan import ReturnPlan

AREA_MARGIN_M: Final = 100.0
"""What stands this much further than the farthest point still counts: wind, overshoot (common practice)."""
FAR_M: Final = 50_000.0
"""Nothing of a multirotor's sortie lies so far from home."""
MOST_LATITUDE_DEG: Final = 85.0
"""Nearer to a pole the plane bends too much: 5 km from home by some 20 m."""


class Spot(NamedTuple):
    """Something with a place: m north and east of home; height above home (an obstacle's: its top), radius, m."""

    name: str
    north_m: float
    east_m: float
    height_m: float = 0.0
    radius_m: float = 0.0

    @property
    def distance_m(self) -> float:
        """From home, m."""
        return math.hypot(self.north_m, self.east_m)

    @property
    def bearing_deg(self) -> float:
        """From home, degrees from true north."""
        return bearing_deg(self.north_m, self.east_m)


class Zone(NamedTuple):
    """An area of the sortie: name, kind (boundary, keep_out, people), corners in m north and east of home."""

    name: str
    kind: str
    corners: tuple[Flat, ...]


class Landing(NamedTuple):
    """A place to land, seen from a point: m and degrees; its height above home, m."""

    name: str
    distance_m: float
    bearing_deg: float
    height_m: float


@dataclass(frozen=True, slots=True)
class Chart:
    """A sortie around home; `points` are the plan's, in order, called "point 1" and so on."""

    points: tuple[Spot, ...]
    obstacles: tuple[Spot, ...]
    ground: tuple[Spot, ...]
    """Named spots of ground: no name of their own, so their place is their name."""
    places: tuple[Spot, ...]
    zones: tuple[Zone, ...]

    @property
    def farthest_m(self) -> float | None:
        """How far from home the plan goes, m; None without a plan."""
        return max((point.distance_m for point in self.points), default=None)

    def today(self, spots: Iterable[Spot]) -> list[Spot]:
        """Return those that reach into today's area: as far as the farthest point, and a margin.

        All of them without a plan: then nothing says where it will fly.
        """
        farthest_m = self.farthest_m
        if farthest_m is None:
            return list(spots)
        reach_m = farthest_m + AREA_MARGIN_M
        return [spot for spot in spots if spot.distance_m - spot.radius_m <= reach_m]


def chart(sortie: SortieFile, home: tuple[float, float]) -> Chart:
    """Return the sortie on the plane around `home` (latitude and longitude in degrees)."""
    around = Around(*home)

    def spot(name: str, at: Position, height_m: float = 0.0, radius_m: float = 0.0) -> Spot:
        return Spot(name, *around.flat(*at), height_m, radius_m)

    ground = [spot("", one.at, one.height_m) for one in sortie.ground]
    return Chart(
        points=tuple(spot(f"point {n}", one.at, one.height_m) for n, one in enumerate(sortie.plan, 1)),
        obstacles=tuple(spot(one.name, one.at, one.height_m, one.radius_m) for one in sortie.obstacles),
        ground=tuple(one._replace(name=f"ground at {where(one.north_m, one.east_m)}") for one in ground),
        places=tuple(spot(one.name, one.at, one.height_m) for one in sortie.landing_places),
        zones=tuple(
            Zone(one.name, one.kind, tuple(around.flat(*at) for at in one.points)) for one in sortie.areas
        ),
    )


def bearing_deg(north_m: float, east_m: float) -> float:
    """Return the bearing of a way, degrees from true north, 0 to 360."""
    return math.degrees(math.atan2(east_m, north_m)) % 360.0


def where(north_m: float, east_m: float) -> str:
    """Return a place in words: metres and three figures of bearing from home."""
    distance_m = math.hypot(north_m, east_m)
    if distance_m < 0.5:
        return "home"
    return f"{distance_m:.0f} m, {round(bearing_deg(north_m, east_m)) % 360:03d} deg"


def on_way(point: Spot, post: Spot) -> bool:
    """Whether a straight way home from a point passes over an obstacle, or as near as a return may stray."""
    length_m = max(1e-9, point.distance_m)
    along_m = (post.north_m * point.north_m + post.east_m * point.east_m) / length_m
    share = min(length_m, max(0.0, along_m)) / length_m
    aside_m = math.hypot(post.north_m - share * point.north_m, post.east_m - share * point.east_m)
    return aside_m <= post.radius_m + ASIDE_M


def odd_places(today: Chart, home: tuple[float, float]) -> tuple[Remark, ...]:
    """Return what is said of places that are too far for one flight, and of a home too near a pole."""
    found: list[Remark] = []
    if abs(home[0]) > MOST_LATITUDE_DEG:
        found.append(
            Remark(
                "caution",
                "home",
                f"Home lies at {home[0]:.1f} degrees of latitude, where distances and areas are not exact",
                "Check where home, areas and obstacles are by another map",
            )
        )
    zones = [
        Spot(zone.name, *corner)
        for zone in today.zones
        if zone.kind != "boundary"
        for corner in [min(zone.corners, key=lambda c: math.hypot(*c))]
    ]
    spots = [*today.points, *today.obstacles, *today.ground, *today.places, *zones]
    far = [spot for spot in spots if spot.distance_m - spot.radius_m > FAR_M]
    if far:
        names = listed([f"{spot.name} ({spot.distance_m / 1000:.0f} km)" for spot in far])
        found.append(
            Remark(
                "caution",
                "positions",
                f"Too far from home for one flight: {names}",
                "Check latitude and longitude",
            )
        )
    return tuple(found)


def listed(words: Sequence[str], most: int = 3) -> str:
    """Return words as a list of at most `most`, and how many more there are."""
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return ", ".join(words[:most]) + more


def wind_along(wind: Wind | None, course_deg: float) -> HomeWind:
    """Return the wind as it meets a flight along a course."""
    if wind is None:
        return HomeWind()
    angle = math.radians(wind.from_deg - course_deg)
    return HomeWind(wind.speed_m_s, wind.speed_m_s * math.cos(angle), wind.speed_m_s * math.sin(angle))


def best_places(
    sortie: SortieFile,
    home: tuple[float, float],
    plan: ReturnPlan,
    left_pct: Callable[[Spot, Landing], float | None],
    *,
    wind: Wind | None = None,
) -> tuple[PlaceToday, ...]:
    """Return the best place to land for each point of the plan, home among them.

    The one soonest reached at the speed made good through the wind (`wind`, else the sortie's): a multirotor's
    power is nearly that of hovering, so time is what counts. The nearest, where the wind lets it reach none.
    `left_pct` gives the usable charge left after landing there.
    """
    air = wind if wind is not None else sortie.weather.wind
    ways = list(zip(chart(sortie, home).points, sortie.plan, strict=True))
    sites = [("home", home, 0.0), *((one.name, one.at, one.height_m) for one in sortie.landing_places)]
    found: list[PlaceToday] = []
    for point, item in ways:
        around = Around(*item.at)
        landings = [Landing(name, *around.to(*at), height_m) for name, at, height_m in sites]
        best = min(landings, key=lambda one: (_time_s(plan, air, one), one.distance_m))
        found.append(PlaceToday(point.name, best.name, best.distance_m, best.bearing_deg, left_pct(point, best)))
    return tuple(found)


def _time_s(plan: ReturnPlan, wind: Wind | None, landing: Landing) -> float:
    speed_m_s = speed_home(plan, wind_along(wind, landing.bearing_deg))
    return landing.distance_m / speed_m_s if speed_m_s >= LEAST_SPEED_M_S else math.inf
