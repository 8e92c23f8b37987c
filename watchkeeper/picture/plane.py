"""Where everything is, in metres north and east of home: the sortie, the aircraft, where it would come down."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.alerts.language import Language
from watchkeeper.brief.chart import Spot as ChartSpot
from watchkeeper.brief.chart import chart
from watchkeeper.estimate.surroundings.below import AROUND_M
from watchkeeper.estimate.surroundings.falling import Footprint
from watchkeeper.picture.answering import position_lost
from watchkeeper.picture.models import Place, Spot, Surroundings, Value, Zone
from watchkeeper.picture.values import finite
from watchkeeper.watched import Watched

FRESH_US: Final = 3_000_000
STILL_M_S: Final = 0.5
"""Slower it has no course: position noise and swing (common practice)."""
_BEARING: Final = INDEX["position.home_bearing"]


class Seen(NamedTuple):
    """Where it last was while its position was valid: degrees, height above home in m, and when."""

    place: tuple[float, float]
    height_m: float | None
    time_us: int


def surroundings(sortie: SortieFile | None, home: tuple[float, float] | None, language: Language) -> Surroundings:
    """Return what lies around home; without a home nothing has a place."""
    if home is None or sortie is None:
        return Surroundings(home=home, points=[], obstacles=[], places=[], zones=[])
    found = chart(sortie, home)
    return Surroundings(
        home=home,
        points=[_spot(one, language.phrase("point {}", i)) for i, one in enumerate(found.points, 1)],
        obstacles=[_spot(one) for one in found.obstacles],
        places=[_spot(one) for one in found.places],
        zones=[
            Zone.model_validate(
                {
                    "name": zone.name,
                    "kind": zone.kind,
                    "corners": [(_m(north), _m(east)) for north, east in zone.corners],
                }
            )
            for zone in found.zones
        ],
    )


def _spot(one: ChartSpot, name: str | None = None) -> Spot:
    return Spot(
        name=name if name is not None else one.name,
        north_m=_m(one.north_m),
        east_m=_m(one.east_m),
        height_m=_m(one.height_m),
        radius_m=_m(one.radius_m),
    )


def _m(value: float) -> float:
    return round(value, 1) + 0.0


def seen_now(one: Watched, now_us: int) -> Seen | None:
    """Return where it is, if it tells so now and its position is valid."""
    aircraft = one.aircraft
    streams = aircraft.streams
    stream = streams.position if streams.position.time_us >= streams.high_latency.time_us else streams.high_latency
    if aircraft.position is None or position_lost(one) or not stream.count or stream.time_us > now_us:
        return None
    if not all(map(math.isfinite, aircraft.position)):
        return None
    height = aircraft.readings.values[INDEX["position.height"]]
    return Seen(aircraft.position, finite(height), stream.time_us)


def place(
    one: Watched, seen: Seen | None, falls: Footprint | None, readings: Mapping[str, Value], now_us: int
) -> Place | None:
    """Return where it is, or should be while it is not heard; None without a home or a valid position."""
    around = one.aircraft.homing.around
    if around is None or seen is None:
        return None
    age_s = max(0.0, (now_us - seen.time_us) / 1e6)
    distance_m = finite(readings.get("forecast.home_distance"))
    if distance_m is not None:
        bearing_deg = one.aircraft.readings.values[_BEARING]
        if isinstance(bearing_deg, float) and math.isfinite(bearing_deg):
            return _forecast(distance_m, bearing_deg, readings, age_s)
    north_m, east_m = around.flat(*seen.place)
    if not (math.isfinite(north_m) and math.isfinite(east_m)):
        return None
    course_deg = _course_deg(one, now_us)
    fresh = now_us - seen.time_us <= FRESH_US
    return Place(
        north_m=_m(north_m),
        east_m=_m(east_m),
        height_m=finite(seen.height_m, 1),
        speed_m_s=finite(readings.get("position.ground_speed"), 1),
        course_deg=course_deg,
        climb_m_s=finite(readings.get("position.climb_rate"), 1),
        age_s=round(age_s, 1),
        forecast=False,
        doubt_m=finite(readings.get("position.accuracy"), 1),
        falls=_falls(north_m, east_m, falls) if falls is not None and fresh else None,
    )


def _forecast(distance_m: float, bearing_deg: float, readings: Mapping[str, Value], age_s: float) -> Place:
    angle = math.radians(bearing_deg)
    return Place(
        north_m=_m(distance_m * math.cos(angle)),
        east_m=_m(distance_m * math.sin(angle)),
        height_m=finite(readings.get("forecast.height"), 1),
        speed_m_s=None,
        course_deg=None,
        climb_m_s=None,
        age_s=round(age_s, 1),
        forecast=True,
        doubt_m=finite(readings.get("forecast.doubt"), 1),
        falls=None,
    )


def _course_deg(one: Watched, now_us: int) -> float | None:
    motion = one.aircraft.motion
    north_m_s, east_m_s = motion.north_m_s, motion.east_m_s
    if north_m_s is None or east_m_s is None or now_us - motion.velocity_us > FRESH_US:
        return None
    speed_m_s = math.hypot(north_m_s, east_m_s)
    if not STILL_M_S <= speed_m_s < math.inf:
        return None
    return round(math.degrees(math.atan2(east_m_s, north_m_s)) % 360.0, 1) % 360.0


def _falls(north_m: float, east_m: float, found: Footprint) -> Spot | None:
    """Return the circle that holds where it may come down: with any drag, the wind's doubt, its own size."""
    spots = [(one.north_m, one.east_m) for one in found.falls]
    middle = ((spots[0][0] + spots[-1][0]) / 2.0, (spots[0][1] + spots[-1][1]) / 2.0)
    radius_m = max(math.dist(middle, spot) for spot in spots) + found.doubt_m + AROUND_M
    if not math.isfinite(radius_m):
        return None
    return Spot(
        name="",
        north_m=_m(north_m + middle[0]),
        east_m=_m(east_m + middle[1]),
        height_m=None,
        radius_m=_m(radius_m),
    )
