"""Faults in what people write or pass in: where, what is wrong, what to do."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault in an input. `line` and `column` count from 1; 0 means unknown."""

    file: str
    line: int
    column: int
    what: str
    do: str = ""
    source_line: str = ""

    def __str__(self) -> str:
        """One line: file:line:column, what is wrong, what to do. What files hold cannot steer a terminal."""
        place = self.file
        if self.line:
            place += f":{self.line}:{self.column}"
        text = f"{place}: {self.what}" if place else self.what
        whole = f"{text}; {self.do}" if self.do else text
        return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in whole)

    def with_caret(self) -> str:
        """Return the line above, and below it the source line with a caret under the column."""
        if not self.source_line:
            return str(self)
        shown = "".join(c if c.isprintable() else " " for c in self.source_line)
        return f"{self}\n    {shown}\n    {' ' * (self.column - 1)}^"


class BadInputError(Exception):
    """Something a person wrote cannot be used. Carries every fault found, the first one first."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def bad_input(what: str, do: str = "", *, file: str = "", line: int = 0, column: int = 0) -> BadInputError:
    """Return a BadInputError of one fault."""
    return BadInputError([Fault(file, line, column, what, do)])


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the known name that `name` was most likely meant to be, or None."""
    matches = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return matches[0] if matches else None


def did_you_mean(name: str, known: Iterable[str], *, otherwise: str = "") -> str:
    """Return "did you mean 'x'?" or, where nothing is near, the given words."""
    near = nearest(name, known)
    return f"did you mean '{near}'?" if near else otherwise
