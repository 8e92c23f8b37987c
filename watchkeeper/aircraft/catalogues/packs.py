"""Batteries: of one pack (and of the worst), and of all together."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import CELL_SOURCES
from watchkeeper.aircraft.readingtypes import ReadingType as R

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
)
