"""What the watch is told of the aircraft, at two levels: all that a crew can know, or cells and capacity only."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from simulators.campaign.draw import Drawn

LEVELS: Final = ("full", "cells and capacity")
_LEAST: Final = """\
aircraft: drawn
packs: {cells: 12, capacity: 22 Ah}
"""


def write(drawn: Drawn, folder: Path) -> dict[str, Path]:
    """Write the aircraft files of a flight; return them by level."""
    cycles = round(drawn.file.packs[0].cycles)
    height = drawn.file.parameters["return.height_m"]
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
hover_power: 3.7 kW at 30 kg
limits: {{airspeed: 16 m/s, tilt: 30 deg, wind: 12 m/s, gust: 15 m/s, descent: 2 m/s}}
return:
  height: {height:g} m
  speed: 8 m/s
  order: [climb, cruise, descend, hold, land]
  hold: 10 s at 8 m
  landing: 0.7 m/s
"""
    found: dict[str, Path] = {}
    for level, text, name in zip(LEVELS, (full, _LEAST), ("full", "least"), strict=True):
        found[level] = folder / f"{name}.yaml"
        found[level].write_text(text, encoding="utf-8")
    return found
