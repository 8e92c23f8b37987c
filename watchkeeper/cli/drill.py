"""`watchkeeper drill`: a simulated flight with faults, watched as a real one would be."""

from __future__ import annotations

import argparse
import asyncio
import json
import math
import sys
import time
from collections.abc import Iterable, Sequence
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.scenario import DEFAULT, Scenario, find, list_scenarios, load
from simulators.scenario_file import Expected
from simulators.scripted.flight import ScriptedFlight
from simulators.wire.serve import Link, ServeUrl, parse_serve_url, serve
from watchkeeper.alerts.events import AlertChange, Change, Happening, RoutineCall
from watchkeeper.cli.arguments import speed
from watchkeeper.cli.inputs import keep_files, kept_files, load_crew_files, load_rules
from watchkeeper.cli.outfit import Feed, Outfit, run_watch
from watchkeeper.cli.outfit import run as run_to_end
from watchkeeper.cli.show import Shower, summary
from watchkeeper.cli.watch import add_outlets
from watchkeeper.daemon import Watch
from watchkeeper.edges.clock import Clock
from watchkeeper.edges.configuration import settle
from watchkeeper.edges.recorder import Recorder, prepare_folder
from watchkeeper.edges.terminal import Terminal
from watchkeeper.edges.watch_log import WatchLog
from watchkeeper.engine import Engine
from watchkeeper.errors import bad_input

OPENING = "Exercise, exercise, exercise."
SOURCE = "drill"
SCORE = "score.json"
PRACTICE = "open-practice"
LAST_WORDS_S = 2.0
"""The last call is given this long to be heard before a drill ends."""


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
        for name in list_scenarios():
            print(f"{name:<16} {' '.join(load(find(name)).about.split())}")
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
        record=given.record,
        mute=given.mute,
        crew_files=kept_files([scenario.aircraft] if scenario.aircraft else [], scenario.sortie, given.rules),
    )
    if math.isinf(given.speed):
        if url is not None:
            raise bad_input("--serve at --speed max", "name a speed that people can follow")
        return _at_once(scenario, outfit, given)
    return _paced(scenario, outfit, given, url)


AnyScenario = Scenario | FlownScenario
AnyFlight = ScriptedFlight | FlownDrill


def _begin(scenario: AnyScenario, seed: int, *, served: bool = False) -> AnyFlight:
    if isinstance(scenario, Scenario):
        return ScriptedFlight(scenario, seed)
    return FlownDrill(scenario, seed, served=served)


class DrillClock:
    """The scenario's time, running at a multiple of real time; strictly increasing."""

    def __init__(self, start_us: int, times_real: float, longest_s: float) -> None:
        """Time stands still `longest_s` after the start: the flight is over, only its last words are spoken."""
        self._start_us = start_us
        self._longest_us = round(longest_s * 1e6)
        self._speed = times_real
        self._began_ns = time.monotonic_ns()
        self._last_us = start_us - 1

    def now_us(self) -> int:
        """Return the scenario's time, at least one microsecond after the last."""
        passed_us = min(round((time.monotonic_ns() - self._began_ns) / 1000 * self._speed), self._longest_us)
        self._last_us = max(self._start_us + passed_us, self._last_us + 1)
        return self._last_us


def source_of(link: int) -> str:
    """Return what the watch calls a link of the simulated aircraft."""
    return SOURCE if link == 0 else f"{SOURCE}-{link + 1}"


def _start_us(scenario: AnyScenario) -> int:
    return round(scenario.start.timestamp() * 1e6)


def _opening(now_us: int) -> Sequence[Happening]:
    return [RoutineCall(now_us, 0, None, "exercise", OPENING)]


def _at_once(scenario: AnyScenario, outfit: Outfit, given: argparse.Namespace) -> int:
    """Fly as fast as it goes: no voice and no messages, which need time."""
    if outfit.mqtt is not None:
        raise bad_input("--mqtt at --speed max", "name a speed that people can follow")
    engine = Engine(outfit.rules, outfit.aircraft, outfit.sortie)
    shower = Shower(sys.stdout, as_json=given.json, exercise=True)
    start_us = _start_us(scenario)
    recorder: Recorder | None = None
    log: WatchLog | None = None
    if outfit.record is not None:
        folder = prepare_folder(outfit.record, Clock().now_us())
        recorder = Recorder(folder, _complain, start_us, station=outfit.station, patient=True)
        keep_files(folder, outfit.crew_files)
        log = WatchLog(folder, _complain, lambda: start_us, exercise=True)

    def take(happenings: list[Happening]) -> None:
        shower.show(happenings)
        if log is not None and happenings:
            log.decided(happenings)

    take(engine.tick(start_us / 1e6))
    now_us = start_us
    flight = _begin(scenario, given.seed)
    try:
        for sent in flight.frames():
            now_us = max(start_us + round(sent.time_s * 1e6), now_us)
            if recorder is not None:
                recorder.received(source_of(sent.link), sent.data, now_us)
            take(engine.receive(source_of(sent.link), sent.data, now_us / 1e6))
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
    now_us += 1
    take(engine.tick(now_us / 1e6))
    sys.stdout.flush()
    if recorder is not None and log is not None:
        recorder.close(now_us, timeout_s=10.0)
        log.close(5.0)
        _keep_score(recorder.folder, scenario.name, flight.expect, shower.changes)
    _tell_score(engine, flight.expect, shower.changes)
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
    clock = DrillClock(_start_us(scenario), given.speed, scenario.duration_s)
    flight = _begin(scenario, given.seed, served=url is not None)
    engines: list[Engine] = []

    async def prepare(watch: Watch, terminal: Terminal) -> Sequence[Feed]:
        engines.append(watch.engine)
        terminal.log(f"drill {scenario.name}: {' '.join(scenario.about.split())}")
        pace = _Pace(flight, clock, _start_us(scenario), given.speed, watch)
        if url is None:
            return [pace.fly]
        await pace.serve(url)
        terminal.log(f"the simulated aircraft answers at {given.serve}; any MAVLink client can fly it")
        return [pace.fly]

    folder = run_to_end(run_watch(outfit, clock, prepare, outlets=[scorer], opening=_opening, describe=False))
    if folder is not None and outfit.record is not None:
        _keep_score(folder, scenario.name, flight.expect, scorer.changes)
    _tell_score(engines[0], flight.expect, scorer.changes)
    return 0


class _Pace:
    """Flies at the pace of the drill's clock. What is served is heard by the watch as well, both ways."""

    def __init__(
        self, flight: AnyFlight, clock: DrillClock, start_us: int, times_real: float, watch: Watch
    ) -> None:
        self._flight = flight
        self._clock = clock
        self._start_us = start_us
        self._speed = times_real
        self._watch = watch
        self._open = AsyncExitStack()
        self._link: Link | None = None

    async def serve(self, url: ServeUrl) -> None:
        """Let clients connect. Raises BadInputError if the address cannot be had."""
        self._link = await self._open.enter_async_context(serve(url, self._ordered))

    async def fly(self) -> None:
        """Fly to the end, then stop the watch."""
        async with self._open:
            if isinstance(self._flight, ScriptedFlight):
                for sent in self._flight.frames():
                    await self._wait_until(sent.time_s)
                    self._hear(sent.data, sent.link)
            else:
                while not self._flight.over:
                    await self._wait_until(self._flight.flight.time_s + self._flight.flight.step_s)
                    for link, data in self._flight.step():
                        self._hear(data, link)
                        if self._link is not None:
                            self._link.send(data)
            await asyncio.sleep(LAST_WORDS_S)
        self._watch.stop()

    def _ordered(self, data: bytes) -> list[bytes]:
        """Take a client's frame; what answers it comes down the link."""
        assert isinstance(self._flight, FlownDrill)
        self._hear(data, 0)
        self._flight.order(data)
        return []

    def _hear(self, data: bytes, link: int) -> None:
        self._watch.received(source_of(link), data, self._clock.now_us() / 1e6)

    async def _wait_until(self, time_s: float) -> None:
        wait_us = self._start_us + round(time_s * 1e6) - self._clock.now_us()
        if wait_us > 0:
            await asyncio.sleep(wait_us / 1e6 / self._speed)


def _first_raised(changes: Iterable[AlertChange], expected: Expected) -> float | None:
    times = [
        change.elapsed_us / 1e6
        for change in changes
        if change.rule == expected.rule and change.change is Change.RAISED
    ]
    return next((t for t in times if t >= expected.begins), None)


def _tell_score(engine: Engine, expect: Iterable[Expected], changes: Sequence[AlertChange]) -> None:
    for line in summary(engine, changes):
        print(line, file=sys.stderr)
    for expected in expect:
        raised_s = _first_raised(changes, expected)
        if raised_s is None:
            said = "not called" if engine.elapsed_s >= expected.by else "not reached"
        else:
            said = f"called at {raised_s:.1f} s, {'in time' if raised_s <= expected.by else 'late'}"
        print(f"{expected.fault}: {expected.rule} by {expected.by:g} s, {said}", file=sys.stderr)


def _keep_score(folder: Path, name: str, expect: Iterable[Expected], changes: Sequence[AlertChange]) -> None:
    rows = [{**expected.model_dump(), "called_s": _first_raised(changes, expected)} for expected in expect]
    try:
        text = json.dumps({"exercise": True, "scenario": name, "expected": rows}, indent=2)
        (folder / SCORE).write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        print(f"score not kept: {error.strerror}", file=sys.stderr)
