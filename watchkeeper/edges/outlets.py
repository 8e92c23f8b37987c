"""Where decisions go: first into the watch log, then to every outlet, none of which can harm another."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Iterable
from typing import Protocol, TypeAlias

import structlog

from watchkeeper.alerts.events import Happening
from watchkeeper.edges.records.watch_log import WatchLog
from watchkeeper.edges.reports import Report

Delivered: TypeAlias = Callable[[Happening, str, str], None]
"""delivered(item, outcome, detail): what an outlet did with an item."""

FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 30.0
SOUND_AFTER_S = 10.0
"""An outlet that has run this long since its last failure works again."""
LAST_WORDS_S = 0.7
"""How long outlets have to end when the watch ends: Ctrl-C is to be clean within a second."""


class Outlet(Protocol):
    """Takes what happened to somebody."""

    @property
    def name(self) -> str:
        """One word; also the name under which its troubles are reported."""

    def put(self, item: Happening) -> None:
        """Take one item. Never blocks; bounded, with a stated policy for what is dropped."""

    async def run(self) -> None:
        """Work until cancelled. May raise: it is then reported, and run again after a pause."""


class Hub:
    """Hands on what happened. Each outlet runs in a task of its own.

    `report` may be called from within `hand`: it must not call `hand` in turn, but leave that to another task.
    """

    def __init__(
        self,
        log: WatchLog | None,
        report: Report,
        *,
        first_pause_s: float = FIRST_PAUSE_S,
        sound_after_s: float = SOUND_AFTER_S,
    ) -> None:
        self._log = log
        self._report = report
        self._first_pause_s = first_pause_s
        self._sound_after_s = sound_after_s
        self._outlets: list[Outlet] = []
        self._refused_s: dict[str, float] = {}
        self.listen: Callable[[str, Happening, str, str], None] | None = None
        """Also told of every delivery: (outlet, item, outcome, detail)."""

    def add(self, outlet: Outlet) -> None:
        """Add an outlet; before `run`. It is given each item after those added earlier."""
        self._outlets.append(outlet)

    def delivered(self, outlet: str) -> Delivered:
        """Return the callback by which an outlet of that name enters deliveries into the watch log."""

        def enter(item: Happening, outcome: str, detail: str) -> None:
            if self._log is not None:
                self._log.delivered(outlet, item, outcome, detail)
            if self.listen is not None:
                self.listen(outlet, item, outcome, detail)

        return enter

    def hand(self, happenings: Iterable[Happening]) -> None:
        """Log what happened, then give it to every outlet. Does not block beyond the watch log's stated bound."""
        items = list(happenings)
        if not items:
            return
        if self._log is not None:
            self._log.decided(items)
        for outlet in self._outlets:
            for item in items:
                self._put(outlet, item)

    def _put(self, outlet: Outlet, item: Happening) -> None:
        try:
            outlet.put(item)
        except Exception as error:  # noqa: BLE001  (a fault in one outlet must not reach the others)
            self._refused_s[outlet.name] = time.monotonic()
            self._failed(outlet, error)
        else:
            refused_s = self._refused_s.get(outlet.name)
            if refused_s is not None and time.monotonic() - refused_s >= self._sound_after_s:
                del self._refused_s[outlet.name]
                self._report(outlet.name, True, f"{outlet.name} works again")

    async def run(self) -> None:
        """Run every outlet until cancelled, then give them LAST_WORDS_S to end."""
        tasks = [asyncio.create_task(self._keep(outlet), name=f"outlet {outlet.name}") for outlet in self._outlets]
        try:
            await asyncio.Event().wait()
        finally:
            for task in tasks:
                task.cancel()
            if tasks:  # one that does not end is left behind; it holds up nobody
                await asyncio.wait(tasks, timeout=LAST_WORDS_S)

    async def _keep(self, outlet: Outlet) -> None:
        pause_s = self._first_pause_s
        failing = False
        while True:
            started_s = time.monotonic()
            running = asyncio.create_task(outlet.run(), name=f"run {outlet.name}")
            try:
                if failing:
                    await asyncio.wait([running], timeout=self._sound_after_s)
                    if not running.done():
                        failing = False
                        self._report(outlet.name, True, f"{outlet.name} works again")
                await asyncio.wait([running])
            finally:
                if not running.done():  # the watch ends: let the outlet end in its own way
                    running.cancel()
                    await asyncio.wait([running])
            if time.monotonic() - started_s >= self._sound_after_s:
                pause_s = self._first_pause_s
            self._failed(outlet, None if running.cancelled() else running.exception())
            failing = True
            await asyncio.sleep(pause_s)
            pause_s = min(2.0 * pause_s, LONGEST_PAUSE_S)

    def _failed(self, outlet: Outlet, error: BaseException | None) -> None:
        log = structlog.get_logger()
        log.warning("outlet failed", outlet=outlet.name, error=repr(error) if error else "ended by itself")
        self._report(outlet.name, False, f"{outlet.name.capitalize()} failed. Look at another outlet.")
