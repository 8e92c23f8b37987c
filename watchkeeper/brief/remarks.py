"""What speaks against flying today's plan as it stands, of load, weather, energy and settings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.brief.battery import plan_parts
from watchkeeper.brief.day import Today
from watchkeeper.brief.findings import NOT_HOME_PCT, BatteryToday, ReachToday, Remark, SettingsToday
from watchkeeper.brief.route import Point
from watchkeeper.brief.stages import COMES_HOME
from watchkeeper.estimate.home.forecast import BOUND
from watchkeeper.estimate.home.homeway import leaning_less
from watchkeeper.estimate.home.returnplan import ReturnPlan

USUAL_LATE_PCT: Final = 1.0
_DOWN: Final = frozenset({"land", "stop_motors"})


def load_remarks(file: AircraftFile | None, sortie: SortieFile) -> list[Remark]:
    """Return what is to be said of the mass at take-off."""
    if file is None or file.mass.empty_kg is None or file.mass.maximum_kg is None:
        return []
    kg = file.mass.empty_kg + sortie.payload.mass_kg
    over_kg = kg - file.mass.maximum_kg
    if over_kg <= 0.0:
        return []
    what = f"At {kg:.1f} kg it is {over_kg:.1f} kg over its greatest mass of {file.mass.maximum_kg:g} kg"
    return [Remark("warning", "load", what, f"Take at least {over_kg:.1f} kg off")]


def cell_remarks(file: AircraftFile | None) -> list[Remark]:
    """Return what is to be said of cells whose voltage tells too little."""
    if file is None or file.packs.chemistry != "liion" or file.packs.charged:
        return []
    what = "Lithium ion cells differ much: half-used packs may hold a fifth of their charge less than is told"
    return [Remark("caution", "packs", what, "Take off with full packs, or note 'charged' in the aircraft file")]


def weather_remarks(file: AircraftFile | None, sortie: SortieFile, flight: Today | None) -> list[Remark]:
    """Return what is to be said of wind, gusts and temperature."""
    weather = sortie.weather
    found: list[Remark] = []
    if weather.wind is None:
        what = "No wind is named: a fresh breeze from any side is allowed for"
        found.append(Remark("caution", "wind", what, "Name weather: {wind: … m/s from … deg, gusts: … m/s}"))
    if weather.temperature_degc is None:
        what = "No temperature is named: packs are reckoned with as at 25 degrees"
        found.append(Remark("caution", "temperature", what, "Name weather: {temperature: … degC}"))
    if file is None:
        return found
    most_m_s, gust_m_s = file.limits.wind_m_s, file.limits.gust_m_s
    if weather.wind is not None and most_m_s is not None and weather.wind.speed_m_s > most_m_s:
        what = f"The wind of {weather.wind.speed_m_s:g} m/s is over the aircraft's {most_m_s:g} m/s"
        found.append(Remark("warning", "wind", what, "Wait"))
    if weather.gusts_m_s is not None and gust_m_s is not None and weather.gusts_m_s > gust_m_s:
        what = f"Gusts of {weather.gusts_m_s:g} m/s are over the aircraft's {gust_m_s:g} m/s"
        found.append(Remark("warning", "wind", what, "Wait"))
    makes_m_s = leaning_less(flight.plan, BOUND).airspeed_m_s if flight is not None else math.inf
    if weather.wind is not None and weather.wind.speed_m_s > makes_m_s:
        what = f"It makes no way against {weather.wind.speed_m_s:g} m/s: {makes_m_s:.0f} m/s is all"
        found.append(Remark("warning", "wind", what, "Wait"))
    return found


def return_remarks(plan: ReturnPlan) -> list[Remark]:
    """Return what is to be said of a return that does not end on the ground."""
    if plan.lands:
        return []
    what = "Its return ends with an endless hold" if "land" in plan.order else "Its return does not land"
    do = "Land it by hand, or set it to land; energy is reckoned with a landing after the usual hold"
    return [Remark("warning", "return", f"{what}: left alone it stays over home until the packs are empty", do)]


def battery_remarks(
    battery: BatteryToday, reach: ReachToday | None, flight: Today, way: Sequence[Point]
) -> list[Remark]:
    """Return what is to be said of the plan's energy."""
    found: list[Remark] = []
    if plan_parts(flight, way) is None:
        what = "The wind leaves no way along the plan: it does not get to every point"
        found.append(Remark("warning", "wind", what, "Wait, or plan another way"))
    last = battery.legs[-1] if battery.legs else None
    if last is not None and (last.home_low_pct is None or last.home_low_pct < battery.required_pct):
        if last.home_low_pct is None:
            left = "home is out of reach in this wind"
        elif last.home_low_pct <= NOT_HOME_PCT:
            left = "home may be out of reach"
        else:
            least_pct = max(0.0, last.home_low_pct)
            left = f"it may land with {least_pct:.0f} %, and {battery.required_pct:.0f} % are to be left"
        what = f"Flown to the end of the plan {left}"
        found.append(Remark("warning", "energy", what, "Shorten the plan, or take less along"))
    if battery.legs and battery.threshold is None:
        what = "From the farthest point even full packs do not bring it home with the reserve"
        found.append(Remark("warning", "energy", what, "Plan nearer, or take less along"))
    for point in reach.points if reach is not None else ():
        if not point.inside:
            what = f"{point.name} lies {point.distance_m - point.reach_m:.0f} m beyond the reach in its bearing"
            found.append(
                Remark("warning", "reach", what[:1].upper() + what[1:], "Plan nearer, or take less along")
            )
    return found + _sag_remarks(battery, _floor_v(flight))


def _floor_v(flight: Today) -> float:
    """Return the bus voltage at which a cell is at its floor, V."""
    floors_v = [one.floor_v * one.state.cells for one in flight.supplies]
    return math.fsum(floors_v) if flight.series else max(floors_v)


def _sag_remarks(battery: BatteryToday, floor_v: float) -> list[Remark]:
    found: list[Remark] = []
    limit = battery.threshold
    for one in battery.deepest:
        out = one.case == "one pack out"
        flying = "With one pack out" if out else f"Flying {one.case}"
        would = "would show" if out else "shows"
        if one.volt_v < floor_v:
            seen = f"{one.volt_v:.1f} V, under the {floor_v:.1f} V of the cells' floor" if one.volt_v > 0.0 else (
                "no voltage at all: the power cannot be held"
            )  # fmt: skip
            what = f"{flying} the bus {would} {seen} ({one.leg})"
            do = "Know that then it must come down at once" if out else "Warm the packs, or take less along"
            found.append(Remark("caution" if out else "warning", "sag", what, do))
        elif limit is not None and not one.stays_above:
            shown = f"{one.volt_v:.1f} V, under the threshold of {limit.volt_v:.1f} V as measured"
            if out:
                what = f"{flying} the bus {would} {shown}: it then acts at once"
                found.append(Remark("advisory", "threshold", what, "That is as it should be: turn back then"))
            else:
                what = f"{flying} the bus {would} {shown} ({one.leg}), before the way home has to begin"
                do = "Set the threshold compensated, by percent or by charge used"
                found.append(Remark("caution", "threshold", what, do))
    return found


def stage_remarks(battery: BatteryToday) -> list[Remark]:
    """Return what is to be said of the aircraft's own low-battery stages."""
    stages = battery.stages
    if not stages:
        return []
    found: list[Remark] = []
    for one in stages:
        if one.before_turn_back:
            what = (
                f"Its own stage {one.name} ({one.threshold}: {one.action}) acts on {one.leg}, before you turn back"
            )
            found.append(Remark("caution", "low battery", what, "Set it as below, or shorten the plan"))
    active = [one for one in stages if not one.note and one.action in COMES_HOME | _DOWN]
    if active and active[0].action in _DOWN:
        first = active[0]
        stage = f"{first.name} ({first.threshold}: {first.action})"
        what = f"Left alone at the farthest point, its stage {stage} acts first: it comes down where it is"
        found.append(Remark("warning", "low battery", what, "Set it as below"))
        return found
    homes = [one for one in stages if one.action in COMES_HOME and one.lands_with_pct is not None]
    if not homes:
        what = "Left alone at the farthest point, no stage of its own that is understood brings it home"
        found.append(Remark("warning", "low battery", what, "Set one as below"))
    elif (left := homes[0].lands_with_pct or 0.0) < battery.required_pct - USUAL_LATE_PCT:
        what = (
            f"Left alone at the farthest point, its own action ({homes[0].threshold}) lands it with {left:.0f} %"
        )
        found.append(
            Remark("warning", "low battery", what, f"Set it as below: {battery.required_pct:.0f} % are asked for")
        )
    return found


def settings_remarks(compared: SettingsToday) -> list[Remark]:
    """Return the settings with which it must not fly."""
    return [
        Remark(
            "warning",
            f"setting {row.name}",
            f"Has {row.has}, today asks {row.asked}",
            f"Set {'; '.join(row.changes)}" if row.changes else row.why,
        )
        for row in compared.rows
        if row.verdict == "differs" and row.weight == "warning"
    ]
