"""A compiled condition, the view through which it looks at one aircraft, and what is wrong with one that fails."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from watchkeeper.aircraft.readings import Readings
from watchkeeper.rules.verdict import Verdict
from watchkeeper.rules.window import Lasting, Window
from watchkeeper.units import Kind, Unit


class ConditionError(Exception):
    """A condition, or what a rule says, cannot be used. `offset` is where in its text."""

    def __init__(self, offset: int, what: str, do: str = "") -> None:
        super().__init__(what)
        self.offset = offset
        self.what = what
        self.do = do


@dataclass(frozen=True, slots=True)
class Setting:
    """A named number of a pack, in the unit in which the pack writes it."""

    unit: Unit
    number: float

    @property
    def kind(self) -> Kind:
        """What it is a number of."""
        return self.unit.kind

    @property
    def value(self) -> float:
        """The number in the coherent unit of its kind."""
        return self.number * self.unit.factor


class View:
    """What a condition sees: the readings, the time, and its own history (one entry a window)."""

    __slots__ = ("now_us", "readings", "windows")

    def __init__(self, readings: Readings, now_us: int, windows: list[Any]) -> None:
        self.readings = readings
        self.now_us = now_us
        self.windows = windows


Value: TypeAlias = Callable[[View], Any]
"""Gives a number in the coherent unit, or BLIND or FAULT."""
Judge: TypeAlias = Callable[[View], Verdict]
Find: TypeAlias = Callable[[View], tuple[int, ...]]
Due: TypeAlias = Callable[[View], int]
"""Gives the engine time, us, before which time alone changes no verdict; what is now already past: any moment."""
NEVER_US: Final = 1 << 62
"""Time alone does not change it."""


def always(_view: View) -> int:
    """Return that any moment may change the verdict."""
    return 0


def never(_view: View) -> int:
    """Return that time alone does not change the verdict."""
    return NEVER_US


@dataclass(frozen=True, slots=True)
class Comparison:
    """One comparison of numbers within a condition, for showing how near it came to being met.

    `left` and `right` give values in the coherent unit of their kind; `shown` is the unit in which people read it.
    """

    sign: str
    left: Value
    right: Value
    shown: Unit
    at: int
    """Where in the condition's text its sign stands."""


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition ready to judge.

    `readings` are the catalogue indexes it reads; `timed` says that time alone can change its verdict, `due` when;
    `deciding` gives the readings that decided the present verdict, `missing` those it lacks.
    """

    text: str
    evaluate: Judge
    readings: tuple[int, ...]
    timed: bool
    deciding: Find
    missing: Find
    due: Due = always
    spans: tuple[tuple[type[Window | Lasting], int], ...] = ()
    settings: tuple[tuple[str, Setting], ...] = ()
    """The settings it names, with their values."""
    comparisons: tuple[Comparison, ...] = ()

    @property
    def definition(self) -> tuple[object, ...]:
        """What makes it this condition: two of one definition judge alike and keep the same history."""
        return " ".join(self.text.split()), self.settings

    @property
    def windows(self) -> int:
        """How many windows it keeps."""
        return len(self.spans)

    def new_windows(self) -> list[Any]:
        """Return empty history for a new view."""
        return [kind(span_us) for kind, span_us in self.spans]
