"""Areas of a fence: stay within, keep out. As sent by the mission protocol; polygons and circles."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from simulators.onboard.place import Field
from simulators.wire.plan import PlanItem

WITHIN_POLYGON, OUT_OF_POLYGON, WITHIN_CIRCLE, OUT_OF_CIRCLE = 5001, 5002, 5003, 5004  # MAV_CMD
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Area:
    """Corners, or a centre with a radius in m; whether one must be inside or outside."""

    inside: bool
    corners: tuple[Point, ...]
    radius_m: float = 0.0

    def breached(self, north_m: float, east_m: float) -> bool:
        """Tell whether a place is on the wrong side."""
        if self.radius_m > 0:
            centre = self.corners[0]
            within = math.hypot(north_m - centre[0], east_m - centre[1]) <= self.radius_m
        else:
            within = _within(self.corners, north_m, east_m)
        return within is not self.inside


def _within(corners: Sequence[Point], north_m: float, east_m: float) -> bool:
    """Tell whether a point is in a polygon: the parity of the edges that a ray to the east crosses."""
    odd = False
    n0, e0 = corners[-1]
    for n1, e1 in corners:
        if (n0 > north_m) != (n1 > north_m) and east_m < e0 + (e1 - e0) * (north_m - n0) / (n1 - n0):
            odd = not odd
        n0, e0 = n1, e1
    return odd


_LEAST: Final = 3


def areas(items: Sequence[PlanItem], field: Field) -> tuple[Area, ...]:
    """Return the areas of a fence's items; a polygon's corners follow each other, each with their number."""
    found: list[Area] = []
    corners: list[Point] = []
    for item in items:
        if item.latitude_deg is None or item.longitude_deg is None:
            continue
        place = field.metres(item.latitude_deg, item.longitude_deg)
        if item.command in {WITHIN_CIRCLE, OUT_OF_CIRCLE}:
            found.append(Area(item.command == WITHIN_CIRCLE, (place,), item.p1))
        elif item.command in {WITHIN_POLYGON, OUT_OF_POLYGON}:
            corners.append(place)
            if len(corners) >= max(_LEAST, int(item.p1)):
                found.append(Area(item.command == WITHIN_POLYGON, tuple(corners)))
                corners = []
    return tuple(found)
