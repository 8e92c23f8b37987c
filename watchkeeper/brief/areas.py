"""Home, the plan and every straight way home against the sortie's areas, on the plane around home.

The ways home from a leg of the plan fill the triangle between the leg and home. An area's border reaches into it
only across the leg, across the way home from one of its ends, or with a corner inside: so looking at these, no way
home is left out, as it would be between samples.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import SortieFile
from watchkeeper.aircraft.polygon import (
    EDGE_M,
    Flat,
    Span,
    apart_m,
    border_m,
    holds,
    in_triangle,
    spans,
    to_way_m,
)
from watchkeeper.brief.chart import Chart, Spot, Zone, chart, listed, where
from watchkeeper.brief.findings import Remark
from watchkeeper.estimate.home.places import ASIDE_M

MOST_WORK: Final = 500_000
"""Ways times corners; a crew's sortie has a thousandth of it."""
MOST_CORNERS: Final = 2000
_ABOUT_M: Final = 0.5
"""So near a corner of the boundary it is seen whether one gets outside there."""
_HOME: Final = Spot("home", 0.0, 0.0)


class Way(NamedTuple):
    """A straight part of the plan, or a way home; `name` as it is said."""

    name: str
    start: Flat
    end: Flat

    def at(self, share: float) -> Flat:
        """Return the place a share of the way from its start."""
        (north, east), (to_north, to_east) = self.start, self.end
        return north + share * (to_north - north), east + share * (to_east - east)


def check_areas(sortie: SortieFile, home: tuple[float, float]) -> tuple[Remark, ...]:
    """Return what is to be said of areas: outside the boundary, inside a keep-out area, over people.

    Of several boundaries one has to hold each place; a way may lead from one into the next.
    """
    today = chart(sortie, home)
    corners = sum(len(zone.corners) for zone in today.zones)
    work = (3 * len(today.points) + len(today.places) + 1) * corners
    if work > MOST_WORK or corners > MOST_CORNERS:
        what = "The areas are not checked: so many points and corners are more than can be"
        return (Remark("warning", "areas", what, "Leave corners out of the areas, or split the plan"),)
    found: list[Remark] = []
    boundaries = [zone for zone in today.zones if zone.kind == "boundary"]
    if boundaries:
        found += _boundary(today, boundaries)
    for zone in today.zones:
        if zone.kind != "boundary":
            found += _entered(today, zone)
    return tuple(found)


def _flat(spot: Spot) -> Flat:
    return spot.north_m, spot.east_m


def _hits(
    points: Sequence[Spot],
    corners: Sequence[Flat],
    hit: Callable[[Way], str],
    at_corner: Callable[[Flat], bool],
) -> list[str]:
    """Return the parts of the path out, and the ways home, that `hit` names a place for ("" where none).

    Between the ways home from both ends of a leg, `at_corner` says whether a corner in their triangle is one.
    """
    before = (_HOME, *points)
    legs = [
        Way(f"the leg from {one.name} to {other.name}", _flat(one), _flat(other))
        for one, other in zip(before, points, strict=False)
    ]
    homes = [Way(f"the way home from {point.name}", _flat(point), (0.0, 0.0)) for point in points]
    on_legs, on_homes = [hit(way) for way in legs], [hit(way) for way in homes]
    found = [f"{way.name} {at}" for way, at in zip((*legs, *homes), (*on_legs, *on_homes), strict=True) if at]
    for number in range(1, len(points)):
        if on_legs[number] or on_homes[number - 1] or on_homes[number]:
            continue
        leg = legs[number]
        triangle = (leg.start, leg.end, (0.0, 0.0))
        inside = sorted([one for one in corners if in_triangle(one, triangle)], key=lambda one: math.hypot(*one))
        first = next((corner for corner in inside if at_corner(corner)), None)
        if first is not None:
            found.append(f"a way home from {leg.name} at {where(*first)}")
    return found


def _boundary(today: Chart, zones: Sequence[Zone]) -> list[Remark]:
    name = listed([zone.name for zone in zones])

    def held(place: Flat) -> bool:
        return any(holds(zone.corners, place) for zone in zones)

    def outside(spots: Sequence[Spot]) -> list[str]:
        missed = [(one.name, min(border_m(zone.corners, _flat(one)) for zone in zones)) for one in spots]
        return [f"{spot} by {max(1, round(metres))} m" for spot, metres in missed]

    def leaves(way: Way) -> str:
        if not (held(way.start) and held(way.end)):
            return ""  # follows from where it begins or ends
        gaps = _gaps([span for zone in zones for span in spans(zone.corners, way.start, way.end)])
        least = 2.0 * EDGE_M / max(EDGE_M, math.dist(way.start, way.end))
        return next((_between(way, gap) for gap in gaps if gap[1] - gap[0] > least), "")

    def gets_out(corner: Flat) -> bool:
        angles = [math.radians(step * 15.0) for step in range(24)]
        about = [(corner[0] + _ABOUT_M * math.cos(a), corner[1] + _ABOUT_M * math.sin(a)) for a in angles]
        return not all(map(held, about))

    found = []
    out = outside([one for one in (_HOME, *today.points) if not held(_flat(one))])
    if out:
        do = "Move them inside, or have the boundary changed by whoever may change it"
        found.append(Remark("warning", "boundary", f"Outside {name}: {listed(out)}", do))
    left = _hits(today.points, [corner for zone in zones for corner in zone.corners], leaves, gets_out)
    if left:
        do = "Plan another way; a return flies straight home from wherever it begins"
        found.append(Remark("warning", "boundary", f"Outside {name}: {listed(left)}", do))
    places = outside([one for one in today.places if not held(_flat(one))])
    if places:
        what = f"Landing places outside {name}: {listed(places)}"
        found.append(Remark("caution", "boundary", what, "Have them allowed, or name others"))
    return found


def _entered(today: Chart, zone: Zone) -> list[Remark]:
    """Return what is in or over an area that is to be kept clear of."""

    def goes_in(way: Way) -> str:
        if holds(zone.corners, way.start) or holds(zone.corners, way.end):
            return ""  # follows from where it begins or ends
        inside = spans(zone.corners, way.start, way.end)
        if inside:
            return _between(way, inside[0])
        touched = [corner for corner in zone.corners if to_way_m(corner, way.start, way.end) <= EDGE_M]
        return f"at {where(*touched[0])}" if touched else ""

    people = zone.kind == "people"
    over = f"Over people, {zone.name}" if people else f"Inside {zone.name}, to be kept out of"
    do = "Plan another way; a return flies straight home from wherever it begins"
    if people:
        do = "It would fall there: clear them, or plan another way, the way home too"
    spots = [one.name for one in (_HOME, *today.points) if holds(zone.corners, _flat(one))]
    ways = _hits(today.points, zone.corners, goes_in, lambda _corner: True)
    found = [
        Remark("caution" if people else "warning", zone.kind.replace("_", " "), f"{over}: {listed(names)}", do)
        for names in (spots, ways)
        if names
    ]
    if not spots and not ways:
        found += _near(today, zone)
    places = [one.name for one in today.places if holds(zone.corners, _flat(one))]
    if places:
        what = f"Landing places in {zone.name}: {listed(places)}"
        found.append(Remark("caution", zone.kind.replace("_", " "), what, "Name others"))
    return found


def _near(today: Chart, zone: Zone) -> list[Remark]:
    spots = [_HOME, *today.points]
    ways = [(point, _flat(point), (0.0, 0.0)) for point in spots]
    ways += [(point, _flat(one), _flat(point)) for one, point in zip(spots, today.points, strict=False)]
    apart, point = min(((apart_m(zone.corners, start, end), one.name) for one, start, end in ways))
    if apart > ASIDE_M:
        return []
    what = f"Within {max(1, round(apart))} m of {zone.name}: the way to or from {point}"
    do = "Position errors and wind may be as much: plan further away"
    return [Remark("caution", zone.kind.replace("_", " "), what, do)]


def _gaps(inside: Sequence[Span]) -> list[Span]:
    """Return which parts of a way no span covers."""
    gaps, reached = [], 0.0
    for start, end in (*sorted(inside), (1.0, 1.0)):
        if start > reached:
            gaps.append((reached, start))
        reached = max(reached, end)
    return gaps


def _between(way: Way, span: Span) -> str:
    return f"between {where(*way.at(span[0]))} and {where(*way.at(span[1]))}"
