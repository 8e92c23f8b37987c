"""Sets a watch up with its outlets, for `watch` and for a drill at a speed that people can follow."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.alerts.events import Happening, Order
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.cli.inputs import FoundLedger, keep_files
from watchkeeper.daemon import TimeOfDay, Watch
from watchkeeper.edges.clock import Clock, utc_text
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.console import Console
from watchkeeper.edges.kept import Keeper, kept_file
from watchkeeper.edges.ledger_file import PART, LedgerKeeper
from watchkeeper.edges.logs import set_up_logs, without_secrets
from watchkeeper.edges.mqtt import Mqtt
from watchkeeper.edges.mqtt_address import parse_broker
from watchkeeper.edges.outlets import Hub, Outlet
from watchkeeper.edges.pack_files import PackFiles
from watchkeeper.edges.recorder import Recorder, prepare_folder
from watchkeeper.edges.settings_check import SettingsCheck
from watchkeeper.edges.terminal import Terminal
from watchkeeper.edges.voice import NO_DEVICE, Voice
from watchkeeper.edges.watch_log import WatchLog, default_folder
from watchkeeper.engine import Engine
from watchkeeper.rules.load import RuleSet

PLAYED_OUT = "Recording has ended."
"""What a recording that is played as a source reports at its end."""


@dataclass(frozen=True, slots=True)
class Outfit:
    """What a watch is to have."""

    rules: RuleSet
    station: str
    exercise: bool
    aircraft: Sequence[AircraftFile] = ()
    sortie: SortieFile | None = None
    mqtt: str | None = None
    record: Path | None = None
    learned: Path | None = None
    """Folder in which what is learned in flight is kept; None in an exercise, which must not touch it."""
    mute: bool = False
    quiet: bool = False
    voice: VoiceOptions = field(default_factory=VoiceOptions)
    language: Language = ENGLISH
    crew_files: Mapping[str, str] = field(default_factory=dict)
    """Kept beside a recording, so that a replay decides the same."""
    packs: PackFiles | None = None
    """The rule packs, to be read again on a reload."""
    ledger: FoundLedger = field(default_factory=FoundLedger)
    """The crew's pack ledger; an exercise reads it and never writes it."""


UNUSABLE = "Pack ledger not usable. Going on without it."
MISFIT = "Fitted packs do not match the pack ledger."

Feed = Callable[[], Awaitable[None]]
Prepare = Callable[[Watch, Terminal], Awaitable[Sequence[Feed]]]
"""Opens what the watch listens to; raises BadInputError if it cannot be."""


async def run_watch(
    outfit: Outfit,
    clock: TimeOfDay,
    prepare: Prepare,
    *,
    outlets: Sequence[Outlet] = (),
    opening: Callable[[int], Sequence[Happening]] = lambda _: (),
    describe: bool = True,
) -> Path | None:
    """Run a watch until it is stopped; returns the folder in which its log stands.

    `outlets` come on top of those of the outfit, in place of the console if any is named so. `opening` gives
    what is said first of all.
    """
    if outfit.mqtt is not None:
        parse_broker(outfit.mqtt)
    terminal = Terminal()
    set_up_logs(terminal, level=logging.WARNING if outfit.quiet else logging.INFO)
    try:
        return await _run(outfit, clock, prepare, terminal, outlets, opening, describe=describe)
    finally:
        terminal.close()


async def _run(
    outfit: Outfit,
    clock: TimeOfDay,
    prepare: Prepare,
    terminal: Terminal,
    outlets: Sequence[Outlet],
    opening: Callable[[int], Sequence[Happening]],
    *,
    describe: bool,
) -> Path | None:
    engine = Engine(outfit.rules, outfit.aircraft, outfit.sortie, outfit.ledger.ledger, outfit.language)
    watch = Watch(engine, clock, tell=terminal.log, log_reports=outfit.quiet)
    watch.take_signals()
    watch.advise_only(NO_DEVICE)
    watch.advise_only(PLAYED_OUT)
    feeds = await prepare(watch, terminal)
    started_us = clock.now_us()
    recorder: Recorder | None = None
    folder = default_folder(started_us)
    if outfit.record is not None:
        folder = prepare_folder(outfit.record, started_us)
        recorder = Recorder(folder, watch.report, started_us, station=outfit.station)
        keep_files(folder, outfit.crew_files)
        if not outfit.quiet:
            terminal.log(f"recording into {folder}")
    log = WatchLog(folder, watch.report, clock.now_us, exercise=outfit.exercise)
    hub = Hub(log, watch.report)
    named = {outlet.name for outlet in outlets}
    if not outfit.quiet and "console" not in named:
        hub.add(Console(terminal, watch.report, hub.delivered("console"), outfit.language))
    for outlet in outlets:
        hub.add(outlet)
    if not outfit.mute:
        numerals = outfit.language.numerals
        hub.add(Voice(watch.report, hub.delivered("voice"), outfit.voice, numerals=numerals))
    if outfit.mqtt is not None:
        hub.add(_mqtt(outfit, outfit.mqtt, watch, hub))
        if not outfit.quiet:
            terminal.log(f"messages by {without_secrets(outfit.mqtt)} as station {outfit.station}")
    watch.hub = hub
    watch.recorder = recorder
    watch.packs = outfit.packs
    if outfit.learned is not None:
        watch.keeper = _keeper(outfit.learned, outfit.station, watch)
    _open_ledger(outfit, watch, terminal)
    if outfit.sortie is not None:
        check = SettingsCheck(engine, watch.order, watch.report, outfit.sortie, outfit.ledger.ledger)
        feeds = [*feeds, check.run]
    try:
        watch.start(started_us)
        hub.hand(opening(started_us))
        await watch.run(feeds, describe=describe)
    finally:
        log.close()
    return folder


def _keeper(folder: Path, station: str, watch: Watch) -> Keeper:
    def report(part: str, ok: bool, text: str) -> None:
        if not ok:
            watch.advise_only(text)  # no flight is worse for it
        watch.report(part, ok, text)

    def take(orders: Sequence[Order]) -> None:
        for order in orders:
            watch.order(order)

    return Keeper(kept_file(folder, station), report, take)


def _open_ledger(outfit: Outfit, watch: Watch, terminal: Terminal) -> None:
    def report(part: str, ok: bool, text: str) -> None:
        if not ok:
            watch.advise_only(text)  # no flight is worse for it
        watch.report(part, ok, text)

    found = outfit.ledger
    for fault in found.faults:
        terminal.log(str(fault))
    if found.faults:
        report(PART, False, UNUSABLE if found.ledger is None else MISFIT)
    if found.path is not None and found.ledger is not None and not outfit.exercise:
        watch.ledger = LedgerKeeper(found.path, report, lambda: utc_text(watch.clock.now_us())[:10])


def _mqtt(outfit: Outfit, url: str, watch: Watch, hub: Hub) -> Mqtt:
    engine = watch.engine
    return Mqtt(
        url,
        station=outfit.station,
        exercise=outfit.exercise,
        report=watch.report,
        delivered=hub.delivered("mqtt"),
        on_order=watch.order,
        clock=Clock().now_us,  # of the wall, in a drill too: messages are sent, and orders given, by real people
        readings=lambda: {system: engine.readings(system) for system in engine.systems()},
    )


def run(coroutine: Awaitable[Path | None]) -> Path | None:
    """Run to the end on a fresh event loop."""

    async def main() -> Path | None:
        return await coroutine

    return asyncio.run(main())
