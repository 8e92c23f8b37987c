"""What `--page` asks for, checked before anything is started."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from watchkeeper.alerts.events import Happening, Order
from watchkeeper.edges.place import parse_place
from watchkeeper.edges.reports import Report
from watchkeeper.page.announce import caution, lines, where_keys
from watchkeeper.page.assets import load_assets
from watchkeeper.page.keys import keys_file, load_keys
from watchkeeper.page.orders import orders_of
from watchkeeper.page.server import PageServer, Routes, Scene

PART: Final = "keys"
NEW_KEYS: Final = "Page's keys were not kept. Scan the codes anew."


class Paging:
    """Where the page is served, and with which keys. Raises BadInputError, in one line, for what cannot work."""

    def __init__(self, page: str, names: Sequence[str], folder: Path, station: str) -> None:
        """`folder` is where the keys are kept."""
        self._place = parse_place("--page", page, 8080)
        self._names = names
        self._station = station
        self._assets = load_assets()
        self._file = keys_file(folder, station)

    async def open(
        self,
        scene: Scene,
        order: Callable[[Order], Sequence[Happening]],
        clock: Callable[[], int],
        say: Callable[[str], None],
        report: Report,
        *,
        quiet: bool,
        routes: Sequence[Routes] = (),
    ) -> PageServer:
        """Return the server, listening already, and say where. Raises BadInputError if the place cannot be had."""
        keys, trouble = await asyncio.to_thread(load_keys, self._file)
        server = PageServer(
            self._place, scene, orders_of(self._station, order), keys, self._assets, clock,
            station=self._station, names=self._names, routes=routes,
        )  # fmt: skip
        await server.open()
        if trouble:
            say(trouble)
            report(PART, False, NEW_KEYS)
        warned = caution(self._place)
        if warned:
            say(warned)
        if not quiet:  # the code for the phone last: on a small terminal nothing is to push it out
            for line in lines(self._place, keys, self._file, to_person=_person()):
                say(line)
        elif warned:
            say(where_keys(self._file))
        return server


def _person() -> bool:
    """Whether what is said goes to a terminal, not into a log."""
    try:
        return os.isatty(2)
    except OSError:
        return False
