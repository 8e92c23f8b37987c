"""`watchkeeper drill`: a simulated flight with faults, watched as a real one would be."""

from __future__ import annotations

import argparse
import asyncio
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from simulators.scenario import DEFAULT, Scenario, find, list_scenarios, load
from simulators.wire.serve import ServeUrl, parse_serve_url
from watchkeeper.alerts.events import AlertChange, Happening, RoutineCall
from watchkeeper.cli.arguments import speed
from watchkeeper.cli.drill_flight import AnyScenario, DrillClock, PacedFlight, begin, source_of, start_us
from watchkeeper.cli.drill_score import Score, keep, score, tell
from watchkeeper.cli.inputs import keep_files, kept_files, load_crew_files, load_rules, pack_files
from watchkeeper.cli.outfit import Feed, Outfit, run_watch
from watchkeeper.cli.outfit import run as run_to_end
from watchkeeper.cli.show import Shower, summary
from watchkeeper.cli.watch import add_outlets
from watchkeeper.daemon import Watch
from watchkeeper.edges.clock import Clock
from watchkeeper.edges.configuration import settle
from watchkeeper.edges.records.recorder import Recorder, prepare_folder
from watchkeeper.edges.records.watch_log import WatchLog, state_folder
from watchkeeper.edges.terminal import Terminal
from watchkeeper.engine import Engine
from watchkeeper.errors import bad_input

OPENING = "Exercise, exercise, exercise."
PRACTICE = "open-practice"


def add(commands: Any, caution: str) -> None:
    """Add the command to the parser."""
    parser = commands.add_parser(
        "drill",
        help="fly a simulated flight with faults",
        description="Flies a simulated flight with faults, watched as a real one. Everything is an exercise.",
        epilog=caution,
    )
    parser.add_argument("scenario", metavar="SCENARIO", nargs="?", help=f"which ({DEFAULT}; to serve {PRACTICE})")
    parser.add_argument("--list", action="store_true", help="list the scenarios")
    parser.add_argument("--speed", metavar="N|max", type=speed, default=1.0, help="times real time (default: 1)")
    parser.add_argument("--seed", metavar="N", type=int, default=1, help="seed of noise and loss (default: 1)")
    parser.add_argument("--json", action="store_true", help="one JSON line a change of an alert, nothing else")
    parser.add_argument("--rules", metavar="PATH", type=Path, action="append", default=[], help="rule pack to add")
    parser.add_argument("--only-rules", action="store_true", help="use only the packs named with --rules")
    parser.add_argument(
        "--serve", metavar="URL", help="let a MAVLink client fly: udp://HOST:PORT or tcp://HOST:PORT to connect to"
    )
    add_outlets(parser)
    parser.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    """Fly a drill. Returns the exit status."""
    if given.list:
        width = max(len(name) for name in list_scenarios())
        for name in list_scenarios():
            print(f"{name:<{width}}  {' '.join(load(find(name)).about.split())}")
        return 0
    url = None if given.serve is None else parse_serve_url(given.serve)
    scenario = load(find(given.scenario or (DEFAULT if url is None else PRACTICE)))
    if url is not None and isinstance(scenario, Scenario):
        raise bad_input(f"{scenario.name} follows a script and obeys nobody", f"name a flown one, like {PRACTICE}")
    files, sortie = load_crew_files([scenario.aircraft] if scenario.aircraft else [], scenario.sortie)
    rules = load_rules(given.rules, only=given.only_rules, sortie=sortie, sortie_path=scenario.sortie)
    station = settle({"station": given.station}, {}).station
    outfit = Outfit(
        rules=rules,
        station=f"drill-{station}",
        exercise=True,
        aircraft=files,
        sortie=sortie,
        mqtt=given.mqtt,
        outbox=state_folder(),
        broker=given.broker,
        page=given.page,
        record=given.record,
        mute=given.mute,
        packs=pack_files(given.rules, only=given.only_rules),
        crew_files=kept_files([scenario.aircraft] if scenario.aircraft else [], scenario.sortie, given.rules),
    )
    if math.isinf(given.speed):
        if url is not None:
            raise bad_input("--serve at --speed max", "name a speed that people can follow")
        return _at_once(scenario, outfit, given)
    return _paced(scenario, outfit, given, url)


def _opening(now_us: int) -> Sequence[Happening]:
    return [RoutineCall(now_us, 0, None, "exercise", OPENING)]


def _at_once(scenario: AnyScenario, outfit: Outfit, given: argparse.Namespace) -> int:
    """Fly as fast as it goes: no voice and no messages, which need time."""
    if outfit.mqtt is not None or outfit.broker is not None:
        raise bad_input("messages at --speed max", "name a speed that people can follow, or leave out the broker")
    if outfit.page is not None:
        raise bad_input("--page at --speed max", "name a speed that people can follow, or leave out the page")
    engine = Engine(outfit.rules, outfit.aircraft, outfit.sortie)
    shower = Shower(sys.stdout, as_json=given.json, exercise=True)
    begin_us = start_us(scenario)
    recorder: Recorder | None = None
    log: WatchLog | None = None
    if outfit.record is not None:
        folder = prepare_folder(outfit.record, Clock().now_us())
        recorder = Recorder(folder, _complain, begin_us, station=outfit.station, patient=True)
        keep_files(folder, outfit.crew_files)
        log = WatchLog(folder, _complain, lambda: begin_us, exercise=True)

    def take(happenings: list[Happening]) -> None:
        shower.show(happenings)
        if log is not None and happenings:
            log.decided(happenings)

    take(engine.tick(begin_us / 1e6))
    now_us = begin_us
    flight = begin(scenario, given.seed)
    try:
        for sent in flight.frames():
            now_us = max(begin_us + round(sent.time_s * 1e6), now_us)
            if recorder is not None:
                recorder.received(source_of(sent.link), sent.data, now_us)
            take(engine.receive(source_of(sent.link), sent.data, now_us / 1e6))
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
    now_us += 1
    take(engine.tick(now_us / 1e6))
    sys.stdout.flush()
    kept = None
    if recorder is not None and log is not None:
        recorder.close(now_us, timeout_s=10.0)
        log.close(5.0)
        kept = recorder.folder
    _finish(engine, score(flight, shower.changes, engine.elapsed_s), shower.changes, kept)
    return 0


def _complain(part: str, ok: bool, text: str) -> None:
    if not ok:
        print(f"{part}: {text}", file=sys.stderr)


class _Scorer:
    """An outlet that keeps the changes, and in JSON mode prints them."""

    def __init__(self, shower: Shower | None) -> None:
        self.name = "console" if shower is not None else "score"
        self.changes: list[AlertChange] = []
        self._shower = shower

    def put(self, item: Happening) -> None:
        """Keep it."""
        if isinstance(item, AlertChange):
            self.changes.append(item)
            if self._shower is not None:
                self._shower.show([item])
                sys.stdout.flush()

    async def run(self) -> None:
        """Nothing waits here."""
        await asyncio.Event().wait()


def _paced(scenario: AnyScenario, outfit: Outfit, given: argparse.Namespace, url: ServeUrl | None) -> int:
    """Fly at a speed that people can follow, with every outlet."""
    shower = Shower(sys.stdout, as_json=True, exercise=True)
    scorer = _Scorer(shower if given.json else None)
    clock = DrillClock(start_us(scenario), given.speed, scenario.duration_s)
    flight = begin(scenario, given.seed, served=url is not None)
    engines: list[Engine] = []
    paced: list[PacedFlight] = []

    async def prepare(watch: Watch, terminal: Terminal) -> Sequence[Feed]:
        engines.append(watch.engine)
        pace = PacedFlight(flight, clock, watch, terminal.log, terminal.tell_keys)
        paced.append(pace)
        if url is not None:
            await pace.serve(url)
        terminal.log(f"drill {scenario.name}: {' '.join(scenario.about.split())}")
        if url is not None:
            terminal.log(f"the simulated aircraft answers at {given.serve}; any MAVLink client can fly it")
        pace.listen_to_keys()
        return [pace.fly]

    folder = run_to_end(run_watch(outfit, clock, prepare, outlets=[scorer], opening=_opening, describe=False))
    scored = score(flight, scorer.changes, engines[0].elapsed_s, paced[0].acted)
    _finish(engines[0], scored, scorer.changes, folder if outfit.record is not None else None)
    return 0


def _finish(engine: Engine, scored: Score, changes: Sequence[AlertChange], folder: Path | None) -> None:
    for line in summary(engine, changes):
        print(line, file=sys.stderr)
    if folder is not None:
        keep(scored, folder)
    tell(scored)
