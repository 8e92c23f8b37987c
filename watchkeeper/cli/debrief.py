"""`watchkeeper debrief`: a recording to one page about the flight."""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

from watchkeeper.aircraft.files import CrewUnits, SortieFile
from watchkeeper.cli.drill_score import SCORE
from watchkeeper.cli.inputs import find_kept, find_kept_ledger, find_ledger, load_crew_files, load_rules
from watchkeeper.cli.languages import kept_language
from watchkeeper.debrief.collect import Collector
from watchkeeper.debrief.make import Given, make
from watchkeeper.debrief.page import page
from watchkeeper.edges.clock import utc_text
from watchkeeper.edges.ledger_late import ELSEWHERE, EXERCISE, UNNAMED, book
from watchkeeper.edges.records.folder import Recording, open_recording
from watchkeeper.edges.records.log_reading import WatchLogFound
from watchkeeper.edges.records.recorder import SOURCES
from watchkeeper.engine import Engine
from watchkeeper.errors import bad_input
from watchkeeper.estimate.packs.packseen import Flown

_MOST_SCORE_BYTES: Final = 1 << 20
DRILL: Final = "drill-"
"""Stations of drills are called so."""


def add(commands: Any, caution: str) -> None:
    """Add the command to the parser."""
    parser = commands.add_parser(
        "debrief",
        help="write one page about a recorded flight",
        description="Writes one page about a recorded flight, that opens without a network: alerts, plots, the "
        "track, what fixed thresholds would have said. Books the flight in the crew's pack ledger.",
        epilog=caution,
    )
    parser.add_argument("recording", metavar="RECORDING", type=Path, help="telemetry log, or folder of --record")
    parser.add_argument("--aircraft", metavar="FILE", type=Path, action="append", default=[], help="aircraft file")
    parser.add_argument("--sortie", metavar="FILE", type=Path, help="sortie file of that flight")
    parser.add_argument("--output", metavar="REPORT.html", type=Path, required=True, help="page to write")
    parser.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    """Debrief. Returns the exit status."""
    _check_output(given.output, given.recording)
    recording = open_recording(given.recording)
    sortie, engine, told, ledger = _engine(given)
    log = WatchLogFound(given.recording) if given.recording.is_dir() else None
    exercise = _exercise(given.recording, log)
    collector = Collector(utc_text)
    flown = _play(engine, recording, collector)
    made = Given(
        title=_title(sortie, given.recording),
        recording=given.recording.resolve().name,
        made=utc_text(round(time.time() * 1e6)),
        exercise=exercise,
        sortie=sortie,
        lived=log is not None and log.there,
        decisions=log.decisions if log is not None else (),
        deliveries=log.deliveries if log is not None else (),
        score=_score(given.recording),
        files=tuple(told),
        remarks=tuple(_remarks(recording, log, engine, collector)),
        heard=tuple(line.strip() for line in engine.describe_sources()),
        ledger=tuple(_book(ledger, flown, exercise=exercise)),
        lasts_s=engine.elapsed_s,
    )
    units = sortie.crew.units if sortie is not None else CrewUnits()
    html = page(make(collector, made, utc_text), units)
    _write(given.output, html)
    print(f"written: {given.output}")
    return 0


def _engine(given: argparse.Namespace) -> tuple[SortieFile | None, Engine, list[str], Path | str]:
    """Return an engine with the files named, or those kept in the recording; what they are in words; the ledger.

    Words in place of the ledger say why there is none to write.
    """
    kept_aircraft, kept_sortie, kept_rules = find_kept(given.recording)
    aircraft, sortie_path = given.aircraft, given.sortie
    kept_ledger: Path | None = None
    told = []
    if not aircraft and sortie_path is None and (kept_aircraft or kept_sortie):
        kept_ledger = find_kept_ledger(given.recording)
        aircraft, sortie_path = kept_aircraft, kept_sortie
        told.append("With the aircraft and sortie files kept in the recording.")
    elif aircraft or sortie_path is not None:
        told.append(f"With {', '.join(path.name for path in (*aircraft, sortie_path) if path is not None)}.")
    else:
        told.append("Without aircraft and sortie file.")
    if kept_rules:
        told.append("With the rule packs kept in the recording.")
    files, sortie = load_crew_files(aircraft, sortie_path)
    found = find_ledger(sortie, sortie_path, files, kept=kept_ledger)
    told += [f"The pack ledger of that day was not usable: {fault}" for fault in found.faults]
    rules = load_rules(kept_rules, sortie=sortie, sortie_path=sortie_path)
    ledger: Path | str = UNNAMED
    if found.path is not None:
        ledger = ELSEWHERE if kept_ledger is not None else found.path
    return sortie, Engine(rules, files, sortie, found.ledger, kept_language(given.recording)), told, ledger


def _book(ledger: Path | str, flown: Sequence[tuple[Flown, str]], *, exercise: bool) -> list[str]:
    if isinstance(ledger, str):
        return [ledger]
    return [EXERCISE] if exercise else book(ledger, flown)


def _play(engine: Engine, recording: Recording, collector: Collector) -> list[tuple[Flown, str]]:
    """Drive the engine with the recording; the collector looks at it after every event and every whole second.

    Returns what flights showed of their packs, each with its end.
    """
    row_s, time_us = 0.0, 0
    flown: list[tuple[Flown, str]] = []
    for event in recording.events():
        elapsed_s = engine.elapsed_at(event.time_us / 1e6)
        while engine.started and row_s <= elapsed_s:
            stamp_s = engine.stamp_s(row_s)
            collector.took(engine.tick(stamp_s), engine, round(stamp_s * 1e6))
            collector.saw(engine, round(stamp_s * 1e6))
            collector.row(engine, row_s)
            flown += [(one, utc_text(round(stamp_s * 1e6))[:19] + "Z") for one in engine.take_flown()]
            row_s += 1.0
        time_us = event.time_us
        collector.took(event.into(engine), engine, time_us)
        collector.saw(engine, time_us)
    collector.finish(engine, time_us)
    return flown + [(one, utc_text(time_us)[:19] + "Z") for one in engine.take_flown()]


def _title(sortie: SortieFile | None, recording: Path) -> str:
    return sortie.sortie if sortie is not None and sortie.sortie else recording.resolve().name


def _exercise(recording: Path, log: WatchLogFound | None) -> bool:
    """Whether a recording says of itself that it is one of an exercise."""
    if log is not None and log.exercise:
        return True
    folder = (
        recording if recording.is_dir() else recording.resolve().parent
    )  # one log of a folder, named by itself
    if not (folder / SOURCES).is_file():
        return False
    if (folder / SCORE).is_file():
        return True
    with contextlib.suppress(OSError, ValueError, RecursionError):
        found = json.loads((folder / SOURCES).read_bytes()[:_MOST_SCORE_BYTES])
        return isinstance(found, dict) and str(found.get("station", "")).startswith(DRILL)
    return False


def _score(recording: Path) -> dict[str, Any] | None:
    path = recording / SCORE
    with contextlib.suppress(OSError, ValueError, RecursionError):
        if path.is_file() and path.stat().st_size <= _MOST_SCORE_BYTES:
            found = json.loads(path.read_bytes())
            return found if isinstance(found, dict) else None
    return None


def _remarks(
    recording: Recording, log: WatchLogFound | None, engine: Engine, collector: Collector
) -> Iterator[str]:
    yield from recording.remarks()
    if engine.segments > 1:
        yield f"recorded time ran back {engine.segments - 1} time(s); each begins a new segment"
    if log is not None and log.damaged:
        yield f"watch log: {log.damaged} damaged lines passed over"
    if collector.passed_over:
        yield f"{len(collector.passed_over)} more aircraft are in the recording and not shown"


def _check_output(output: Path, recording: Path) -> None:
    """Refuse what could not be written, or would overwrite the recording, before the work begins."""
    try:
        if output.is_dir():
            raise bad_input("is a folder", "name a file to write", file=str(output))
        if output.resolve() == recording.resolve():
            raise bad_input("is the recording itself", "name another file", file=str(output))
        if not output.parent.is_dir() or not os.access(output.parent, os.W_OK):
            raise bad_input(
                "cannot be written there", "name a file in a folder that can be written", file=str(output)
            )
    except OSError as error:
        raise bad_input(f"cannot be written: {error.strerror}", "name another file", file=str(output)) from None


def _write(output: Path, html: str) -> None:
    """Write the page, all or nothing."""
    target = output.resolve()
    beside = target.with_name(f".{target.name}.{os.getpid()}.new")
    try:
        beside.write_text(html, encoding="utf-8")
        beside.replace(target)
    except OSError as error:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise bad_input(
            f"cannot write the page: {error.strerror}", "name another file", file=str(output)
        ) from None
