"""Runs the watch over a recording as its users do, by its command line, and reads what it said.

The campaign knows nothing else of the watch: what it gets is what a crew gets.
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

_TIMEOUT_S = 600


@dataclass(frozen=True, slots=True)
class Said:
    """One change of an alert."""

    at_s: float
    rule: str
    level: str
    change: str


@dataclass(frozen=True, slots=True)
class Heard:
    """What the watch made of a recording: its changes, and readings by name, a value or None a second."""

    said: tuple[Said, ...]
    readings: dict[str, list[float | None]] = field(default_factory=dict)

    def first(self, rules: Sequence[str], from_s: float = 0.0) -> float | None:
        """Return when one of the rules was first raised at or after a time."""
        times = (
            one.at_s for one in self.said if one.change == "raised" and one.rule in rules and one.at_s >= from_s
        )
        return next(times, None)

    def reading(self, name: str, at_s: float) -> float | None:
        """Return a reading at a second, or None."""
        column = self.readings.get(name, [])
        second = int(at_s)
        return column[second] if 0 <= second < len(column) else None


def listen(recording: Path, aircraft: Path, readings: Sequence[str]) -> Heard:
    """Replay a recording with an aircraft file. Raises RuntimeError with its words if the watch fails."""
    table = recording.with_suffix(f".{aircraft.stem}.csv")
    command = [
        sys.executable, "-m", "watchkeeper.cli.main", "replay", str(recording), "--json", "--aircraft",
        str(aircraft), "--readings", str(table),
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
    found: dict[str, list[float | None]] = {name: [] for name in wanted}
    with table.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            named = {(key or "").split(" ")[0]: value for key, value in row.items()}
            for name, column in found.items():
                value = named.get(name) or ""
                column.append(_number(value))
    return found


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
