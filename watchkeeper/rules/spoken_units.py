"""What a rule says, in the units that the crew has chosen: the number is converted and the unit's name with it.

Packs are written in metres and metres per second. A number is converted where its reading is a height or a speed
and the unit's name follows it. Distances over the ground stay in metres, as in ICAO Annex 5, where feet are for
heights only. Factors are those of the closed table (`units.UNITS`).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.rules.template import Template, spoken
from watchkeeper.units import UNITS

METRIC: Final = CrewUnits()
HEIGHTS: Final = frozenset(
    {
        "ceiling.left", "forecast.height", "position.height", "return.least_height", "return.over_ceiling",
        "separation.closest_height", "traffic.closest_height", "traffic.height",
    }
)  # fmt: skip
WRITTEN: Final = {"m": ("metres",), "m/s": ("metres per second", "metres a second")}
"""How packs name the unit of a reading."""
NAMES: Final = {
    "m": "metres",
    "ft": "feet",
    "m/s": "metres per second",
    "km/h": "kilometres per hour",
    "kt": "knots",
}
"""How a chosen unit is spoken."""


def in_units(template: Template, read: Callable[[int], Any], units: CrewUnits) -> str:
    """Return the words of a template with the readings that `read` gives, in the crew's units."""
    if units == METRIC:
        return template.render(read)
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
            for name in WRITTEN[CATALOGUE[part[0]].unit.symbol]:
                if after.startswith(f" {name}"):
                    parts[at + 1] = f" {NAMES[unit]}{after[len(name) + 1 :]}"
                    if isinstance(value, float | int) and not isinstance(value, bool):
                        value = value / UNITS[unit].factor
        said.append(spoken(value, part[1]))
    return "".join(said)


def chosen(index: int, units: CrewUnits) -> str | None:
    """Return the symbol in which a reading is to be spoken; None where the crew has no choice."""
    reading = CATALOGUE[index]
    if reading.unit.symbol == "m/s":
        return units.speed
    return units.height if reading.name in HEIGHTS else None
