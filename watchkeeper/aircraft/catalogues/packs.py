"""Batteries: of one pack (and of the worst), and of all together."""

from __future__ import annotations

from typing import Any

from watchkeeper.aircraft.readingtypes import CELL_SOURCES
from watchkeeper.aircraft.readingtypes import ReadingType as R
from watchkeeper.aircraft.smartbattery import FAULT_WORDS, STATES

WEAK_CAUSES = ("unknown", "resistance", "charge", "wire")
"""Why a cell lies under the others: shows with current, without it, or the cell beside lies as much over."""


def _found(name: str, unit: str, meaning: str, **more: Any) -> R:
    return R(f"battery.{name}", unit, meaning, more.pop("sources", "estimate"), 10, 60, estimate=True, **more)


def _which(name: str, what: str) -> R:
    return _found(name, "count", f"the pack {what}")


_BATTERY = "BATTERY_STATUS, else SYS_STATUS"

PACK: tuple[R, ...] = (
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
"""Of one pack by number, and of the worst."""

ALL_PACKS: tuple[R, ...] = (
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
    _found("cell_under", "V", "lowest cell under the middle of its pack's others, in the pack where it is most"),
    _found("lowest_cell", "V", "lowest cell of that pack", sources="BATTERY_STATUS"),
    _found("weak_cell", "count", "number of that cell, from 1"),
    _which("weak_pack", "that it is in"),
    _found("weak_cause", "", "what makes it lie under the others", words=WEAK_CAUSES),
    _found("tap_wrong", "", "a cell's voltage is that of a broken wire of the balance lead", boolean=True),
    _which("tap_pack", "of that wire"),
    _found("coldest", "degC", "temperature of the coldest pack", sources="BATTERY_STATUS"),
    _found("heating", "degC/min", "rise of temperature beyond twice what current and resistance explain"),
    _which("heating_pack", "in which it is most"),
    _found("resistance_over", "%", "resistance over what file, age and temperature let expect, less its doubt"),
    _which("resistance_pack", "in which it is most"),
    _found("opens", "count", "openings of one pack's connection within the last minute"),
    _which("opens_pack", "whose connection that is"),
    _found("frozen", "", "a monitor repeats itself to the last digit under load", boolean=True),
    _which("frozen_pack", "of that monitor"),
    _found(
        "fall_unexplained",
        "V",
        "fall of a cell's voltage within 40 s that neither current nor doubt explains",
    ),
    _which("fall_pack", "in which it is most"),
    _found("idle_pack", "count", "the pack that never was on the bus in this flight: no current, its own voltage"),
    _found("current_untold", "", "in flight a pack with a voltage tells no current", boolean=True),
    _found("state", "", "what a battery says of its charge, the gravest", sources="BATTERY_STATUS", words=STATES),
    _found("fault", "", "the gravest fault that a battery reports", sources="BATTERY_STATUS", words=FAULT_WORDS),
    _which("state_pack", "of that state or fault"),
    _found("health", "%", "capacity full of what it was new, of the most worn", sources="SMART_BATTERY_INFO"),
    _found("cycles", "cycles", "charge cycles, of the most used", sources="SMART_BATTERY_INFO"),
)
