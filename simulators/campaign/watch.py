"""Runs the watch over a recording as its users do, by its command line, and reads what it said.

The campaign knows nothing else of the watch: what it gets is what a crew gets.
"""

from __future__ import annotations

import csv
import json
import math
import subprocess
import sys
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from simulators.campaign.knowledge import CrewFiles

_TIMEOUT_S: Final = 600
_TELLING: Final = frozenset({"raised", "unsuppressed", "escalated"})


@dataclass(frozen=True, slots=True)
class Said:
    """One change of an alert."""

    at_s: float
    rule: str
    level: str
    change: str


@dataclass(slots=True)
class Life:
    """One alert from when it was told until it cleared."""

    rule: str
    level: str
    told_s: float
    cleared_s: float = math.inf


@dataclass(frozen=True, slots=True)
class Heard:
    """What the watch made of a recording: its changes, and readings by name, a value or None a second."""

    said: tuple[Said, ...]
    readings: dict[str, list[float | None]] = field(default_factory=dict)

    def lives(self) -> list[Life]:
        """Return the alerts that were told, each from its first telling to its clearing, in the order of telling.

        One that is suppressed before anybody is told begins when it is let go, if it still stands.
        """
        standing: dict[str, Life] = {}
        found: list[Life] = []
        for one in self.said:
            life = standing.get(one.rule)
            if one.change in _TELLING and life is None:
                standing[one.rule] = life = Life(one.rule, one.level, one.at_s)
                found.append(life)
            elif one.change == "escalated" and life is not None:
                standing[one.rule] = higher = Life(one.rule, one.level, one.at_s)
                life.cleared_s = one.at_s
                found.append(higher)
            elif one.change == "cleared" and life is not None:
                standing.pop(one.rule).cleared_s = one.at_s
        return found

    def first(self, rules: Collection[str], from_s: float = 0.0, to_s: float = math.inf) -> float | None:
        """Return when one of the rules was first told between two times."""
        return next(
            (one.told_s for one in self.lives() if one.rule in rules and from_s <= one.told_s <= to_s), None
        )

    def stands(self, rules: Collection[str], at_s: float) -> bool:
        """Tell whether one of the rules had been told before a time and was not cleared by then."""
        return any(one.rule in rules and one.told_s < at_s < one.cleared_s for one in self.lives())

    def reading(self, name: str, at_s: float) -> float | None:
        """Return a reading at a second, or None."""
        column = self.readings.get(name, [])
        second = int(at_s)
        return column[second] if 0 <= second < len(column) else None


def listen(recording: Path, crew: CrewFiles, readings: Sequence[str]) -> Heard:
    """Replay a recording with a crew's files. Raises RuntimeError with its words if the watch fails."""
    table = recording.with_suffix(f".{crew.aircraft.stem}.csv")
    sortie = [] if crew.sortie is None else ["--sortie", str(crew.sortie)]
    command = [
        sys.executable, "-m", "watchkeeper.cli.main", "replay", str(recording), "--json", "--aircraft",
        str(crew.aircraft), *sortie, "--readings", str(table),
    ]  # fmt: skip
    done = subprocess.run(  # noqa: S603  # our own program
        command, capture_output=True, text=True, check=False, timeout=_TIMEOUT_S
    )
    if done.returncode != 0:
        raise RuntimeError(f"the watch ended with {done.returncode}: {done.stderr.strip()}")
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    said = tuple(Said(row["elapsed_s"], row["rule"], row["level"], row["change"]) for row in rows)
    return Heard(said, _columns(table, readings))


def _columns(table: Path, wanted: Sequence[str]) -> dict[str, list[float | None]]:
    """Return the wanted readings by second; seconds without a row, before the aircraft was heard, are None."""
    found: dict[str, list[float | None]] = {name: [] for name in wanted}
    with table.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            second = int(float(row["elapsed_s"]))
            named = {(key or "").split(" ")[0]: value for key, value in row.items()}
            for name, column in found.items():
                column.extend([None] * (second + 1 - len(column)))
                column[second] = _number(named.get(name) or "")
    return found


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
