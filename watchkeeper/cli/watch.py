"""`watchkeeper watch`: listens, and tells the crew."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from watchkeeper.cli.inputs import (
    FoundLedger,
    add_crew_files,
    find_ledger,
    kept_files,
    load_crew_files,
    load_rules,
    pack_files,
)
from watchkeeper.cli.languages import LANGUAGE, load_language, voice_of
from watchkeeper.cli.messaging import Messaging
from watchkeeper.cli.outfit import Feed, Outfit, run_watch
from watchkeeper.cli.outfit import run as run_to_end
from watchkeeper.daemon import Watch
from watchkeeper.edges.clock import Clock
from watchkeeper.edges.configuration import WatchOptions, read_configuration, settle
from watchkeeper.edges.crew_keys import keys_feed
from watchkeeper.edges.place import parse_place
from watchkeeper.edges.records.watch_log import state_folder
from watchkeeper.edges.sources.urls import DEFAULT_URL, make_source, parse_sources
from watchkeeper.edges.terminal import Terminal


def add(commands: Any, caution: str) -> None:
    """Add the command to the parser."""
    parser = commands.add_parser(
        "watch",
        help="listen to telemetry and warn the crew",
        description="Listens to telemetry and warns the crew, until Ctrl-C. Never sends to the aircraft.",
        epilog=caution,
    )
    parser.add_argument(
        "--from", dest="sources", metavar="URL", action="append", default=[],
        help="where telemetry comes from: udp://HOST:PORT (listen), tcp://HOST:PORT (connect), "
        f"serial:///dev/NAME?baud=57600 or file:///PATH; repeat for several ({DEFAULT_URL})",
    )  # fmt: skip
    add_crew_files(parser, several=True)
    parser.add_argument("--config", metavar="FILE", type=Path, help="the same options from a TOML file")
    add_outlets(parser)
    parser.add_argument("--quiet", action="store_true", help="nothing on the terminal but problems")
    parser.add_argument(
        "--print-service", action="store_true", help="print a systemd unit that watches with these options; end"
    )
    parser.set_defaults(run=lambda given: run(given, parser))


def add_outlets(parser: argparse.ArgumentParser) -> None:
    """Add the options about who is told."""
    parser.add_argument("--station", metavar="NAME", help="name of this station in messages (station)")
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--mqtt", metavar="URL", help="publish to a broker: mqtt://host[:port], mqtts:// for TLS")
    where.add_argument("--broker", metavar="HOST:PORT", help="publish to a broker of the watch's own, begun here")
    parser.add_argument("--page", metavar="HOST:PORT", help="serve a page that shows the watch, to browsers")
    parser.add_argument("--record", metavar="DIR", type=Path, help="keep all that is received and decided")
    parser.add_argument("--mute", action="store_true", help="no voice")


def run(given: argparse.Namespace, parser: argparse.ArgumentParser) -> int:
    """Watch until stopped. Returns the exit status."""
    file = read_configuration(given.config) if given.config is not None else {}
    names = WatchOptions.model_fields
    options = settle({name: value for name, value in vars(given).items() if name in names}, file)
    urls = parse_sources(options.sources)
    files, sortie = load_crew_files(options.aircraft, options.sortie)
    found = find_ledger(sortie, options.sortie, files)
    rules = load_rules(options.rules, only=options.only_rules, sortie=sortie, sortie_path=options.sortie)
    language = load_language(options.language, rules)
    if given.print_service:
        return _print_service(given, parser, options, found)
    kept = kept_files(options.aircraft, options.sortie, options.rules, found.text)
    clock = Clock()

    async def prepare(watch: Watch, terminal: Terminal) -> Sequence[Feed]:
        several = len(urls) > 1
        made = [
            make_source(url, clock, watch.received, watch.report, n, several=several)
            for n, url in enumerate(urls, 1)
        ]
        for source in made:
            await source.open()
            if not options.quiet:
                terminal.log(f"listening to {source.name}")
        keys = [] if options.quiet else [keys_feed(watch, terminal.log, terminal.tell_keys)]
        return [*(source.run for source in made), *keys]

    exercise = all(url.scheme == "file" for url in urls)
    outfit = Outfit(
        rules=rules,
        station=options.station,
        exercise=exercise,
        aircraft=files,
        sortie=sortie,
        mqtt=options.mqtt,
        broker=options.broker,
        messages=options.messages,
        page=options.page,
        page_names=options.page_names,
        record=options.record,
        outbox=options.outbox or state_folder(),
        learned=None if exercise else options.learned or state_folder(),
        mute=options.mute,
        minded=None if exercise else options.learned or state_folder(),
        quiet=options.quiet,
        voice=voice_of(options.voice, language),
        language=language,
        crew_files=kept | ({LANGUAGE: language.text} if language.text else {}),
        packs=pack_files(options.rules, only=options.only_rules),
        ledger=found,
    )
    run_to_end(run_watch(outfit, clock, prepare, describe=not options.quiet))
    return 0


def _print_service(
    given: argparse.Namespace, parser: argparse.ArgumentParser, options: WatchOptions, found: FoundLedger
) -> int:
    """Print the unit of a watch whose options and files have been checked."""
    from watchkeeper.cli.service import unit, words_of  # noqa: PLC0415  (needs what only systems with systemd have)

    for line in Messaging(options.mqtt, options.broker, options.messages).cautions():
        print(line, file=sys.stderr)
    if options.page is not None:
        parse_place("--page", options.page, 8080)
    ledger = found.path.parent if found.path is not None else None
    writes = [path for path in (options.record, options.learned, options.outbox, ledger) if path is not None]
    serial = any(url.scheme == "serial" for url in parse_sources(options.sources))
    print(unit(words_of(parser, given), writes, serial=serial, mute=options.mute), end="")
    return 0
