"""What the watch is told of the aircraft, at two levels: all that a crew can know, or cells and capacity only.

All that a crew can know is its cells as well: after some flights it has noted at which voltage a cell rested and
what the charger then put back.

In some flights what a crew knows is out of date: its file states the settings that the aircraft once came with.
"""

from __future__ import annotations

import random
from pathlib import Path
from typing import Final

from simulators.campaign.draw import Drawn
from simulators.onboard.modes import Step, order_of
from simulators.onboard.parameters import parameters
from simulators.physics.cell import CELLS

LEVELS: Final = ("full", "cells and capacity")
_SEGMENTS: Final = {
    Step.CLIMB: "climb", Step.CRUISE: "cruise", Step.DESCEND: "descend", Step.HOLD: "hold", Step.LAND: "land",
}  # fmt: skip
_NOTED: Final = (0.85, 0.68, 0.52, 0.38, 0.27)
_ABOUT: Final = 0.05
"""Charges at which flights ended."""
_LEAST: Final = """\
aircraft: drawn
packs: {cells: 12, capacity: 22 Ah}
"""


def _charged(drawn: Drawn) -> str:
    """Return what the crew has noted of its cells: a voltmeter is 5 mV off, a charger 1 % (common practice)."""
    keys = drawn.file.packs[0]
    cell, dice = CELLS[keys.cell], random.Random(f"charged {drawn.seed} {drawn.number}")
    holds_ah = keys.capacity_part * cell.aged_capacity_ah(keys.cycles)
    scale = dice.gauss(1.0, 0.01)
    noted = []
    for about in _NOTED:
        left = about + dice.uniform(-_ABOUT, _ABOUT)
        volt = cell.open_circuit(left)[0] + dice.gauss(0.0, 0.005)
        noted.append(f"{scale * (1.0 - left) * holds_ah:.1f} Ah from {volt:.2f} V")
    return ", ".join(noted)


def write(drawn: Drawn, folder: Path) -> dict[str, Path]:
    """Write the aircraft files of a flight; return them by level."""
    cycles = round(drawn.file.packs[0].cycles)
    known = parameters({} if drawn.old_file else drawn.file.parameters)
    order = ", ".join(_SEGMENTS[step] for step in order_of(known["return.order"]) if step in _SEGMENTS)
    full = f"""\
aircraft: drawn
system: {drawn.file.system}
kind: multirotor
rotors: {{count: 6, diameter: 0.76 m}}
mass: {{empty: 18 kg, maximum: 35 kg}}
packs:
  chemistry: lipo
  cells: 12
  capacity: 22 Ah
  count: 2
  topology: parallel
  resistance: 15 mohm
  cell_floor: 3.3 V
  age: {cycles} cycles
  monitors: {{0: pack 1, 1: pack 2}}
  charged: [{_charged(drawn)}]
hover_power: 3.7 kW at 30 kg
limits: {{airspeed: 16 m/s, tilt: 30 deg, wind: 12 m/s, gust: 15 m/s, descent: {known["fly.sink_m_s"]:.1f} m/s}}
return:
  height: {known["return.height_m"]:.1f} m
  speed: {known["return.speed_m_s"]:.1f} m/s
  order: [{order}]
  hold: {known["return.hold_s"]:.1f} s at {known["return.hold_m"]:.1f} m
  landing: {known["land.slow_m_s"]:.2f} m/s
"""
    found: dict[str, Path] = {}
    for level, text, name in zip(LEVELS, (full, _LEAST), ("full", "least"), strict=True):
        found[level] = folder / f"{name}.yaml"
        found[level].write_text(text, encoding="utf-8")
    return found
