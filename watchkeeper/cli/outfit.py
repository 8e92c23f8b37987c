"""Sets a watch up with its outlets, for `watch` and for a drill at a speed that people can follow."""

from __future__ import annotations

import asyncio
import logging
import os
import sys
from collections.abc import Awaitable, Callable, Mapping, Sequence
from contextlib import AsyncExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.alerts.ahead import fixed_warnings
from watchkeeper.alerts.events import Happening, Order
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.alerts.sightings import sighting_words
from watchkeeper.cli.health import health_feeds
from watchkeeper.cli.inputs import FoundLedger, keep_files
from watchkeeper.cli.messaging import Messaging
from watchkeeper.cli.showing import Showing, live_status, open_showing
from watchkeeper.daemon import TimeOfDay, Watch
from watchkeeper.edges.broker.embedded import EmbeddedBroker
from watchkeeper.edges.clock import Clock, utc_text
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.edges.console import Console
from watchkeeper.edges.host.service_manager import ServiceManager
from watchkeeper.edges.kept import Keeper, kept_file
from watchkeeper.edges.ledger_file import PART, LedgerKeeper
from watchkeeper.edges.logs import set_up_logs
from watchkeeper.edges.minder.minder import WORDS as MINDER_WORDS
from watchkeeper.edges.minder.minder import Minder
from watchkeeper.edges.mqtt.login import Messages
from watchkeeper.edges.mqtt.outlet import Mqtt
from watchkeeper.edges.mqtt.spool import PART as OUTBOX
from watchkeeper.edges.outlets import Hub, Outlet
from watchkeeper.edges.pack_files import PackFiles
from watchkeeper.edges.painting import Painting
from watchkeeper.edges.reached import Reached, ways
from watchkeeper.edges.records.recorder import Recorder, prepare_folder
from watchkeeper.edges.records.watch_log import WatchLog, default_folder, state_folder
from watchkeeper.edges.settings_check import SettingsCheck
from watchkeeper.edges.terminal import Terminal
from watchkeeper.edges.voice.attention import STAND_IN
from watchkeeper.edges.voice.outlet import NO_DEVICE, Voice
from watchkeeper.engine import Engine
from watchkeeper.rules.load import RuleSet

if TYPE_CHECKING:
    from watchkeeper.cli.paging import Paging

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
    broker: str | None = None
    messages: Messages = field(default_factory=Messages)
    page: str | None = None
    page_names: Sequence[str] = ()
    record: Path | None = None
    learned: Path | None = None
    """Folder in which what is learned in flight is kept; None in an exercise, which must not touch it."""
    outbox: Path | None = None
    """Folder in which messages wait for the broker; None: in memory."""
    mute: bool = False
    quiet: bool = False
    minded: Path | None = None
    """Folder of the minder's mark; None in an exercise, which has no minder."""
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
Say = Callable[[str], None]
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
    messaging = Messaging(outfit.mqtt, outfit.broker, outfit.messages)
    paging = None
    if outfit.page is not None:
        from watchkeeper.cli.paging import Paging  # noqa: PLC0415  (half a second that only a page is worth)

        paging = Paging(outfit.page, outfit.page_names, state_folder(), outfit.station)
    terminal = Terminal()
    set_up_logs(terminal, level=logging.WARNING if outfit.quiet else logging.INFO)
    try:
        async with AsyncExitStack() as stack:
            return await _run(
                outfit, clock, prepare, terminal, outlets, opening, messaging, paging, stack, describe=describe
            )
    finally:
        terminal.close()


async def _run(
    outfit: Outfit,
    clock: TimeOfDay,
    prepare: Prepare,
    terminal: Terminal,
    outlets: Sequence[Outlet],
    opening: Callable[[int], Sequence[Happening]],
    messaging: Messaging,
    paging: Paging | None,
    stack: AsyncExitStack,
    *,
    describe: bool,
) -> Path | None:
    engine = Engine(outfit.rules, outfit.aircraft, outfit.sortie, outfit.ledger.ledger, outfit.language)
    manager = ServiceManager.of_environment(os.environ, engine.heard_line)  # before there are children
    watch = Watch(engine, clock, tell=terminal.log, log_reports=outfit.quiet, manager=manager)
    watch.take_signals()
    watch.advise_only(NO_DEVICE)
    watch.advise_only(PLAYED_OUT)
    broker = messaging.broker(watch.report)
    if broker is not None:
        stack.push_async_callback(broker.close)  # after the outlet has said goodbye
        await broker.start()
    showing = await open_showing(
        watch, terminal, paging, stack, station=outfit.station, exercise=outfit.exercise, sortie=outfit.sortie,
        voice=outfit.voice, quiet=outfit.quiet,
    )  # fmt: skip
    feeds = [*await prepare(watch, terminal), *([] if broker is None else [broker.run])]
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
    hub = watch.hub = Hub(log, watch.report)
    if messaging.url is not None:  # first: on disk before anybody sees or hears it
        hub.add(_mqtt(outfit, messaging, watch, hub, broker, showing.painting))
    messaging.tell(terminal.log, outfit.station, quiet=outfit.quiet)
    _add_outlets(hub, outfit, watch, terminal, outlets, showing)
    watch.recorder, watch.packs = recorder, outfit.packs
    if outfit.learned is not None:
        watch.keeper = _keeper(outfit.learned, outfit.station, watch)
    _open_ledger(outfit, watch, terminal)
    if outfit.sortie is not None:
        check = SettingsCheck(engine, watch.order, watch.report, outfit.sortie, outfit.ledger.ledger)
        feeds = [*feeds, check.run]
    minder = _minder(outfit, outfit.minded, watch) if outfit.minded is not None else None
    feeds = [*feeds, *health_feeds(watch, minder, mute=outfit.mute)]
    try:
        watch.start(started_us)
        hub.hand(opening(started_us))
        await watch.run(feeds, describe=describe)
        if minder is not None:  # else, or after an error, it is to sound
            await minder.dismiss()
    finally:
        log.close()
    return folder


def _add_outlets(
    hub: Hub, outfit: Outfit, watch: Watch, terminal: Terminal, outlets: Sequence[Outlet], showing: Showing
) -> None:
    if not outfit.quiet and "console" not in {outlet.name for outlet in outlets}:
        hub.add(Console(terminal, watch.report, hub.delivered("console"), outfit.language))
        if terminal.room() is not None:
            hub.add(live_status(showing.painting, watch, terminal))
    for outlet in (*showing.outlets, *outlets):
        hub.add(outlet)
    if not outfit.mute:
        hub.add(_voice(outfit, watch, hub))
    phone = showing.phone
    if phone is not None:
        hub.add(phone)
    way_to = ways(mute=outfit.mute, quiet=outfit.quiet, role=outfit.voice.role)
    hub.listen = Reached(watch.order, way_to, by_phone=lambda: phone is not None and phone.wanted).delivered


def _minder(outfit: Outfit, folder: Path, watch: Watch) -> Minder:
    words = {what: outfit.language.phrase(said) for what, said in MINDER_WORDS.items()}
    return Minder(watch.report, outfit.voice, folder, words=words)


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
        watch.ledger = LedgerKeeper(found.path, report, lambda: utc_text(watch.clock.now_us())[:19] + "Z")


def _voice(outfit: Outfit, watch: Watch, hub: Hub) -> Voice:
    language = outfit.language
    stand_ins = (language.phrase(words) for words in STAND_IN.values())
    return Voice(
        watch.report,
        hub.delivered("voice"),
        outfit.voice,
        language=language,
        ahead=(*stand_ins, *sighting_words(language), *fixed_warnings(outfit.rules.rules, language)),
        reword=lambda item: watch.engine.words_now(item.rule, item.aircraft),
    )


def _mqtt(
    outfit: Outfit, messaging: Messaging, watch: Watch, hub: Hub, broker: EmbeddedBroker | None, painting: Painting
) -> Mqtt:
    engine = watch.engine
    assert messaging.url is not None

    def report(part: str, ok: bool, text: str) -> None:
        if part == OUTBOX and not ok:
            watch.advise_only(text)  # messages go out all the same
        watch.report(part, ok, text)

    return Mqtt(
        messaging.url,
        station=outfit.station,
        exercise=outfit.exercise,
        messages=messaging.messages,
        only_3_1_1=messaging.embedded,
        report=report if broker is None else broker.shielded(report),
        delivered=hub.delivered("mqtt"),
        on_order=watch.order,
        clock=Clock().now_us,  # of the wall, in a drill too: messages are sent, and orders given, by real people
        spool=outfit.outbox,
        readings=lambda: {system: engine.readings(system) for system in engine.systems()},
        picture=painting.picture,
    )


def run(coroutine: Awaitable[Path | None]) -> Path | None:
    """Run to the end on a fresh event loop."""

    async def main() -> Path | None:
        return await coroutine

    with asyncio.Runner(loop_factory=loop_factory(sys.platform)) as runner:
        return runner.run(main())


def loop_factory(platform: str) -> Callable[[], asyncio.AbstractEventLoop] | None:
    """Return what makes the event loop on a platform (by the words of sys.platform); None: the usual one.

    aiomqtt watches sockets, which the usual loop of Windows cannot (documentation of asyncio, "Platform support").
    """
    return asyncio.SelectorEventLoop if platform == "win32" else None
