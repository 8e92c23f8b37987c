"""The reach plot in words, for who cannot see it; and what lies beyond it."""

from __future__ import annotations

from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief.findings import Brief
from watchkeeper.brief.sheet_place import bearing_reaches
from watchkeeper.brief.wording import bearing, distance, height_least, plain, reach, speed

KINDS = {"boundary": "stay within", "keep_out": "keep out", "people": "people"}


def area_words(name: str, kind: str) -> str:
    """Return how an area is called in the plot, e.g. "keep out: quarry"; the kind once."""
    told = KINDS.get(kind, plain(kind))
    name = plain(name)
    return name if name.lower().startswith(told) else f"{told}: {name}"


def wind_words(wind: tuple[float, float], units: CrewUnits) -> tuple[str, str]:
    """Return the wind in two short lines."""
    return f"wind {speed(wind[0], units)}", f"from {bearing(wind[1])}"


def told(brief: Brief, units: CrewUnits, view_m: float) -> str:
    """Return the whole plot in words."""
    parts = [f"Plan around home, north up, out to {distance(view_m)}"]
    if brief.reach is not None:
        found = brief.reach
        if found.bearings:
            reaches = ", ".join(f"{name} {far}" for name, far in bearing_reaches(found))
            parts.append(f"Reach by direction: {reaches}")
        parts += [
            f"{plain(point.name)} at {bearing(point.bearing_deg)}, {distance(point.distance_m)}, "
            f"{'within' if point.inside else 'beyond'} the reach there of {reach(point.reach_m)}"
            for point in found.points
        ]
    parts += [
        f"Landing place {plain(name)} at {bearing(from_deg)}, {distance(far_m)}"
        for name, far_m, from_deg in brief.places
    ]
    parts += [
        f"Obstacle {plain(name)} at {bearing(from_deg)}, {distance(far_m)}, top {height_least(top_m, units)}"
        for name, far_m, from_deg, top_m, _ in brief.obstacles
    ]
    parts += [f"Area, {area_words(name, kind)}" for name, kind, _ in brief.areas]
    if brief.wind is not None:
        parts.append(" ".join(wind_words(brief.wind, units)).capitalize())
    return ". ".join(parts) + "."


def beyond(brief: Brief, view_m: float) -> str:
    """Return the obstacles and landing places that lie outside the plot; "" where all are inside."""
    found = [
        f"{plain(name)} ({bearing(from_deg)}, {distance(far_m)})"
        for name, far_m, from_deg in (*brief.places, *(obstacle[:3] for obstacle in brief.obstacles))
        if far_m > view_m
    ]
    return f"Beyond the plot: {', '.join(found)}." if found else ""
