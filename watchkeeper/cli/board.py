"""`watchkeeper board`: the page of many stations and aircraft, for a command post, from the broker alone."""

from __future__ import annotations

import argparse
import asyncio
import logging
import signal
import sys
from pathlib import Path
from typing import Any, Final

import structlog

from watchkeeper.cli.outfit import loop_factory
from watchkeeper.edges.clock import Clock
from watchkeeper.edges.configuration import read_configuration
from watchkeeper.edges.logs import set_up_logs
from watchkeeper.edges.mqtt.address import Broker, parse_broker
from watchkeeper.edges.mqtt.login import Login, Messages
from watchkeeper.edges.place import Place, parse_place
from watchkeeper.edges.records.watch_log import state_folder
from watchkeeper.edges.terminal import Terminal
from watchkeeper.page.announce import caution, lines
from watchkeeper.page.assets import load_assets
from watchkeeper.page.board.board import Board
from watchkeeper.page.board.listening import Listening
from watchkeeper.page.board.scene import BoardScene
from watchkeeper.page.keys import Keys, keys_file, load_keys
from watchkeeper.page.server import PageServer

PAGE: Final = "127.0.0.1:8321"
"""Beside a watch's page on the same machine."""
AGAIN_S: Final = 1.0
LAST_WORDS_S: Final = 0.7
"""How long the parts have to end: Ctrl-C is to be clean within a second."""


def add(commands: Any, caution: str) -> None:
    """Add the command to the parser."""
    parser = commands.add_parser(
        "board",
        help="show many stations and aircraft at a command post",
        description="Serves the page of every station that publishes to a broker, until Ctrl-C.",
        epilog=caution,
    )
    parser.add_argument(
        "--mqtt", metavar="URL", required=True, help="the broker: mqtt://host[:port], mqtts:// for TLS"
    )
    parser.add_argument("--page", metavar="HOST:PORT", default=PAGE, help=f"where the page is served ({PAGE})")
    parser.add_argument(
        "--config", metavar="FILE", type=Path,
        help="a TOML file of a watch: [messages] and page-names are used, all else is not",
    )  # fmt: skip
    parser.add_argument("--quiet", action="store_true", help="nothing on the terminal but problems")
    parser.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    """Serve until stopped. Returns the exit status."""
    file = read_configuration(given.config) if given.config is not None else {}
    broker = parse_broker(given.mqtt)
    messages: Messages = file.get("messages", Messages())
    Login(broker, messages).check()
    place = parse_place("--page", given.page, 8321)
    with asyncio.Runner(loop_factory=loop_factory(sys.platform)) as runner:
        runner.run(_serve(broker, messages, place, file.get("page_names", []), quiet=given.quiet))
    return 0


async def _serve(broker: Broker, messages: Messages, place: Place, names: list[str], *, quiet: bool) -> None:
    terminal = Terminal()
    set_up_logs(terminal, level=logging.WARNING if quiet else logging.INFO)
    try:
        clock = Clock().now_us
        board = Board(str(broker), clock())
        scene = BoardScene(board, clock)
        line = Listening(broker, messages, board, clock, scene.changed)
        server = await _open(place, scene, line, names, terminal, quiet=quiet)
        scene.look = server.changed
        await _until_stopped(line, server)
    finally:
        terminal.close()


async def _open(
    place: Place, scene: BoardScene, line: Listening, names: list[str], terminal: Terminal, *, quiet: bool
) -> PageServer:
    """Return the page's server, listening, and say where. Raises BadInputError if the place cannot be had."""
    file = keys_file(state_folder(), scene.name)
    keys, trouble = await asyncio.to_thread(load_keys, file)
    post = Keys(
        {"post": keys.by_role["post"]}
    )  # a board orders in the name of the command post, and of nobody else
    server = PageServer(
        place, scene, line.asking.carry_out, post, load_assets(), scene.clock, station=scene.name, names=names
    )
    await server.open()
    for said in (
        *([trouble] if trouble else []),
        *([] if quiet else lines(place, post, file, to_person=sys.stderr.isatty())),
        *([caution(place)] if caution(place) else []),
    ):
        terminal.log(said)
    return server


async def _until_stopped(line: Listening, server: PageServer) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    tasks = [asyncio.create_task(line.run(), name="broker"), asyncio.create_task(_keep(server), name="page")]
    stopping = asyncio.create_task(stop.wait(), name="stop")
    try:
        done, _ = await asyncio.wait([*tasks, stopping], return_when=asyncio.FIRST_COMPLETED)
        for task in done - {stopping}:
            task.result()  # none of them ends by itself: it has failed
    finally:
        for task in (*tasks, stopping):
            task.cancel()
        await asyncio.wait(tasks, timeout=LAST_WORDS_S)
        await server.close()


async def _keep(server: PageServer) -> None:
    """Serve, and again after a failure."""
    while True:
        try:
            await server.run()
        except Exception:  # noqa: BLE001  (whoever looks on sees that the page is gone, and that it is back)
            structlog.get_logger().exception("page failed")
        await asyncio.sleep(AGAIN_S)
