"""One aircraft's log to its flights, as plain values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.geodesy import Around as Plane
from watchkeeper.alerts.events import Level
from watchkeeper.debrief.collect import AircraftLog
from watchkeeper.debrief.findings import Crossing, Entry, Fix, Flight, Forecast, WayHome
from watchkeeper.debrief.flightlog import FlightLog
from watchkeeper.debrief.thresholds import Threshold, Watcher
from watchkeeper.debrief.timeline import TURN_BACK

NEAR_HOME_M: Final = 15.0
_UNTOLD: Final = {
    "gauge": "the aircraft told no gauge",
    "cell_voltage": "the cell voltage was not known",
    "voltage": "the voltage was not told",
    "compensated_voltage": "voltage, current or the resistance it reckons with was not told",
    "charge_used": "the charge used was not told",
    "charge_left": "the charge used, or the capacity it reckons with, was not told",
}


def flights_of(log: AircraftLog, timeline: Sequence[Entry]) -> tuple[Flight, ...]:
    """Return the flights of an aircraft; `timeline` holds the alerts of all."""
    own = [one for one in timeline if one.aircraft == log.system and not one.silent]
    return tuple(_flight(k, flight, own) for k, flight in enumerate(log.flights, 1))


def _flight(number: int, log: FlightLog, own: Sequence[Entry]) -> Flight:
    calls = [one for one in own if one.rule in TURN_BACK and log.begins_s <= one.at_s <= log.ends_s]
    first = calls[0] if calls else None
    wind = log.wind
    speed = math.hypot(*wind) if wind is not None else None
    blows = math.degrees(math.atan2(wind[1], wind[0])) % 360.0 if wind is not None and speed else None
    used_ah = log.ah_end - log.ah_begin if log.ah_end is not None and log.ah_begin is not None else None
    return Flight(
        number,
        log.begins_s,
        log.ends_s,
        log.begins,
        log.ends,
        log.cut_in,
        _ending(log),
        log.landed or log.disarmed,
        log.way_m,
        log.farthest_m,
        log.highest_m,
        speed,
        None if blows is None else (blows + 180.0) % 360.0,
        log.gust_m_s,
        log.used_wh if log.measured else None,
        used_ah,
        log.left_pct,
        log.left_gauge_pct,
        log.left_cell_v,
        log.lowest_cell_v,
        log.from_home_m,
        log.home,
        _track(log),
        _ways_home(log),
        tuple(_crossing(one, log, first) for one in log.watchers.values()),
        first.at_s if first is not None else None,
        first.words if first is not None else "",
        log.call,
        "" if log.returned else log.why or "the readings that it takes were never complete",
        log.unmeasured_s,
    )


def _ending(log: FlightLog) -> str:
    where = ""
    if log.from_home_m is not None:
        where = " at home" if log.from_home_m < NEAR_HOME_M else f" {log.from_home_m:.0f} m from home"
    if log.landed:
        return f"landed{where}"
    if log.disarmed:
        return f"motors disarmed{where}"
    return "the recording holds no landing: it was in flight when last heard"


def _track(log: FlightLog) -> tuple[Fix, ...]:
    places = log.track.places
    origin = log.home or ((places[0][1], places[0][2]) if places else None)
    if origin is None:
        return ()
    plane = Plane(*origin)
    return tuple(Fix(at_s, *plane.flat(lat, lon), height) for at_s, lat, lon, height in places)


def _ways_home(log: FlightLog) -> tuple[WayHome, ...]:
    found: list[WayHome] = []
    begun = [(turn, "return") for turn in log.turns[-1:]]
    if not begun and log.farthest is not None:
        begun = [(log.farthest, "farthest")]
    for forecast, kind in begun:
        over = log.landed or log.disarmed
        found.append(
            WayHome(
                "return" if kind == "return" else "farthest",
                forecast,
                log.used_wh - forecast.used_wh if over and log.measured else None,
                log.ends_s - forecast.at_s if over else None,
                log.left_pct if over else None,
            )
        )
    return tuple(found)


def _crossing(watcher: Watcher, log: FlightLog, call: Entry | None) -> Crossing:
    one: Threshold = watcher.threshold
    then: Forecast | None = watcher.then
    over = log.landed or log.disarmed
    return Crossing(
        one.name,
        one.words,
        one.does,
        one.source,
        watcher.at_s,
        then.clock if then is not None else None,
        watcher.held_s if watcher.at_s is not None else None,
        then,
        watcher.at_s - call.at_s if call is not None and watcher.at_s is not None else None,
        log.used_wh - then.used_wh if then is not None and over and log.measured else None,
        "" if watcher.seen else _UNTOLD[one.quantity],
    )


def weighty(entry: Entry) -> bool:
    """Whether an alert has its number in plots and plan: cautions and warnings that were to be spoken."""
    return entry.level.urgency >= Level.CAUTION.urgency and not entry.silent
