"""What a rule says: text with {reading} or {reading:.N} (decimals), nothing more."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.readings import BLIND, FAULT
from watchkeeper.errors import did_you_mean
from watchkeeper.rules.expression import ConditionError

_PLACE = re.compile(r"\{([^{}]*)\}")
_INSIDE = re.compile(r"\s*([a-z_][a-z0-9_.]*)\s*(?::\.(\d))?\s*\Z")
MAX_CHARACTERS = 200


@dataclass(frozen=True, slots=True)
class Template:
    """Text pieces and readings, in order."""

    text: str
    parts: tuple[str | tuple[int, int], ...]

    @property
    def readings(self) -> tuple[int, ...]:
        """The indexes of the readings it speaks of."""
        return tuple(part[0] for part in self.parts if not isinstance(part, str))

    def render(self, read: Callable[[int], Any]) -> str:
        """Return the words; a reading that cannot be used is "unknown"."""
        return "".join(part if isinstance(part, str) else _spoken(read(part[0]), part[1]) for part in self.parts)


def _spoken(value: Any, decimals: int) -> str:
    if value is BLIND or value is FAULT or value is None:
        return "unknown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value.replace("_", " ")
    shown = f"{value:.{decimals}f}"
    return shown.removeprefix("-") if float(shown) == 0 else shown  # never "minus zero"


def parse_template(text: str) -> Template:
    """Parse what a rule says. Raises ConditionError for anything but text and readings."""
    if len(text) > MAX_CHARACTERS:
        raise ConditionError(0, f"longer than {MAX_CHARACTERS} characters", "say less")
    parts: list[str | tuple[int, int]] = []
    at = 0
    for found in _PLACE.finditer(text):
        parts.append(text[at : found.start()])
        inside = _INSIDE.match(found[1])
        if inside is None:
            raise ConditionError(found.start(), f"'{found[0]}' is no reading", "write {name} or {name:.1}")
        index = INDEX.get(inside[1])
        if index is None:
            hint = did_you_mean(inside[1], INDEX, otherwise="see 'watchkeeper rules list'")
            raise ConditionError(found.start() + 1, f"unknown reading '{inside[1]}'", hint)
        if inside[2] and (CATALOGUE[index].words or CATALOGUE[index].boolean):
            raise ConditionError(found.start(), f"{inside[1]} has no decimals", "write {name}")
        parts.append((index, int(inside[2] or 0)))
        at = found.end()
    parts.append(text[at:])
    if any(brace in part for part in parts if isinstance(part, str) for brace in "{}"):
        raise ConditionError(0, "a brace without its pair", "write {name} or {name:.1}")
    return Template(text, tuple(part for part in parts if part))
