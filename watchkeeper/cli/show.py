"""What replay and drill print: lines for people or JSON lines, the readings table, the summary."""

from __future__ import annotations

import csv
import os
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO

from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.alerts.events import AlertChange, Change, Happening, Level
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.edges.console import console_line
from watchkeeper.edges.records.jsonlines import alert_line, rounded
from watchkeeper.engine import Engine
from watchkeeper.errors import bad_input


class Shower:
    """Prints what happened. With `as_json` nothing but one line a change of an alert."""

    def __init__(self, out: TextIO, *, as_json: bool, exercise: bool, language: Language = ENGLISH) -> None:
        self._language = language
        self._out = out
        self._json = as_json
        self._exercise = exercise
        self._colour = out.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"
        self.changes: list[AlertChange] = []

    def show(self, happenings: Iterable[Happening]) -> None:
        """Print each of these."""
        for happening in happenings:
            if isinstance(happening, AlertChange):
                self.changes.append(happening)
                if self._json:
                    self._out.write(alert_line(happening, exercise=self._exercise) + "\n")
            if not self._json:
                self._out.write(console_line(happening, colour=self._colour, language=self._language) + "\n")


def summary(engine: Engine, changes: Iterable[AlertChange]) -> list[str]:
    """Return in a line or two what there was."""
    raised = Counter(change.level for change in changes if change.change is Change.RAISED)
    counts = [
        f"{raised[level]} {level.value}{'s' if raised[level] != 1 else ''}" for level in Level if level in raised
    ]
    said = ", ".join(counts).replace("advisorys", "advisories") if counts else "no alerts"
    lines = [f"{engine.elapsed_s:.1f} s: {said}"]
    if engine.segments > 1:
        lines.append(f"recorded time ran back {engine.segments - 1} time(s); each begins a new segment")
    return lines


class Table:
    """The readings, a row a second and aircraft; blank for unknown."""

    def __init__(self, file: TextIO) -> None:
        self._rows = csv.writer(file, lineterminator="\n")
        units = [f"{r.name} [{r.unit_symbol}]" if r.unit_symbol else r.name for r in CATALOGUE]
        self._rows.writerow(["elapsed_s", "aircraft", *units])

    def row(self, engine: Engine, elapsed_s: float) -> None:
        """Write the readings of every aircraft."""
        for system in engine.systems():
            readings = engine.readings(system)
            shown: list[Any] = ["" if (v := readings[r.name]) is None else _cell(v) for r in CATALOGUE]
            self._rows.writerow([f"{elapsed_s:g}", system, *shown])


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return str(value).lower()
    return rounded(value)


@contextmanager
def readings_table(path: Path | None) -> Iterator[Table | None]:
    """Open the table to write, or give None. Raises BadInputError if it cannot be written."""
    if path is None:
        yield None
        return
    try:
        file = path.open("w", encoding="utf-8", newline="")
    except OSError as error:
        raise bad_input(f"cannot write readings: {error.strerror}", "name another file", file=str(path)) from None
    with file:
        yield Table(file)
