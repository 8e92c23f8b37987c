"""How far it can go today and still come home with the reserve: there and back out of full packs, by bearing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from watchkeeper.brief.battery import aloft_m, over
from watchkeeper.brief.bounds import bounded
from watchkeeper.brief.day import Today
from watchkeeper.brief.findings import LegToday, PointReach
from watchkeeper.brief.route import Point, back
from watchkeeper.estimate.home.forecast import fly

BEARINGS: Final = 24
FARTHEST_M: Final = 50_000.0
"""A farther reach is no multirotor's; it is where the search ends."""
_NEAR: Final = 0.005
_NEAR_M: Final = 2.0
_NO_WAY_PCT: Final = -200.0
"""Less than any charge that is missing."""


def reach_m(today: Today, bearing_deg: float, height_m: float, need_pct: float, guess_m: float = 1000.0) -> float:
    """Return the distance from home to which it can go and come back with the reserve by the lower bound, m.

    Straight there at the plan's speed, without a stay, and home as it is set. 0: nowhere. The search begins at
    `guess_m`, and goes on by false position with halved ends (the Illinois way; Dowell and Jarratt, BIT 11, 1971,
    from memory).
    """
    angle = math.radians(bearing_deg)
    north, east = math.cos(angle), math.sin(angle)

    def spare_pct(distance_m: float) -> float:
        to = Point("there", distance_m * north, distance_m * east, height_m, 0.0)
        wind = today.wind_at(aloft_m(today, to))
        found = bounded(today, over(today, [to]), wind)
        return _NO_WAY_PCT if found is None or not found.held else found.low_pct - need_pct

    low_m = _NEAR_M
    low = spare_pct(low_m)
    if low < 0.0:
        return 0.0
    high_m = min(FARTHEST_M, max(1.2 * guess_m, 10.0 * _NEAR_M))
    while (high := spare_pct(high_m)) >= 0.0:
        if high_m >= FARTHEST_M:
            return FARTHEST_M
        low_m, low = high_m, high
        high_m = min(FARTHEST_M, 1.5 * high_m)
    side = 0
    while high_m - low_m > max(_NEAR_M, _NEAR * high_m):
        part = low / (low - high)
        # not nearer to an end than a tenth: a wind that leaves no way is a step, on which a chord crawls
        at_m = low_m + min(0.9, max(0.1, part)) * (high_m - low_m)
        found = spare_pct(at_m)
        if found >= 0.0:
            low_m, low = at_m, found
            high *= 0.5 if side == 1 else 1.0
            side = 1
        else:
            high_m, high = at_m, found
            low *= 0.5 if side == -1 else 1.0
            side = -1
    return low_m


def contour(today: Today, height_m: float, need_pct: float) -> tuple[tuple[float, float], ...]:
    """Return the reach by bearing, evenly from north: (degrees, m)."""
    step = 360.0 / BEARINGS
    found: list[tuple[float, float]] = []
    for i in range(BEARINGS):
        guess_m = found[-1][1] if found else 1000.0
        found.append((step * i, reach_m(today, step * i, height_m, need_pct, guess_m)))
    return tuple(found)


def point_reaches(
    today: Today, way: Sequence[Point], legs: Sequence[LegToday], need_pct: float
) -> tuple[PointReach, ...]:
    """Return every point of the plan against the reach in its bearing, at its height."""
    found: list[PointReach] = []
    guess_m = 1000.0
    for point in way:
        guess_m = reach_m(today, point.bearing_deg, point.height_m, need_pct, guess_m)
        at_end = [one for one in legs if one.name.endswith(f" {point.name}")]
        found.append(
            PointReach(
                point.name,
                point.distance_m,
                point.bearing_deg,
                point.height_m,
                guess_m,
                at_end[-1].home_low_pct if at_end else None,
            )
        )
    return tuple(found)


def left_at_pct(
    today: Today, usable_pct: float, distance_m: float, bearing_deg: float, up_m: float
) -> float | None:
    """Return the usable charge left after landing at a place, %; None where the wind leaves no way there.

    From a usable charge, to a place at a distance and bearing from there, `up_m` below.
    """
    angle = math.radians(bearing_deg + 180.0)
    at = Point("", distance_m * math.cos(angle), distance_m * math.sin(angle), up_m, 0.0)
    plan = today.plan._replace(order=("cruise", "land"), height_m=None, hold_s=0.0)
    legs = back(plan, at, today.wind_at(max(1.0, up_m)))
    if legs is None:
        return None
    return min(
        fly(
            legs, one.state._replace(charge=one.empty + usable_pct / 100.0 * (1.0 - one.empty)), one, today.model
        ).left_pct
        for one in today.supplies
    )
