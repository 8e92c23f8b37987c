"""What the watch is told of the aircraft, at three levels.

Full: all that stands in papers, and the crew's own cells: after some flights it has noted at which voltage a cell
rested and what the charger then put back. Packs measured: the same, and beside what the charger put back the crew
has noted what each monitor had counted, and has measured by a slow discharge what each pack holds. Cells and
capacity: nothing else.

In some flights what a crew knows is out of date: its file states the settings that the aircraft once came with.
"""

from __future__ import annotations

import random
from pathlib import Path
from typing import Final, NamedTuple

from simulators.campaign.draw import Drawn
from simulators.flown.flight import FastFlight
from simulators.onboard.modes import Step, order_of
from simulators.onboard.parameters import parameters
from simulators.physics.cell import CELLS

LEVELS: Final = ("full", "packs measured", "cells and capacity")
_SEGMENTS: Final = {
    Step.CLIMB: "climb", Step.CRUISE: "cruise", Step.DESCEND: "descend", Step.HOLD: "hold", Step.LAND: "land",
}  # fmt: skip
_NOTED: Final = (0.85, 0.68, 0.52, 0.38, 0.27)
_ABOUT: Final = 0.05
"""Charges at which flights ended."""
_DEEP: Final = (0.15, 0.07)
_FLIGHTS: Final = 3
_DREW: Final = (0.55, 0.75)
_FLIGHT_H: Final = 0.4
_ENDED: Final = 0.005
"""Of full charge: where a rest and a charger end (common practice)."""
_WITHIN_AH: Final = 0.3
_LEAST: Final = """\
aircraft: drawn
packs: {cells: 12, capacity: 22 Ah}
"""


class CrewFiles(NamedTuple):
    """What a crew gives to the watch: an aircraft file, and a sortie file if it has one."""

    aircraft: Path
    sortie: Path | None = None


class _Noted(NamedTuple):
    """What a crew has measured of its packs, as it stands in its files."""

    charged: str
    deep: str
    counted: str
    capacities: tuple[str, ...]


def _noted(drawn: Drawn) -> _Noted:
    """Return what the crew has noted: a voltmeter is 5 mV off, a charger 1 % (common practice).

    `counted` are the sums of three flights; a capacity is that of a slow discharge by the same charger, which was
    twice let rest near its end (`deep`).
    """
    dice = random.Random(f"charged {drawn.seed} {drawn.number}")
    held_ah = [one.capacity_part * CELLS[one.cell].aged_capacity_ah(one.cycles) for one in drawn.file.packs]
    cell = CELLS[drawn.file.packs[0].cell]
    scale = dice.gauss(1.0, 0.01)

    def point(left: float) -> str:
        volt = cell.open_circuit(left)[0] + dice.gauss(0.0, 0.005)
        return f"{scale * (1.0 - left) * held_ah[0]:.1f} Ah from {volt:.2f} V"

    charged = [point(about + dice.uniform(-_ABOUT, _ABOUT)) for about in _NOTED]
    deep = [point(left) for left in _DEEP]
    counted, capacities = [], []
    for monitor, ah in zip(FastFlight(drawn.file.setup(), drawn.seed).pilot.gauges.monitors, held_ah, strict=True):
        monitor_ah = charger_ah = 0.0
        for _ in range(_FLIGHTS):
            drew_ah = dice.uniform(*_DREW) * ah
            monitor_ah += drew_ah * monitor.errors.scale + monitor.errors.offset_a * _FLIGHT_H
            charger_ah += scale * (drew_ah + dice.gauss(0.0, _ENDED) * ah)
        counted.append(f"{monitor_ah:.1f} Ah of {charger_ah:.1f} Ah")
        capacities.append(f"{scale * (ah + dice.gauss(0.0, _ENDED) * ah):.1f} Ah within {_WITHIN_AH} Ah")
    return _Noted(", ".join(charged), ", ".join(deep), ", ".join(counted), tuple(capacities))


def write(drawn: Drawn, folder: Path) -> dict[str, CrewFiles]:
    """Write the crew's files of a flight; return them by level."""
    cycles, noted = round(drawn.file.packs[0].cycles), _noted(drawn)
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
  charged: [{noted.charged}]
hover_power: 3.7 kW at 30 kg
limits: {{airspeed: 16 m/s, tilt: 30 deg, wind: 12 m/s, gust: 15 m/s, descent: {known["fly.sink_m_s"]:.1f} m/s}}
return:
  height: {known["return.height_m"]:.1f} m
  speed: {known["return.speed_m_s"]:.1f} m/s
  order: [{order}]
  hold: {known["return.hold_s"]:.1f} s at {known["return.hold_m"]:.1f} m
  landing: {known["land.slow_m_s"]:.2f} m/s
"""
    measured = full.replace(noted.charged, f"{noted.charged}, {noted.deep}").replace(
        "\nhover_power:", f"\n  counted: [{noted.counted}]\nhover_power:"
    )
    labels = [f"A{number}" for number in range(1, len(noted.capacities) + 1)]
    packs = [
        f"{one}: {{capacity: {ah}, cycles: {cycles}}}" for one, ah in zip(labels, noted.capacities, strict=True)
    ]
    texts = {
        "full.yaml": full,
        "measured.yaml": measured,
        "least.yaml": _LEAST,
        "packs.yaml": "\n  ".join(["packs:", *packs]),
        "sortie.yaml": f"aircraft: measured.yaml\nledger: packs.yaml\nfitted: [{', '.join(labels)}]\n",
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    files = (
        CrewFiles(folder / "full.yaml"),
        CrewFiles(folder / "measured.yaml", folder / "sortie.yaml"),
        CrewFiles(folder / "least.yaml"),
    )
    return dict(zip(LEVELS, files, strict=True))
