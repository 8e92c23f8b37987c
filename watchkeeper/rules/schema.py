"""A rule: as it is written in a pack (checked by pydantic), and as the watch uses it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, StrictBool

from watchkeeper.aircraft.filetypes import FileModel, SettingsField, Text, one_of, quantity, refuse
from watchkeeper.errors import Fault
from watchkeeper.rules.cases import Case
from watchkeeper.rules.condition import Condition, Setting
from watchkeeper.rules.levels import Level
from watchkeeper.rules.template import Template

LEVELS = tuple(level.value for level in Level)
SHORTEST_REPEAT_S = 5.0
LONGEST_DELAY_S = 600.0
LONGEST_ID = 60
SPEAKS, WAITS = "speaks", "waits"
_ID = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*\Z")


def _words(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        refuse("is not a text", "write it as plain words")
    if not all(character.isprintable() or character in "\n\t" for character in value):
        refuse("is not printable", "write it as plain words")
    return value


def _names(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
        refuse("is not a list of names", "write it like [one, two]")
    return tuple(value)


def _expectation(value: Any) -> str | list[Any]:
    if not isinstance(value, str | list):
        refuse("is neither a verdict nor a list of changes", "write met, not met, blind, fault or [[5, raised]]")
    return value


def _identity(value: Any) -> str:
    if not isinstance(value, str) or len(value) > LONGEST_ID or not _ID.match(value):
        refuse("is no id", f"write it like voltage-sag, in at most {LONGEST_ID} characters")
    if value.startswith("watch-"):
        refuse(f"'{value}' begins with watch-", "that is kept for the watch itself")
    if value.startswith("sighted-"):
        refuse(f"'{value}' begins with sighted-", "that is kept for what the crew sees and presses")
    return value


Words = Annotated[str, BeforeValidator(_words)]
Names = Annotated[tuple[str, ...], BeforeValidator(_names)]
Identity = Annotated[str, BeforeValidator(_identity)]
_Delay = Annotated[float, quantity("s", least=0, most=LONGEST_DELAY_S)]


class WrittenCase(FileModel):
    """A case as it is written; values and expectations are checked against the catalogue on loading."""

    given: dict[str, Any]
    expect: Annotated[str | list[Any], BeforeValidator(_expectation)]
    sample: Annotated[float, quantity("s", least=0.1, most=60)] = 0.5
    until: Annotated[float | None, quantity("s", above=0, most=3600)] = None


class WrittenEscalation(FileModel):
    """To which level an alert is raised that stands unacknowledged for so long."""

    after: Annotated[float, quantity("s", least=SHORTEST_REPEAT_S, most=3600)]
    to: Annotated[str, one_of(Level.WARNING.value, Level.CAUTION.value)]


class WrittenRule(FileModel):
    """A rule as it is written."""

    id: Identity
    level: Annotated[str, one_of(*LEVELS)]
    when: Words
    clear: Words | None = None
    on_delay: _Delay = 0.0
    off_delay: _Delay = 0.0
    during: Names = ("powered",)
    say: Words
    repeat: Annotated[float | None, quantity("s", least=SHORTEST_REPEAT_S, most=3600)] = None
    every: Text | None = None
    latch: StrictBool = False
    mutes: Names = ()
    caused_by: Names = ()
    trial: StrictBool = False
    escalate: WrittenEscalation | None = None
    sterile: Annotated[str | None, one_of(SPEAKS, WAITS)] = None
    eyes: StrictBool = False
    replaces: Identity | None = None
    why: Words
    cases: tuple[WrittenCase, ...]


class WrittenPack(FileModel):
    """A pack as it is written."""

    pack: Text
    about: Words
    settings: SettingsField = Field(default_factory=dict)
    sterile: Words | None = None
    rules: Annotated[tuple[WrittenRule, ...], Field(min_length=1)]


@dataclass(frozen=True, slots=True)
class Escalation:
    """To which level an alert is raised that stands unacknowledged for `after_us`."""

    after_us: int
    to: Level


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule ready for use. `subject` is what it speaks of; `place` says where it is written."""

    id: str
    pack: str
    subject: str
    level: Level
    when: Condition
    clear: Condition | None
    on_delay_us: int
    off_delay_us: int
    during: frozenset[str]
    say: Template
    repeat_us: int | None
    every_us: int | None
    """How often a routine call is said while it holds; 0: the crew has not asked for it, None: once."""
    latch: bool
    mutes: tuple[str, ...]
    caused_by: tuple[str, ...]
    trial: bool
    escalate: Escalation | None
    sterile: bool | None
    """Whether it speaks in a sterile phase; None: if its level is a warning."""
    eyes: bool
    """Whether somebody who looks at the aircraft can help: then the observer is told too."""
    settings: tuple[tuple[str, Setting], ...]
    """The settings that it names anywhere, with their values."""
    replaces: str | None
    why: str
    cases: tuple[Case, ...]
    place: Fault
    """A fault without words: file, line, column and source line of what the rule says."""

    @property
    def definition(self) -> tuple[object, ...]:
        """What makes it this rule: one of the same definition goes on where another was (reload in flight)."""
        clear = None if self.clear is None else self.clear.definition
        return (
            self.level, self.when.definition, clear, self.on_delay_us, self.off_delay_us, self.during, self.say,
            self.repeat_us, self.every_us, self.latch, self.mutes, self.caused_by, self.trial, self.escalate,
            self.sterile, self.eyes,
        )  # fmt: skip
