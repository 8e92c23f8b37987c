"""What the aircraft's own battery monitors measure of the packs: which current, which voltage, which resistance.

By the aircraft file's `packs.monitors`. Without them the first battery is taken to measure all packs together.
"""

from __future__ import annotations

import math

from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.brief.day import Today
from watchkeeper.brief.timeline import Moment, bus_v


def measured(file: AircraftFile | None, today: Today) -> dict[int, tuple[int, ...]]:
    """Return by MAVLink's battery id which packs (from 0) a monitor measures, the first battery first."""
    every = tuple(range(len(today.packs)))
    found: dict[int, tuple[int, ...]] = {}
    for battery, what in sorted(file.packs.monitors.items()) if file is not None else ():
        if what == "sum":
            found[battery] = every
        elif isinstance(what, int) and what - 1 in every:
            found[battery] = (what - 1,)
    return found or {0: every}


def measured_v(today: Today, one: Moment, packs: tuple[int, ...]) -> float:
    """Return the voltage that a monitor of these packs measures: the bus's, or of packs in series its own part."""
    if not today.series or len(packs) == len(today.packs):
        return one.volt_v
    return bus_v(today, one.charges, one.power_w, packs)


def measured_a(today: Today, one: Moment, packs: tuple[int, ...]) -> float:
    """Return the current that a monitor of these packs measures, A: in series that of the bus."""
    if one.volt_v <= 0.0:
        return 0.0
    share = 1.0 if today.series else math.fsum(today.supplies[i].share for i in packs)
    return one.power_w * share / one.volt_v


def measured_ah(today: Today, one: Moment, packs: tuple[int, ...]) -> float:
    """Return what a monitor of these packs has counted, Ah."""
    return today.whole_ah([one.used_ah[i] for i in packs])


def measured_ohm(today: Today, packs: tuple[int, ...]) -> float:
    """Return the resistance of these packs together, ohm."""
    ohms = [today.supplies[i].state.cell_ohm * today.supplies[i].state.cells for i in packs]
    return math.fsum(ohms) if today.series else 1.0 / math.fsum(1.0 / one for one in ohms)
