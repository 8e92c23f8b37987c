"""What a rule says: text with {reading}, {setting} or {name:.N} (decimals), nothing more."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.readings import BLIND, FAULT
from watchkeeper.errors import did_you_mean
from watchkeeper.rules.condition import ConditionError, Setting

MAX_CHARACTERS = 200
_PLACE = re.compile(r"\{([^{}]*)\}")
_INSIDE = re.compile(r"\s*([a-z_][a-z0-9_.]*)\s*(?::\.([0-9]))?\s*\Z")
_BLANKS = re.compile(r"\s+")
_SHAPE = "write {name} or {name:.1}"


Speak: TypeAlias = Callable[[int, Any, int], str]
"""speak(index of the reading, value, decimals): the value as it is said."""


def spoken(_index: int, value: Any, decimals: int) -> str:
    """Return a value as it is said, in English."""
    if value is BLIND or value is FAULT or value is None:
        return "unknown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value.replace("_", " ")
    return _number(value, decimals)


def _number(value: float, decimals: int) -> str:
    shown = f"{value:.{decimals}f}"
    return shown.removeprefix("-") if float(shown) == 0 else shown  # never "minus zero"


@dataclass(frozen=True, slots=True)
class Template:
    """Text pieces and (reading, decimals), in order. `text` is what was written, on one line."""

    text: str
    parts: tuple[str | tuple[int, int], ...]
    settings: tuple[str, ...] = ()
    """The settings it speaks of, by name."""

    @property
    def readings(self) -> tuple[int, ...]:
        """The indexes of the readings it speaks of."""
        return tuple(part[0] for part in self.parts if not isinstance(part, str))

    def render(self, read: Callable[[int], Any], speak: Speak = spoken) -> str:
        """Return the words, each value as `speak` says it; one that cannot be used is "unknown"."""
        return "".join(
            part if isinstance(part, str) else speak(part[0], read(part[0]), part[1]) for part in self.parts
        )


def parse_template(text: str, settings: Mapping[str, Setting]) -> Template:
    """Parse what a rule says. Raises ConditionError for anything but text, readings and settings."""
    if len(text) > MAX_CHARACTERS:
        raise ConditionError(0, f"longer than {MAX_CHARACTERS} characters", "say less")
    for i, character in enumerate(text):
        if not character.isprintable() and character not in "\n\t":
            raise ConditionError(i, "a character that cannot be printed", "use plain text")
    blanked = _PLACE.sub(lambda found: " " * len(found[0]), text)
    for brace in "{}":
        if brace in blanked:
            raise ConditionError(blanked.index(brace), "a brace without its pair", _SHAPE)
    parts: list[str | tuple[int, int]] = []
    at = 0
    for found in _PLACE.finditer(text):
        parts += [_BLANKS.sub(" ", text[at : found.start()]), _part(found, settings)]
        at = found.end()
    parts.append(_BLANKS.sub(" ", text[at:]).rstrip())
    if isinstance(parts[0], str):
        parts[0] = parts[0].lstrip()
    named = (inside[1] for found in _PLACE.finditer(text) if (inside := _INSIDE.match(found[1])) is not None)
    used = tuple(dict.fromkeys(name for name in named if name not in INDEX))
    return Template(_BLANKS.sub(" ", text).strip(), tuple(part for part in parts if part), used)


def _part(found: re.Match[str], settings: Mapping[str, Setting]) -> str | tuple[int, int]:
    """Return a reading and its decimals, or a setting as it is spoken: it never changes."""
    inside = _INSIDE.match(found[1])
    if inside is None:
        raise ConditionError(found.start(), f"'{found[0]}' is no reading", _SHAPE)
    name, decimals = inside[1], inside[2]
    index = INDEX.get(name)
    if index is not None:
        entry = CATALOGUE[index]
        if decimals and (entry.words or entry.boolean or entry.text):
            raise ConditionError(found.start(), f"{name} has no decimals", "write {name}")
        return index, int(decimals or 0)
    setting = settings.get(name)
    if setting is not None:
        return _number(setting.number, int(decimals)) if decimals else f"{setting.number:g}"
    hint = did_you_mean(name, [*INDEX, *settings], otherwise="see 'watchkeeper rules list'")
    what = "reading" if "." in name else "setting"
    raise ConditionError(found.start() + 1 + inside.start(1), f"unknown {what} '{name}'", hint)
