"""Puts the brief together: out of the crew's files, the aircraft's parameters if they were seen, and the time."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final, NamedTuple

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.files import AircraftFile, Packs, SortieFile
from watchkeeper.aircraft.parameter_text import SeenParameters, settings_of
from watchkeeper.aircraft.vocabulary import Settings
from watchkeeper.brief.areas import check_areas
from watchkeeper.brief.asking import asking
from watchkeeper.brief.battery import battery_today, required_pct
from watchkeeper.brief.chart import Chart, Landing, Spot, bearing_deg, best_places, chart, odd_places
from watchkeeper.brief.compare import compare
from watchkeeper.brief.crew import crew_today
from watchkeeper.brief.day import Today, today, why_not
from watchkeeper.brief.dusk import dusk_today
from watchkeeper.brief.findings import WEIGHTS, BatteryToday, Brief, HeightToday, ReachToday, Remark, SettingsToday
from watchkeeper.brief.heights import return_height
from watchkeeper.brief.radio import radio_at, why_no_radio
from watchkeeper.brief.reach import contour, left_at_pct, point_reaches
from watchkeeper.brief.remarks import (
    battery_remarks,
    cell_remarks,
    load_remarks,
    return_remarks,
    settings_remarks,
    stage_remarks,
    weather_remarks,
)
from watchkeeper.brief.route import Point, points
from watchkeeper.brief.stages import stages_today
from watchkeeper.estimate.home.returnplan import DEFAULT_SPEED_M_S, ReturnPlan, of_file, of_settings
from watchkeeper.estimate.packs.packtoday import FittedPack

REACH_HEIGHT_M: Final = 40.0
"""At which the reach is worked out where there is no plan."""
NO_HOME: Final = Remark(
    "warning",
    "home",
    "The sortie file names no home",
    "Name home: [latitude, longitude]; without it little is told",
)


class Given(NamedTuple):
    """What a brief is made of. `packs` are one for each pack, the ledger's knowledge in them.

    `seen` and `baseline` are parameters; `now_s` is the time, seconds since 1970.
    """

    sortie: SortieFile
    file: AircraftFile | None
    packs: Sequence[Packs]
    seen: SeenParameters | None
    baseline: SeenParameters | None
    now_s: float


def make(given: Given) -> Brief:
    """Return the brief."""
    sortie, file = given.sortie, given.file
    seen = _of_kind(given.seen, file)
    settings = settings_of(seen) if seen is not None else None
    plan, set_by = _plan(file, settings)
    home = sortie.home
    way = points(sortie)
    remarks: list[Remark] = []
    why = why_not(file)
    flight: Today | None = None
    if file is not None and not why:
        flight = today(file, sortie, given.packs, plan, _plan_speed(file, settings))
        plan = flight.plan
    else:
        remarks.append(
            Remark("warning", "energy", f"Nothing is worked out of energy: {why}", "Name it, and brief again")
        )
    battery = _battery(given, flight, way, settings)
    if home is None:
        remarks.append(NO_HOME)
        height = _no_height(plan)
        ground = None
    else:
        height = return_height(sortie, home, plan, set_by)
        ground = chart(sortie, home)
        remarks += odd_places(ground, home)
        remarks += check_areas(sortie, home)
    need_pct = required_pct(flight) if flight is not None else 0.0
    limit = battery.threshold if battery is not None else None
    reach = _reach(given, flight, way, battery, need_pct) if home is not None else None
    compared = None
    if seen is not None and settings is not None:
        asked = asking(sortie, file, height, way, flight, limit, need_pct)
        compared = compare(seen, settings, asked, given.baseline)
    remarks += _said(given, plan, way, flight, height, battery, reach, compared)
    return Brief(
        sortie=sortie.sortie or "without a name",
        aircraft=(file.aircraft if file is not None else None) or "without a name",
        made_at=_iso(given.now_s),
        conditions=tuple(_conditions(sortie, plan, set_by)),
        battery=battery,
        height=height,
        reach=reach,
        settings=compared,
        crew=crew_today(file, sortie, settings),
        obstacles=tuple(
            (one.name, one.distance_m, one.bearing_deg, one.height_m, one.radius_m)
            for one in _of(ground).obstacles
        ),
        areas=tuple((one.name, one.kind, tuple(map(_polar, one.corners))) for one in _of(ground).zones),
        places=tuple((one.name, one.distance_m, one.bearing_deg) for one in _of(ground).places),
        remarks=_most_weighty_first(remarks),
        wind=(wind.speed_m_s, wind.from_deg) if (wind := sortie.weather.wind) is not None else None,
    )


def _of_kind(seen: SeenParameters | None, file: AircraftFile | None) -> SeenParameters | None:
    """Return parameters as a multirotor's where the aircraft does not say its kind and the file does."""
    if seen is None or seen.vehicle != dialect.MAV_TYPE_GENERIC or file is None:
        return seen
    return replace(seen, vehicle=None) if file.kind == "multirotor" else seen


def _plan(file: AircraftFile | None, settings: Settings | None) -> tuple[ReturnPlan, str]:
    """Return how it returns, and who knows that."""
    plan = of_file(file if file is not None else AircraftFile())
    if settings is not None:
        of_own = of_settings(settings, plan)
        if settings.return_height_m.value is not None:
            return of_own, "the aircraft's parameters"
        plan = of_own
    if file is not None and file.return_.height_m is not None:
        return plan, "the aircraft file"
    return plan, ""


def _plan_speed(file: AircraftFile, settings: Settings | None) -> float:
    """Return the speed over ground between points of the plan."""
    own = settings.plan_speed_m_s.number if settings is not None else None
    return own or file.return_.speed_m_s or DEFAULT_SPEED_M_S


def _battery(
    given: Given, flight: Today | None, way: Sequence[Point], settings: Settings | None
) -> BatteryToday | None:
    if flight is None:
        return None
    labels = [one.label if isinstance(one, FittedPack) else None for one in given.packs]
    sources = [_source(one) for one in given.packs]
    found = battery_today(flight, way, labels, sources)
    if settings is None or given.file is None:
        return found
    turn_back_s = found.legs[-1].end_s if found.legs else None
    return replace(found, stages=tuple(stages_today(flight, way, settings, given.file, turn_back_s)))


def _source(pack: Packs) -> str:
    if isinstance(pack, FittedPack) and (pack.capacity_doubt is not None or pack.resistance_doubt is not None):
        return "ledger"
    return "aircraft file"


def _reach(
    given: Given, flight: Today | None, way: Sequence[Point], battery: BatteryToday | None, need_pct: float
) -> ReachToday | None:
    sortie, home = given.sortie, given.sortie.home
    if home is None:
        return None
    far = max(way, key=lambda one: one.distance_m, default=None)
    radio = None
    if far is not None:
        radio = radio_at(sortie, home, far.name, far.distance_m, far.bearing_deg, far.height_m)
    flown_s = battery.legs[-1].end_s if battery is not None and battery.legs else 0.0
    dusk = dusk_today(home, start_s=sortie.start, now_s=given.now_s, lands_after_s=flown_s + _home_s(battery))
    if flight is None or battery is None:
        return ReachToday((), REACH_HEIGHT_M, (), (), radio, dusk)
    height_m = max((one.height_m for one in way), default=REACH_HEIGHT_M)
    return ReachToday(
        bearings=contour(flight, height_m, need_pct),
        height_m=height_m,
        points=point_reaches(flight, way, battery.legs, need_pct),
        places=best_places(sortie, home, flight.plan, _left(flight, way, battery)),
        radio=radio,
        dusk=dusk,
    )


def _home_s(battery: BatteryToday | None) -> float:
    """Return the time of the way home from the end of the plan, s."""
    return battery.home_s if battery is not None and battery.home_s is not None else 0.0


def _left(flight: Today, way: Sequence[Point], battery: BatteryToday) -> Callable[[Spot, Landing], float | None]:
    """Return what is left after landing at a place, from the end of the plan's stay at a point."""
    usable_pct = {one.name: 0.0 for one in way}
    for leg in battery.legs:
        for name in usable_pct:
            if leg.name.endswith(f" {name}"):
                usable_pct[name] = leg.usable_pct

    def left(spot: Spot, landing: Landing) -> float | None:
        up_m = max(0.0, spot.height_m - landing.height_m)
        return left_at_pct(flight, usable_pct.get(spot.name, 0.0), landing.distance_m, landing.bearing_deg, up_m)

    return left


def _no_height(plan: ReturnPlan) -> HeightToday:
    return HeightToday(
        required_m=0.0,
        required_by="",
        allowed_m=None,
        allowed_by="",
        set_m=plan.height_m,
        set_by="",
        advised_m=None,
        hold_m=plan.hold_m,
        hold_least_m=0.0,
    )


def _said(
    given: Given,
    plan: ReturnPlan,
    way: Sequence[Point],
    flight: Today | None,
    height: HeightToday,
    battery: BatteryToday | None,
    reach: ReachToday | None,
    compared: SettingsToday | None,
) -> list[Remark]:
    """Return what all parts have to say."""
    found = [
        *load_remarks(given.file, given.sortie),
        *cell_remarks(given.file),
        *weather_remarks(given.file, given.sortie, flight),
        *return_remarks(plan),
    ]
    if battery is not None and flight is not None:
        found += battery_remarks(battery, reach, flight, way)
        found += stage_remarks(battery)
    found += height.remarks
    if reach is not None:
        found += reach.radio.remarks if reach.radio is not None else ()
        found += reach.dusk.remarks if reach.dusk is not None else ()
    no_radio = why_no_radio(given.sortie)
    if no_radio is not None:
        found.append(no_radio)
    if compared is not None:
        found += [*settings_remarks(compared), *compared.remarks]
    else:
        what = "The aircraft's parameters were not given: nothing is compared with today's settings"
        found.append(Remark("caution", "settings", what, "Give them: --parameters FILE or a recording"))
    return found


def _conditions(sortie: SortieFile, plan: ReturnPlan, set_by: str) -> list[tuple[str, str]]:
    weather, load = sortie.weather, sortie.payload
    wind = weather.wind
    gusts = f", gusts {weather.gusts_m_s:g} m/s" if weather.gusts_m_s is not None else ""
    line = f" on a line of {load.line_m:g} m" if load.line_m else ""
    height = "the height it then has" if plan.height_m is None else f"{plan.height_m:g} m"
    hold = "an endless hold" if math.isinf(plan.hold_s) else f"a hold of {plan.hold_s:g} s"
    return [
        ("wind", f"{wind.speed_m_s:g} m/s from {wind.from_deg:03.0f} deg{gusts}" if wind else "no forecast"),
        ("air", f"{weather.temperature_degc:g} degC" if weather.temperature_degc is not None else "not named"),
        ("load", f"{load.mass_kg:g} kg{line}" if load.mass_kg or load.line_m else "none"),
        ("return", f"at {height}, {plan.speed_m_s:g} m/s, {', '.join(plan.order)}, {hold}"),
        ("known from", set_by or "assumed on the costly side: neither file nor parameters say it"),
    ]


def _of(ground: Chart | None) -> Chart:
    return ground if ground is not None else Chart((), (), (), (), ())


def _polar(corner: tuple[float, float]) -> tuple[float, float]:
    north_m, east_m = corner
    return math.hypot(north_m, east_m), bearing_deg(north_m, east_m)


def _most_weighty_first(remarks: Sequence[Remark]) -> tuple[Remark, ...]:
    return tuple(sorted(dict.fromkeys(remarks), key=lambda one: WEIGHTS.index(one.weight)))


def _iso(unix_s: float) -> str:
    return datetime.fromtimestamp(unix_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
