"""The one catalogue of readings: name, unit, meaning, sources, maximum age.

A reading's maximum age is `max_age_s`, stretched to four times the interval at which its messages really
come (a slow radio sends less often), but never beyond `age_bound_s`. A held reading keeps its last value for
as long as the aircraft is known. A running reading is a function of time: `rate` (per second) is added to its
stored value as time goes by, so that countdowns run between estimates.
"""

from __future__ import annotations

from dataclasses import replace

from watchkeeper.aircraft.catalogue_home import HOMEWARD
from watchkeeper.aircraft.readingtypes import (
    ACTIONS,
    CELL_SOURCES,
    FIXES,
    HOME_SOURCES,
    MAX_PACKS,
    MODES,
    PHASE_GROUPS,
    PHASES,
    ReadingType,
)

__all__ = (
    "ACTIONS", "CATALOGUE", "CELL_SOURCES", "FIXES", "HOME_SOURCES", "INDEX", "MAX_PACKS", "MODES", "PACK_NAMES",
    "PHASES", "PHASE_GROUPS", "ReadingType", "pack_index",
)  # fmt: skip

R = ReadingType
_BATTERY = "BATTERY_STATUS, else SYS_STATUS"
_POSITION = "GLOBAL_POSITION_INT, HIGH_LATENCY2"

_PACK: tuple[ReadingType, ...] = (
    R("battery.voltage", "V", "voltage at the pack's terminals", _BATTERY, 5, 30),
    R("battery.cell_voltage", "V", "pack voltage over the number of cells", _BATTERY, 5, 30),
    R("battery.current", "A", "current out of the pack", _BATTERY, 5, 30),
    R("battery.power", "W", "voltage times current", _BATTERY, 5, 30),
    R("battery.gauge_left", "%", "charge left as the aircraft's gauge reports it", _BATTERY, 5, 30),
    R("battery.consumed", "Ah", "charge used as the aircraft counts it", "BATTERY_STATUS", 5, 30),
    R("battery.charge_left", "%", "charge left as the watch works it out", "estimate", 5, 30, estimate=True),
    R(
        "battery.rest_cell_voltage",
        "V",
        "cell voltage with the load's drop taken out",
        "estimate",
        5,
        30,
        estimate=True,
    ),
    R(
        "battery.resistance",
        "ohm",
        "resistance of the whole pack, learned in flight",
        "estimate",
        5,
        60,
        estimate=True,
    ),
    R(
        "battery.sag",
        "V",
        "cell voltage below what charge, current and resistance explain",
        "estimate",
        5,
        30,
        estimate=True,
    ),
    R("battery.imbalance", "V", "highest less lowest cell voltage", "BATTERY_STATUS", 5, 30),
    R("battery.temperature", "degC", "temperature of the pack", "BATTERY_STATUS", 10, 60),
    R(
        "battery.time_left",
        "s",
        "time until the charge is used up at the present power",
        "estimate",
        5,
        30,
        rate=-1.0,
        estimate=True,
    ),
)

_AIRCRAFT: tuple[ReadingType, ...] = (
    R(
        "flight.phase",
        "",
        "what part of a flight the aircraft is in",
        "landed state, else inferred",
        words=PHASES,
        held=True,
    ),
    R(
        "flight.mode",
        "",
        "mode, in MAVLink's standard modes where they fit",
        "CURRENT_MODE, else HEARTBEAT",
        words=MODES,
        held=True,
    ),
    R("flight.armed", "", "motors armed", "HEARTBEAT", boolean=True, held=True),
    R(
        "flight.restarted",
        "",
        "powered up anew in flight, until a landing is seen",
        "time_boot_ms of the messages, height",
        boolean=True,
        held=True,
    ),
    R(
        "flight.disarmed_in_air",
        "",
        "disarmed in the air, until armed again or a landing is seen",
        "HEARTBEAT, height",
        boolean=True,
        held=True,
    ),
    R("position.home_distance", "m", "horizontal distance from home", _POSITION),
    R("position.home_bearing", "deg", "bearing from home to the aircraft", _POSITION),
    R(
        "position.home_source",
        "",
        "where home is known from",
        "HOME_POSITION, arming, sortie file",
        words=HOME_SOURCES,
        held=True,
    ),
    R("position.height", "m", "height above home", "GLOBAL_POSITION_INT, VFR_HUD, HIGH_LATENCY2"),
    R("position.ground_speed", "m/s", "speed over ground", "GLOBAL_POSITION_INT, VFR_HUD, HIGH_LATENCY2"),
    R("position.climb_rate", "m/s", "upward speed", "VFR_HUD, GLOBAL_POSITION_INT, HIGH_LATENCY2"),
    R(
        "battery.cells",
        "count",
        "cells in series of a pack",
        "aircraft file, reported, inferred at rest",
        held=True,
    ),
    R(
        "battery.cells_source",
        "",
        "where the number of cells is known from",
        "aircraft file, reported, inferred at rest",
        words=CELL_SOURCES,
        held=True,
    ),
    R("battery.packs_out", "count", "packs that carried and now give nothing", "estimate", 5, 30, estimate=True),
    *HOMEWARD,
    R(
        "battery.gauge_off",
        "%",
        "by how much a gauge shows more than the charge, beyond two standard deviations",
        "estimate",
        5,
        30,
        estimate=True,
    ),
    R(
        "battery.current_wrong",
        "",
        "the current told makes a power with which the aircraft of the file cannot hover",
        "estimate",
        5,
        30,
        boolean=True,
        estimate=True,
    ),
    R(
        "battery.share_spread",
        "%",
        "highest less lowest current of the packs, by their mean",
        "estimate",
        5,
        30,
        estimate=True,
    ),
    R("battery.charge_spread", "%", "highest less lowest charge of the packs", "estimate", 5, 30, estimate=True),
    R(
        "battery.temperature_spread",
        "degC",
        "highest less lowest temperature of the packs",
        "BATTERY_STATUS",
        10,
        60,
        estimate=True,
    ),
    R("wind.speed", "m/s", "speed of the mean wind", "WIND, WIND_COV, else estimate, else sortie file", 10, 60),
    R("wind.from", "deg", "where the wind comes from", "WIND, WIND_COV, else estimate, else sortie file", 10, 60),
    R("wind.doubt", "m/s", "standard deviation of the mean wind", "estimate", 10, 60, estimate=True),
    R("wind.gust", "m/s", "highest 3 s mean wind of the last 10 min", "estimate", 10, 60, estimate=True),
    R(
        "link.age",
        "s",
        "time since the aircraft was last heard",
        "any frame of its autopilot",
        held=True,
        rate=1.0,
    ),
    R(
        "link.interval",
        "s",
        "how often the aircraft makes itself known",
        "HEARTBEAT, HIGH_LATENCY2 on slow links",
        held=True,
    ),
    R("link.lag", "s", "how late telemetry arrives, over its best", "time_boot_ms of the messages", 5, 15),
    R("link.loss", "%", "frames lost over the last 10 s", "sequence numbers", 5, 30, estimate=True),
    R("link.margin", "dB", "signal over noise, the weaker end", "RADIO_STATUS, RADIO", 5, 20),
    R(
        "link.margin_trend",
        "dB/min",
        "robust slope of the margin over the last minute",
        "estimate",
        5,
        20,
        estimate=True,
    ),
    R(
        "link.fades_in",
        "s",
        "time until the margin is used up at this trend",
        "estimate",
        5,
        20,
        rate=-1.0,
        estimate=True,
    ),
    R("satellites.used", "count", "satellites used in the solution", "GPS_RAW_INT"),
    R("satellites.hdop", "", "horizontal dilution of precision", "GPS_RAW_INT"),
    R("satellites.fix", "", "kind of position fix", "GPS_RAW_INT", words=FIXES),
    R("satellites.drop", "%", "fall of the satellite count within 10 s", "estimate", estimate=True),
    R(
        "time.to_dusk",
        "s",
        "time until the end of civil twilight",
        "position and clock",
        120,
        600,
        rate=-1.0,
        estimate=True,
    ),
)


def _one_pack(reading: ReadingType, number: int) -> ReadingType:
    name = reading.name.replace("battery.", f"battery.{number}.", 1)
    return replace(reading, name=name, meaning=f"{reading.meaning} (pack {number})")


_OVER_ALL = dict.fromkeys(("battery.current", "battery.power", "battery.consumed"), "all flight packs together")

CATALOGUE: tuple[ReadingType, ...] = (
    *_AIRCRAFT,
    *(replace(r, meaning=f"{r.meaning} ({_OVER_ALL.get(r.name, 'the worst pack')})") for r in _PACK),
    *(_one_pack(r, number) for number in range(1, MAX_PACKS + 1) for r in _PACK),
)
INDEX: dict[str, int] = {reading.name: position for position, reading in enumerate(CATALOGUE)}
PACK_NAMES: tuple[str, ...] = tuple(r.name.removeprefix("battery.") for r in _PACK)


def pack_index(number: int, name: str) -> int:
    """Return the index of e.g. (1, "voltage") -> battery.1.voltage; packs count from 1."""
    return INDEX[f"battery.{number}.{name}"]
