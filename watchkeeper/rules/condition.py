"""A compiled condition, and the view through which it looks at one aircraft."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeAlias

from watchkeeper.aircraft.readings import Readings
from watchkeeper.rules.verdict import Verdict
from watchkeeper.rules.window import Lasting, Window


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


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition ready to judge.

    `readings` are the catalogue indexes it reads; `timed` says that time alone can change its verdict;
    `deciding` gives the readings that decided the present verdict, `missing` those it lacks.
    """

    text: str
    evaluate: Judge
    readings: tuple[int, ...]
    timed: bool
    deciding: Find
    missing: Find
    spans: tuple[tuple[type[Window] | type[Lasting], int], ...] = ()

    @property
    def windows(self) -> int:
        """How many windows it keeps."""
        return len(self.spans)

    def new_windows(self) -> list[Any]:
        """Return empty history for a new view."""
        return [kind(span_us) for kind, span_us in self.spans]
