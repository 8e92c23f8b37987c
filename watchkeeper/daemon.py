"""The running watch: sources, clock, outlets, orders and reports in one task group.

Everything that the engine is given goes through this one place, in the order of its stamps, and is recorded as
it is given; so a replay of the recording decides the same. A part that fails is reported to the others; a
failure of the engine itself ends the watch loudly.
"""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections import deque
from collections.abc import Awaitable, Callable, Sequence
from typing import Any, Protocol

import structlog

from watchkeeper.alerts.events import Happening, Level, Order
from watchkeeper.edges.host.service_manager import ServiceManager
from watchkeeper.edges.kept import KEEP_EVERY_S, Keeper
from watchkeeper.edges.ledger_file import LedgerKeeper
from watchkeeper.edges.outlets import Hub
from watchkeeper.edges.pack_files import PackFiles
from watchkeeper.edges.records.recorder import Recorder
from watchkeeper.engine import Engine
from watchkeeper.errors import BadInputError, Fault

TICK_S = 0.1
DESCRIBE_AFTER_S = 10.0
MAX_REPORTS = 256
LOOK_EVERY_S = 2.0
HAS_HUP = hasattr(signal, "SIGHUP")
RULES_PART, UNREAD = "rules", "Rule packs cannot be read. The old rules stay."


class TimeOfDay(Protocol):
    """What the watch takes its stamps from: strictly increasing whole microseconds since 1970."""

    def now_us(self) -> int:
        """Return the time."""


class Watch:
    """One watch. Make it, add outlets to its hub, then `run` it until it is stopped."""

    def __init__(
        self,
        engine: Engine,
        clock: TimeOfDay,
        *,
        tell: Callable[[str], None],
        log_reports: bool = False,
        manager: ServiceManager | None = None,
    ) -> None:
        """`tell` takes a line for people (who is heard, and what is missing).

        Reports of parts become alerts of the watch; `log_reports` also puts them into the log, for a watch
        without a console.
        """
        self.engine = engine
        self.clock = clock
        self.hub: Hub | None = None
        self.recorder: Recorder | None = None
        self.keeper: Keeper | None = None
        self.ledger: LedgerKeeper | None = None
        self._manager = manager
        self._tell = tell
        self._log_reports = log_reports
        self._begun = False
        self._stop = asyncio.Event()
        self.packs: PackFiles | None = None
        self._reload = asyncio.Event()
        self._reports: deque[Order] = deque(maxlen=MAX_REPORTS)
        self._reported = asyncio.Event()
        self._failure: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._advisory_texts: set[str] = set()

    def stop(self) -> None:
        """End the watch."""
        self._stop.set()

    def advise_only(self, text: str) -> None:
        """Let a report of these words be an advisory, not a caution."""
        self._advisory_texts.add(text)

    def take_signals(self) -> None:
        """End cleanly on Ctrl-C and TERM; where there are such signals, reload on HUP and describe on USR1."""
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, self.stop)
        if hasattr(signal, "SIGUSR1"):
            loop.add_signal_handler(signal.SIGUSR1, self.describe)
        if hasattr(signal, "SIGHUP"):
            loop.add_signal_handler(signal.SIGHUP, self.reload)

    def start(self, now_us: int) -> None:
        """Begin engine time; the recorder has been given the same stamp."""
        self._begun = True
        self._hand(self.engine.tick(now_us / 1e6))

    def received(self, source: str, data: bytes, now_s: float) -> None:
        """Take bytes of a source; none before the start, nor after a failure. On the event loop."""
        if self._failure.done() or not self._begun:
            return
        try:
            if self.recorder is not None:
                self.recorder.received(source, data, round(now_s * 1e6))
            self._hand(self.engine.receive(source, data, now_s))
        except Exception as error:  # noqa: BLE001  (a callback's error would be swallowed by the loop)
            self._failure.set_exception(error)

    def order(self, order: Order) -> Sequence[Happening]:
        """Carry out an order; returns what happened. Where the engine fails, so does the watch."""
        now_us = self.clock.now_us()
        try:
            if self.recorder is not None:
                self.recorder.ordered(order, now_us)
            happenings = self.engine.order(order, now_us / 1e6)
            self._hand(happenings)
        except Exception as error:
            if not self._failure.done():
                self._failure.set_exception(error)
            raise
        return happenings

    def report(self, part: str, ok: bool, text: str) -> None:
        """Take the word of a part of the program; carried to the engine by a task of its own."""
        level = Level.ADVISORY if text in self._advisory_texts else Level.CAUTION
        self._reports.append(Order(action="report", rule=part, ok=ok, text=text, level=level, role="watch"))
        self._reported.set()

    def reload(self) -> None:
        """Ask for the rule packs to be read anew; a task of its own does it. Without packs to read, nothing."""
        self._reload.set()

    def describe(self) -> None:
        """Tell in plain words who is heard on each source and what is missing."""
        for line in self.engine.describe_sources():
            self._tell(line)

    async def run(self, feeds: Sequence[Callable[[], Awaitable[None]]], *, describe: bool = True) -> None:
        """Run until stopped. Raises what the engine or the watch itself fails with."""
        assert self.hub is not None
        jobs = [self.hub.run(), self._tick(), self._carry_reports(), *(feed() for feed in feeds)]
        if self.keeper is not None:
            jobs.append(self._keep(self.keeper))
        if self.packs is not None:
            jobs += [self._reload_when_asked(self.packs), *([] if HAS_HUP else [self._follow(self.packs)])]
        if describe:
            jobs.append(self._describe_once())
        tasks: list[asyncio.Future[Any]] = [asyncio.ensure_future(job) for job in jobs]
        stopping: asyncio.Future[Any] = asyncio.ensure_future(self._stop.wait())
        try:
            waiting: set[asyncio.Future[Any]] = {*tasks, stopping, self._failure}
            while not self._stop.is_set():
                done, waiting = await asyncio.wait(waiting, return_when=asyncio.FIRST_COMPLETED)
                for one in done:
                    if one is not stopping and (error := one.exception()) is not None:
                        raise error
        finally:
            if self._manager is not None:
                self._manager.stopping()
            for task in (*tasks, stopping):
                task.cancel()
            await asyncio.gather(*tasks, stopping, return_exceptions=True)
            self._end()

    def _end(self) -> None:
        now_us = self.clock.now_us()
        if not self._failure.done():
            self._hand(self.engine.tick(now_us / 1e6))  # the recording ends so too
            self._book()
            if self.ledger is not None:
                self.ledger.close()
            if self.keeper is not None:
                self.keeper.close(self.engine.learned())
        if self.recorder is not None:
            self.recorder.close(now_us)

    def _hand(self, happenings: Sequence[Happening]) -> None:
        if happenings and self.hub is not None:
            self.hub.hand(happenings)

    def _book(self) -> None:
        """Have what flights showed of their packs written into the crew's ledger."""
        if self.ledger is not None and (flown := self.engine.take_flown()):
            self.ledger.put(flown)
            if self.keeper is not None:
                self.keeper.put(self.engine.learned())  # where it still stands as not booked

    async def _tick(self) -> None:
        while True:
            now_us = self.clock.now_us()
            self._hand(self.engine.tick(now_us / 1e6))
            self._book()
            if self.recorder is not None:
                self.recorder.ticked(now_us)
            if self._manager is not None:  # here and nowhere else: what hangs is not alive
                self._manager.ticked()
            await asyncio.sleep(TICK_S)

    async def _keep(self, keeper: Keeper) -> None:
        while True:
            await asyncio.sleep(KEEP_EVERY_S)
            keeper.put(self.engine.learned())

    async def _reload_when_asked(self, packs: PackFiles) -> None:
        """Read and compile off the event loop; then it is an order like any other, and so is recorded."""
        while True:
            await self._reload.wait()
            self._reload.clear()
            if self._manager is not None:
                self._manager.reloading()
            try:
                texts = await asyncio.to_thread(packs.read)
                with contextlib.suppress(BadInputError):  # the engine says so
                    await asyncio.to_thread(self.engine.prepare, texts)
            except BadInputError as error:
                faults: Sequence[Fault] = error.faults
                self.advise_only(UNREAD)
                self.report(RULES_PART, False, UNREAD)
            else:
                self.order(Order(action="reload", packs=texts, role="watch"))
                faults = self.engine.rule_faults
                if not faults:
                    self._tell(f"rules reloaded from {len(texts)} packs")
            for fault in faults:
                self._tell(str(fault))
            if self._manager is not None:
                self._manager.reloaded()

    async def _follow(self, packs: PackFiles) -> None:
        """Where there is no signal for it: reload once the files have changed and then stood still for a look."""
        used = seen = await asyncio.to_thread(packs.times)
        while True:
            await asyncio.sleep(LOOK_EVERY_S)
            now = await asyncio.to_thread(packs.times)
            if now == seen and now != used:
                used = now
                self.reload()
            seen = now

    async def _carry_reports(self) -> None:
        while True:
            await self._reported.wait()
            self._reported.clear()
            while self._reports:
                report = self._reports.popleft()
                if self._log_reports:
                    log = structlog.get_logger()
                    (log.info if report.ok else log.warning)(
                        "part of the watch", part=report.rule, says=report.text
                    )
                self.order(report)

    async def _describe_once(self) -> None:
        await asyncio.sleep(DESCRIBE_AFTER_S)
        self.describe()
