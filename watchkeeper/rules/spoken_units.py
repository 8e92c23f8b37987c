"""What a rule says, in the units that the crew has chosen: the number is converted and the unit's name with it.

Packs are written in metres and metres per second. A number is converted where its reading is a height or a speed
and the unit's name follows it. Distances over the ground stay in metres, as in ICAO Annex 5, where feet are for
heights only. Factors are those of the closed table (`units.UNITS`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final, TypeAlias

from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.rules.template import Speak, Template, spoken
from watchkeeper.units import UNITS

METRIC: Final = CrewUnits()
HEIGHTS: Final = frozenset(
    {
        "ceiling.left", "forecast.height", "position.height", "return.least_height", "return.over_ceiling",
        "separation.closest_height", "traffic.closest_height", "traffic.height",
    }
)  # fmt: skip
UnitNames: TypeAlias = Mapping[str, tuple[str, ...]]
"""How units are spoken, by symbol: their forms, of all units in the same order."""
NAMES: Final[UnitNames] = {
    "m": ("metres", "metres"),
    "ft": ("feet", "feet"),
    "m/s": ("metres per second", "metres a second"),
    "km/h": ("kilometres per hour", "kilometres per hour"),
    "kt": ("knots", "knots"),
}
"""In English."""


def in_units(
    template: Template,
    read: Callable[[int], Any],
    units: CrewUnits,
    *,
    speak: Speak = spoken,
    names: UnitNames = NAMES,
) -> str:
    """Return the words of a template with the readings that `read` gives, in the crew's units.

    `speak` says a value, and `names` are those of the units, both in the language of the template.
    """
    if units == METRIC:
        return template.render(read, speak)
    said: list[str] = []
    parts = [*template.parts]
    for at, part in enumerate(parts):
        if isinstance(part, str):
            said.append(part)
            continue
        value = read(part[0])
        unit = chosen(part[0], units)
        after = parts[at + 1] if at + 1 < len(parts) else ""
        if unit is not None and isinstance(after, str):
            renamed = _renamed(after, names[CATALOGUE[part[0]].unit.symbol], names[unit])
            if renamed is not None:
                parts[at + 1] = renamed
                if isinstance(value, float | int) and not isinstance(value, bool):
                    value = value / UNITS[unit].factor
        said.append(speak(part[0], value, part[1]))
    return "".join(said)


def _renamed(after: str, written: tuple[str, ...], chosen_names: tuple[str, ...]) -> str | None:
    """Return what follows a number with the unit's name at its beginning changed; None where there is none."""
    for name, other in zip(written, chosen_names, strict=True):
        if after.startswith(f" {name}") and not after[len(name) + 1 : len(name) + 2].isalpha():
            return f" {other}{after[len(name) + 1 :]}"
    return None


def chosen(index: int, units: CrewUnits) -> str | None:
    """Return the symbol in which a reading is to be spoken; None where the crew has no choice."""
    reading = CATALOGUE[index]
    if reading.unit.symbol == "m/s":
        return units.speed
    return units.height if reading.name in HEIGHTS else None
