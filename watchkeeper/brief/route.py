"""Today's plan as legs: up, out to each point, staying, and home from anywhere on it.

Vertical and level parts follow one another, as the costly way of flying them. A speed over ground is demanded, and
airspeed follows from the wind (the wind triangle); where the airspeed that it can lean for binds, ground speed
falls.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import SortieFile
from watchkeeper.brief.chart import bearing_deg, chart
from watchkeeper.brief.day import Today
from watchkeeper.estimate.air.airwind import WindState
from watchkeeper.estimate.home.homeway import (
    LEAST_SPEED_M_S,
    RISE_M_S2,
    HomeWind,
    Leg,
    Start,
    speed_home,
    way_home,
)
from watchkeeper.estimate.home.returnplan import ReturnPlan

LEAST_LEVEL_M: Final = 1.0


class Point(NamedTuple):
    """A point of the plan: metres north and east of home, height above home in m, and the stay there in s."""

    name: str
    north_m: float
    east_m: float
    height_m: float
    stay_s: float

    @property
    def distance_m(self) -> float:
        """From home."""
        return math.hypot(self.north_m, self.east_m)

    @property
    def bearing_deg(self) -> float:
        """From home."""
        return bearing_deg(self.north_m, self.east_m)


HOME: Final = Point("home", 0.0, 0.0, 0.0, 0.0)


class Part(NamedTuple):
    """A leg of the plan with where it ends."""

    leg: Leg
    to: Point


def points(sortie: SortieFile) -> list[Point]:
    """Return the plan's points around home; none without a home."""
    if sortie.home is None:
        return []
    spots = chart(sortie, sortie.home).points
    return [
        Point(spot.name, spot.north_m, spot.east_m, spot.height_m, item.stay_s)
        for spot, item in zip(spots, sortie.plan, strict=True)
    ]


def met(wind: WindState, north_m_s: float, east_m_s: float) -> HomeWind:
    """Return a wind as it meets a flight along a unit vector: speed, against it, across it, m/s."""
    tail_m_s = wind.north_m_s * north_m_s + wind.east_m_s * east_m_s
    cross_m_s = -wind.north_m_s * east_m_s + wind.east_m_s * north_m_s
    return HomeWind(math.hypot(wind.north_m_s, wind.east_m_s), -tail_m_s, cross_m_s, wind.gust_m_s)


def out(today: Today, plan: ReturnPlan, way: Sequence[Point], wind: WindState) -> list[Part] | None:
    """Return the legs from take-off along all points; None where the wind does not let it get there.

    `wind` is the mean wind at the height at which it stands in it; the same is taken at all heights flown.
    """
    parts: list[Part] = []
    for one in _flown(today, plan, way, wind):
        if one is None:
            return None
        parts.append(one)
    return parts


def as_far(today: Today, plan: ReturnPlan, way: Sequence[Point], wind: WindState) -> list[Part]:
    """Return the legs along the points, as far as the wind lets it get."""
    return [one for one in _flown(today, plan, way, wind) if one is not None]


def _flown(today: Today, plan: ReturnPlan, way: Sequence[Point], wind: WindState) -> Iterator[Part | None]:
    """Yield the legs; None, and no more, where there is no way."""
    at = HOME
    aloft_m_s = math.hypot(wind.north_m_s, wind.east_m_s)
    for to in way:
        up_m = to.height_m - at.height_m
        if up_m > 0.0:
            time_s = up_m / plan.climb_m_s + plan.climb_m_s / RISE_M_S2
            leg = Leg(f"climb to {to.name}", time_s, aloft_m_s, plan.climb_m_s, to.height_m)
            yield Part(leg, at._replace(name=to.name, height_m=to.height_m, stay_s=0.0))
        level = _level(today, plan, at, to, wind)
        if level is None:
            yield None
            return
        height_m = max(at.height_m, to.height_m)
        if level > 0.0:
            north, east = to.north_m - at.north_m, to.east_m - at.east_m
            way_m = math.hypot(north, east)
            meets = met(wind, north / way_m, east / way_m)
            speed_m_s = speed_home(plan._replace(speed_m_s=today.plan_speed_m_s), meets)
            airspeed_m_s = math.hypot(speed_m_s + meets.head_m_s, meets.cross_m_s)
            leg = Leg(f"to {to.name}", level, airspeed_m_s, 0.0, height_m)
            yield Part(leg, to._replace(height_m=height_m, stay_s=0.0))
        if up_m < 0.0:
            leg = Leg(f"descend at {to.name}", -up_m / plan.descent_m_s, aloft_m_s, -plan.descent_m_s, to.height_m)
            yield Part(leg, to._replace(stay_s=0.0))
        if to.stay_s > 0.0:
            yield Part(Leg(f"stay at {to.name}", to.stay_s, aloft_m_s, 0.0, to.height_m), to)
        at = to


def _level(today: Today, plan: ReturnPlan, at: Point, to: Point, wind: WindState) -> float | None:
    """Return the seconds of the level part between two points; None where there is no way."""
    north, east = to.north_m - at.north_m, to.east_m - at.east_m
    way_m = math.hypot(north, east)
    if way_m < LEAST_LEVEL_M:
        return 0.0
    speed_m_s = speed_home(plan._replace(speed_m_s=today.plan_speed_m_s), met(wind, north / way_m, east / way_m))
    if speed_m_s < LEAST_SPEED_M_S:
        return None
    accelerated = speed_m_s / plan.acceleration_m_s2
    if way_m < speed_m_s * accelerated:
        return 2.0 * math.sqrt(way_m / plan.acceleration_m_s2)
    return way_m / speed_m_s + accelerated


def back(plan: ReturnPlan, at: Point, wind: WindState) -> list[Leg] | None:
    """Return the legs of the return that begins at rest at a point; None where there is no way."""
    distance_m = at.distance_m
    if distance_m > 0.0:
        meets = met(wind, -at.north_m / distance_m, -at.east_m / distance_m)
    else:
        meets = met(wind, 1.0, 0.0)
    return way_home(plan, Start(distance_m, at.height_m), meets)
