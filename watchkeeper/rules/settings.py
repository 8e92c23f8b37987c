"""Settings of a pack: named numbers with units, overridden by name in the sortie file."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from watchkeeper.documents import Document
from watchkeeper.errors import BadInputError, Fault, bad_input, did_you_mean
from watchkeeper.rules.compiler import ARGUMENTS
from watchkeeper.rules.condition import Setting
from watchkeeper.units import UNITS, Kind, Unit, describe, parse_quantity

MOST_TIMES = 10.0
"""An override further than this from a pack's own value is a slip; who means it replaces the rule."""
_NAME = re.compile(r"[a-z][a-z0-9_]*\Z")
_TAKEN = frozenset({*ARGUMENTS, "and", "or", "not", "true", "false"})
_SHAPE = re.compile(
    r"\s*[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\s*([A-Za-z%][A-Za-z0-9/%]*)?\s*\Z"
)


@dataclass(slots=True)
class Overrides:
    """What the sortie file says of settings, and what the packs read so far have made of it.

    `told_from` names where the overrides stand. A name that two packs use must be one kind of quantity.
    """

    values: Mapping[str, str]
    told_from: str
    kinds: dict[str, tuple[Kind, str]] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)

    def unknown(self) -> Iterator[Fault]:
        """Yield a fault for each override that no pack has a setting for."""
        for name in self.values:
            if name not in self.kinds:
                hint = did_you_mean(name, self.kinds, otherwise="see 'watchkeeper rules list'")
                yield Fault(self.told_from, 0, 0, f"no rule pack has a setting '{name}'", hint)


def read_settings(document: Document, overrides: Overrides, faults: list[Fault]) -> dict[str, Setting]:
    """Return the settings of a pack, overridden where asked; appends what is wrong with them to `faults`."""
    written = document.data.get("settings") if isinstance(document.data, dict) else None
    settings: dict[str, Setting] = {}
    for name, value in written.items() if isinstance(written, dict) else ():
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            continue  # the schema has refused it
        found = _setting(document, name, value, overrides, faults)
        if found is not None:
            settings[name] = found
    return settings


def _setting(
    document: Document, name: str, value: Any, overrides: Overrides, faults: list[Fault]
) -> Setting | None:
    path = ("settings", name)
    if not _NAME.match(name) or name in _TAKEN:
        faults.append(
            document.fault(path, f"'{name}' is no name for a setting", "use one like cell_floor", key=True)
        )
        return None
    text = str(value)
    shape = _SHAPE.match(text)
    if shape is None:
        what = f"'{text}' is not a number with a unit"
        faults.append(document.fault(path, what, "write it like '3.3 V'"))
        return None
    unit = UNITS.get(shape[1] or "")
    if unit is None:
        hint = did_you_mean(shape[1], UNITS, otherwise="write it like '3.3 V'")
        faults.append(document.fault(path, f"unknown unit '{shape[1]}'", hint))
        return None
    try:
        number = _finite(text, unit)
    except BadInputError as error:
        faults.append(document.fault(path, error.faults[0].what, error.faults[0].do))
        return None
    kind, where = overrides.kinds.setdefault(name, (unit.kind, document.name))
    if kind != unit.kind:
        what = f"'{name}' is {describe(unit.kind)} here and {describe(kind)} in {where}"
        faults.append(document.fault(path, what, "use another name"))
        return None
    override = overrides.values.get(name)
    if override is not None:
        try:
            number = _within(_finite(override, unit), number, override, text)
        except BadInputError as error:
            if name not in overrides.refused:
                overrides.refused.add(name)
                what = f"setting '{name}': {error.faults[0].what}"
                faults.append(Fault(overrides.told_from, 0, 0, what, error.faults[0].do))
    return Setting(unit, number)


def _within(number: float, usual: float, text: str, usual_text: str) -> float:
    """Return a number that is of the same sign and size as the pack's own; a slip must not switch a rule off."""
    if usual and not 1 / MOST_TIMES <= number / usual <= MOST_TIMES:
        raise bad_input(
            f"'{text}' is far from the pack's own '{usual_text}'",
            f"stay within {MOST_TIMES:g} times of it either way",
        )
    return number


def _finite(text: str, unit: Unit) -> float:
    number = parse_quantity(text, unit.symbol)
    if not math.isfinite(number * unit.factor):
        raise bad_input(f"'{text}' is too large", "write a smaller one")
    return number
