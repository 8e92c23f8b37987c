"""The one catalogue of readings: name, unit, meaning, sources, maximum age.

A reading's maximum age is `max_age_s`, stretched to four times the interval at which its messages really
come (a slow radio sends less often), but never beyond `age_bound_s`. A held reading keeps its last value for
as long as the aircraft is known. A running reading is a function of time: `rate` (per second) is added to its
stored value as time goes by, so that countdowns run between estimates.
"""

from __future__ import annotations

from dataclasses import replace

from watchkeeper.aircraft.catalogues.airframe import AIRFRAME
from watchkeeper.aircraft.catalogues.conduct import CONDUCT
from watchkeeper.aircraft.catalogues.home import HOMEWARD
from watchkeeper.aircraft.catalogues.link import LINK
from watchkeeper.aircraft.catalogues.packs import ALL_PACKS, PACK
from watchkeeper.aircraft.catalogues.position import POSITION
from watchkeeper.aircraft.catalogues.readiness import READINESS
from watchkeeper.aircraft.catalogues.surroundings import SURROUNDINGS
from watchkeeper.aircraft.catalogues.traffic import TRAFFIC
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

_AIRCRAFT: tuple[ReadingType, ...] = (
    *CONDUCT,
    *POSITION,
    *ALL_PACKS,
    *HOMEWARD,
    *SURROUNDINGS,
    *LINK,
    *AIRFRAME,
    *TRAFFIC,
    *READINESS,
)


def _one_pack(reading: ReadingType, number: int) -> ReadingType:
    name = reading.name.replace("battery.", f"battery.{number}.", 1)
    return replace(reading, name=name, meaning=f"{reading.meaning} (pack {number})")


_OVER_ALL = dict.fromkeys(("battery.current", "battery.power", "battery.consumed"), "all flight packs together")

CATALOGUE: tuple[ReadingType, ...] = (
    *_AIRCRAFT,
    *(replace(r, meaning=f"{r.meaning} ({_OVER_ALL.get(r.name, 'the worst pack')})") for r in PACK),
    *(_one_pack(r, number) for number in range(1, MAX_PACKS + 1) for r in PACK),
)
INDEX: dict[str, int] = {reading.name: position for position, reading in enumerate(CATALOGUE)}
PACK_NAMES: tuple[str, ...] = tuple(r.name.removeprefix("battery.") for r in PACK)


def pack_index(number: int, name: str) -> int:
    """Return the index of e.g. (1, "voltage") -> battery.1.voltage; packs count from 1."""
    return INDEX[f"battery.{number}.{name}"]
