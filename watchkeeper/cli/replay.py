"""`watchkeeper replay`: a recording through the engine, as fast as it goes or paced."""

from __future__ import annotations

import argparse
import contextlib
import csv
import math
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TextIO

from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.alerts.events import AlertChange, Happening, RoutineCall
from watchkeeper.cli.arguments import speed
from watchkeeper.cli.inputs import add_crew_files, load_crew_files, load_rules
from watchkeeper.cli.show import Shower, summary
from watchkeeper.edges.record_folder import Recording, open_recording
from watchkeeper.engine import Engine
from watchkeeper.errors import bad_input

_PROGRESS_EVERY_S = 2.0


def add(commands: Any, caution: str) -> None:
    """Add the command to the parser."""
    parser = commands.add_parser(
        "replay",
        help="show what the watch decides about a recording",
        description="Shows what the watch decides about a recording: a telemetry log, or a folder of --record.",
        epilog=caution,
    )
    parser.add_argument("recording", metavar="RECORDING", type=Path, help="telemetry log, or folder of --record")
    add_crew_files(parser)
    parser.add_argument(
        "--speed", metavar="N|max", type=speed, default=math.inf, help="times real time (default max)"
    )
    parser.add_argument("--until", metavar="S", type=float, help="stop after so many seconds of the recording")
    parser.add_argument("--json", action="store_true", help="one JSON line a change of an alert, nothing else")
    parser.add_argument("--readings", metavar="OUT.csv", type=Path, help="write every reading once a second")
    parser.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    """Replay. Returns the exit status."""
    if given.until is not None and not given.until >= 0:
        raise bad_input("--until must not be negative", "give seconds from the start")
    files, sortie = load_crew_files(given.aircraft, given.sortie)
    rules = load_rules(given.rules, only=given.only_rules, settings=sortie.settings if sortie else None)
    recording = open_recording(given.recording)
    engine = Engine(rules, files, sortie)
    shower = Shower(sys.stdout, as_json=given.json, exercise=True)
    changes: list[AlertChange] = []
    with _table(given.readings) as table:
        pace = _Pace(given.speed)
        try:
            for happenings in play(engine, recording, until_s=given.until, table=table, pace=pace):
                for happening in happenings:
                    shower.show(happening)
                    if isinstance(happening, AlertChange):
                        changes.append(happening)
        except KeyboardInterrupt:
            print("stopped", file=sys.stderr)
    for line in engine.describe_sources():
        print(line, file=sys.stderr)
    for line in (*recording.remarks(), *summary(engine, changes)):
        print(line, file=sys.stderr)
    return 0


class _Pace:
    """Waits so that engine time runs at `speed` times real time; shows progress on a terminal."""

    def __init__(self, speed_factor: float) -> None:
        self._speed = speed_factor
        self._began_s = time.monotonic()
        self._told_s = self._began_s
        self._shows = sys.stderr.isatty() and not math.isfinite(speed_factor)

    def at(self, elapsed_s: float) -> None:
        """Return when it is time for `elapsed_s`."""
        if math.isfinite(self._speed):
            wait_s = self._began_s + elapsed_s / self._speed - time.monotonic()
            if wait_s > 0:
                sys.stdout.flush()
                time.sleep(wait_s)
        elif self._shows and time.monotonic() - self._told_s > _PROGRESS_EVERY_S:
            self._told_s = time.monotonic()
            print(f"\r{elapsed_s:.0f} s replayed", end="\r", file=sys.stderr, flush=True)


def play(
    engine: Engine,
    recording: Recording,
    *,
    until_s: float | None = None,
    table: _Table | None = None,
    pace: _Pace | None = None,
) -> Iterator[list[Happening]]:
    """Drive `engine` with a recording; yields what happened, call by call."""
    row_s = 0.0
    for event in recording.events():
        now_s = event.time_us / 1e6
        if table is not None or pace is not None or until_s is not None:
            while table is not None and engine.started and engine.elapsed_at(now_s) >= row_s:
                if until_s is not None and row_s > until_s:
                    return
                yield engine.tick(engine.stamp_s(row_s))
                table.row(engine, row_s)
                row_s += 1.0
            elapsed_s = engine.elapsed_at(now_s)
            if until_s is not None and elapsed_s > until_s:
                yield engine.tick(engine.stamp_s(until_s))
                return
            if pace is not None:
                pace.at(elapsed_s)
        yield event.into(engine)
