"""`watchkeeper replay`: a recording through the engine, as fast as it goes or paced."""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Protocol

from watchkeeper.alerts.events import Happening
from watchkeeper.cli.arguments import seconds, speed
from watchkeeper.cli.inputs import (
    add_crew_files,
    find_kept,
    find_kept_ledger,
    find_ledger,
    load_crew_files,
    load_rules,
)
from watchkeeper.cli.languages import kept_language
from watchkeeper.cli.show import Shower, readings_table, summary
from watchkeeper.edges.records.folder import Recording, open_recording
from watchkeeper.engine import Engine

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
        "--speed", metavar="N|max", type=speed, default=math.inf, help="times real time (default: max)"
    )
    parser.add_argument("--until", metavar="S", type=seconds, help="stop after so many seconds of the recording")
    parser.add_argument("--json", action="store_true", help="one JSON line a change of an alert, nothing else")
    parser.add_argument("--readings", metavar="OUT.csv", type=Path, help="write every reading once a second")
    parser.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    """Replay. Returns the exit status."""
    recording = open_recording(given.recording)
    kept_aircraft, kept_sortie, kept_rules = find_kept(given.recording)
    aircraft, sortie_path, packs = given.aircraft, given.sortie, given.rules
    kept_ledger: Path | None = None
    if not aircraft and sortie_path is None and (kept_aircraft or kept_sortie):
        kept_ledger = find_kept_ledger(given.recording)
        aircraft, sortie_path = kept_aircraft, kept_sortie
        print("with the aircraft and sortie files kept in the recording", file=sys.stderr)
    own_rules = bool(packs) or given.only_rules
    if not packs and kept_rules:
        packs = kept_rules
        print("with the rule packs kept in the recording", file=sys.stderr)
    files, sortie = load_crew_files(aircraft, sortie_path)
    found = find_ledger(sortie, sortie_path, files, kept=kept_ledger)
    for fault in found.faults:
        print(fault, file=sys.stderr)
    rules = load_rules(packs, only=given.only_rules, sortie=sortie, sortie_path=sortie_path)
    language = kept_language(given.recording)
    engine = Engine(rules, files, sortie, found.ledger, language)
    shower = Shower(sys.stdout, as_json=given.json, exercise=True, language=language)
    pace = Pace(given.speed)
    with readings_table(given.readings) as table:
        try:
            for happenings in play(
                engine, recording, until_s=given.until, table=table, pace=pace, reloads=not own_rules
            ):
                shower.show(happenings)
        except KeyboardInterrupt:
            print("stopped", file=sys.stderr)
    sys.stdout.flush()
    for line in (*engine.describe_sources(), *recording.remarks(), *summary(engine, shower.changes)):
        print(line, file=sys.stderr)
    return 0


class Pace:
    """Waits so that engine time runs at `speed` times real time; shows progress where a person waits."""

    def __init__(self, times_real: float) -> None:
        self._speed = times_real
        self._paced = math.isfinite(times_real)
        self._began_s = time.monotonic()
        self._told_s = self._began_s
        self._shows = sys.stderr.isatty() and not self._paced and not sys.stdout.isatty()

    @property
    def idle(self) -> bool:
        """Nothing to wait for and nothing to show."""
        return not self._paced and not self._shows

    def at(self, elapsed_s: float) -> None:
        """Return when it is time for `elapsed_s`."""
        if self._paced:
            wait_s = self._began_s + elapsed_s / self._speed - time.monotonic()
            if wait_s > 0:
                sys.stdout.flush()
                time.sleep(wait_s)
        elif self._shows and time.monotonic() - self._told_s > _PROGRESS_EVERY_S:
            self._told_s = time.monotonic()
            print(f"\r{elapsed_s:.0f} s", end="", file=sys.stderr, flush=True)


class Rows(Protocol):
    """Takes a look at the engine at every whole second."""

    def row(self, engine: Engine, elapsed_s: float) -> None:
        """Note what there is at `elapsed_s`."""


def play(
    engine: Engine,
    recording: Recording,
    *,
    until_s: float | None = None,
    table: Rows | None = None,
    pace: Pace | None = None,
    reloads: bool = True,
) -> Iterator[list[Happening]]:
    """Drive `engine` with a recording; yields what happened. Rows and the end come at whole engine seconds.

    Without `reloads` the rules that were loaded during the watch are passed over: others are being tried on it.
    """
    plain = until_s is None and table is None and (pace is None or pace.idle)
    row_s = 0.0
    for event in recording.events():
        if not reloads and event.order is not None and event.order.action == "reload":
            continue
        if not plain:
            elapsed_s = engine.elapsed_at(event.time_us / 1e6)
            while table is not None and engine.started and row_s <= elapsed_s and not _over(row_s, until_s):
                yield engine.tick(engine.stamp_s(row_s))
                table.row(engine, row_s)
                row_s += 1.0
            if engine.started and until_s is not None and elapsed_s > until_s:
                yield engine.tick(engine.stamp_s(until_s))
                return
            if pace is not None:
                pace.at(elapsed_s)
        happenings = event.into(engine)
        if happenings:
            yield happenings


def _over(elapsed_s: float, until_s: float | None) -> bool:
    return until_s is not None and elapsed_s > until_s
