"""The tables of today's heights, reach, radio and light."""

from __future__ import annotations

from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief.findings import BatteryToday, DuskToday, HeightToday, PlaceToday, RadioToday, ReachToday
from watchkeeper.brief.sheet import Cell, Column, Table, row, table
from watchkeeper.brief.wording import (
    NOT_KNOWN,
    bearing,
    clock,
    distance,
    down,
    height_as_set,
    height_least,
    height_most,
    known,
    lasting,
    left_at_home,
    minutes,
    number,
    plain,
    reach,
    up,
)

_SECTORS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def station_facts(battery: BatteryToday) -> tuple[tuple[str, str], ...]:
    """Return how long it can stay, and what must be left."""
    return (
        ("Time at the farthest point", _station(battery)),
        ("Way home from the end of the plan", minutes(battery.home_s) + (" min" if known(battery.home_s) else "")),
        ("Usable charge that must be left", f"{up(battery.required_pct, '%')} after landing"),
    )


def _station(battery: BatteryToday) -> str:
    longest = lasting(battery.on_station_s)
    return longest if longest == NOT_KNOWN else f"{longest}, stays before it as planned"


def height_table(height: HeightToday, units: CrewUnits) -> Table:
    """Return the window of return heights and what is set."""
    rows = [
        row("At least", height_least(height.required_m, units), plain(height.required_by)),
        row(
            "At most",
            "no ceiling named" if height.allowed_m is None else height_most(height.allowed_m, units),
            plain(height.allowed_by),
        ),
        row("Set", _set(height, units), plain(height.set_by)),
        row("Advised", _advised(height, units), ""),
        row("Hold over home", height_as_set(height.hold_m, units), _hold(height, units)),
    ]
    return table("Return height, above home", ("", Column("Height", numbers=True), "Because of"), rows)


def _set(height: HeightToday, units: CrewUnits) -> Cell:
    shown = height_as_set(height.set_m, units)
    if height.set_m is None or not known(height.set_m):
        return Cell(shown, "caution")
    if height.set_m < height.required_m:
        return Cell(f"{shown}, too low", "warning")
    if height.allowed_m is not None and height.set_m > height.allowed_m:
        return Cell(f"{shown}, too high", "warning")
    return Cell(shown)


def _advised(height: HeightToday, units: CrewUnits) -> Cell:
    if height.advised_m is not None:
        return Cell(height_as_set(height.advised_m, units))
    if height.allowed_m is not None and height.required_m > height.allowed_m:
        return Cell("no height fits", "warning")
    return Cell(NOT_KNOWN)


def _hold(height: HeightToday, units: CrewUnits) -> Cell:
    least = f"at least {height_least(height.hold_least_m, units)}"
    low = height.hold_m is not None and height.hold_m < height.hold_least_m
    return Cell(f"{least}: too low", "caution") if low else Cell(least)


def points_table(found: ReachToday) -> Table | None:
    """Return the points of the plan against the reach, each with its best landing place."""
    if not found.points:
        return None
    best = {place.point: place for place in found.places}
    rows = [
        row(
            plain(point.name),
            bearing(point.bearing_deg),
            distance(point.distance_m),
            Cell(reach(point.reach_m))
            if point.inside
            else Cell(f"{reach(point.reach_m)}: out of reach", "warning"),
            left_at_home(point.home_low_pct, "%"),
            _best(best.get(point.name)),
        )
        for point in found.points
    ]
    return table(
        "Points of the plan against the reach",
        (
            "Point",
            Column("Bearing", numbers=True),
            Column("From home", numbers=True),
            Column("Reach there", numbers=True),
            Column("Least left at home", numbers=True),
            "Best landing place",
        ),
        rows,
    )


def _best(place: PlaceToday | None) -> str:
    if place is None:
        return "none named"
    left = f", {down(place.left_pct, '%')} left" if place.left_pct is not None else ""
    return f"{plain(place.place)}: {bearing(place.bearing_deg)}, {distance(place.distance_m)}{left}"


def bearing_reaches(found: ReachToday) -> tuple[tuple[str, str], ...]:
    """Return the reach towards eight directions, the least of the bearings within each; () where there is none."""
    sectors: dict[int, list[float]] = {}
    for bearing_deg, distance_m in found.bearings:
        if known(bearing_deg) and known(distance_m):
            sectors.setdefault(round(bearing_deg / 45) % 8, []).append(distance_m)
    return tuple((_SECTORS[k], reach(min(sectors[k]))) for k in sorted(sectors))


def radio_facts(radio: RadioToday) -> tuple[tuple[str, str | Cell], ...]:
    """Return the telemetry link at the farthest point."""
    little = radio.clear_share < 0.6
    share = number(100.0 * max(0.0, radio.clear_share), "%")
    clear = f"{share} free of ground and obstacles ({plain(radio.clear_over)})"
    margin = number(radio.margin_db, "dB")
    return (
        ("Farthest", f"{plain(radio.point)}, {distance(radio.distance_m)}"),
        ("Margin", f"{margin} ({plain(radio.margin_how)})" if radio.margin_how else margin),
        ("Path loss", number(radio.path_loss_db, "dB")),
        (
            "First Fresnel zone",
            Cell(
                f"radius {number(radio.fresnel_m, 'm', 1)}, {clear}; 60 % asked for"
                + (": too little" if little else ""),
                "caution" if little else None,
            ),
        ),
    )


def dusk_facts(dusk: DuskToday, made_at: str) -> tuple[tuple[str, str | Cell], ...]:
    """Return take-off, landing, sunset and the end of twilight; the date where it is not that of the brief."""
    latest = (
        (("Latest take-off", clock(dusk.latest_take_off, made_at)),) if dusk.latest_take_off is not None else ()
    )
    return (
        ("Take-off", clock(dusk.take_off, made_at)),
        *latest,
        ("Lands", clock(dusk.lands_at, made_at)),
        ("Sunset", "none today" if dusk.sunset is None else clock(dusk.sunset, made_at)),
        ("Civil twilight ends", "not today" if dusk.twilight_ends is None else clock(dusk.twilight_ends, made_at)),
    )
