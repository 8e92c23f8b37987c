"""The hub: log first, and no outlet harms another."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from watchkeeper.alerts.events import AlertChange, Change, Happening, Level, State
from watchkeeper.edges.outlets import LAST_WORDS_S, Hub
from watchkeeper.edges.records.watch_log import WatchLog


def alert(n: int) -> AlertChange:
    return AlertChange(n, n, 42, "link-lost", Level.WARNING, Change.RAISED, State.UNACKNOWLEDGED, "Words.", "x")


class Good:
    """Keeps what it is given."""

    def __init__(self, name: str = "good") -> None:
        self.name = name
        self.items: list[Happening] = []
        self.runs = 0
        self.ended = False

    def put(self, item: Happening) -> None:
        self.items.append(item)

    async def run(self) -> None:
        self.runs += 1
        try:
            await asyncio.Event().wait()
        finally:
            self.ended = True


class Failing(Good):
    """Fails so many times at once, then works."""

    failures = 2

    async def run(self) -> None:
        if self.failures:
            self.failures -= 1
            raise OSError("no such device")
        await super().run()


class Deaf(Good):
    """Raises when it is given anything."""

    def put(self, item: Happening) -> None:
        raise ValueError(item)


class Stubborn(Good):
    """Does not end when it is told to."""

    def __init__(self) -> None:
        super().__init__("stubborn")
        self.let_go = asyncio.Event()

    async def run(self) -> None:
        while not self.let_go.is_set():
            with contextlib.suppress(asyncio.CancelledError):
                await self.let_go.wait()


class Reports:
    """What was reported, to be waited for."""

    def __init__(self) -> None:
        self.queue: asyncio.Queue[tuple[str, bool, str]] = asyncio.Queue()

    def __call__(self, part: str, ok: bool, text: str) -> None:
        self.queue.put_nowait((part, ok, text))

    async def next(self) -> tuple[str, bool]:
        async with asyncio.timeout(5):
            return (await self.queue.get())[:2]


@contextlib.asynccontextmanager
async def running(hub: Hub) -> AsyncIterator[None]:
    task = asyncio.create_task(hub.run())
    await asyncio.sleep(0)
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def test_a_decision_is_in_the_log_before_any_outlet_gets_it(tmp_path: Path) -> None:
    log = WatchLog(tmp_path, Reports(), lambda: 5)
    found: list[str] = []

    class Looks(Good):
        def put(self, item: Happening) -> None:
            super().put(item)
            found.extend((tmp_path / "decisions.jsonl").read_text().splitlines())

    hub = Hub(log, Reports())
    hub.add(Looks())
    hub.hand([alert(1)])
    assert [json.loads(line)["elapsed_s"] for line in found] == [1e-6]
    hub.delivered("voice")(alert(1), "spoken", "")
    log.close()
    (line,) = (tmp_path / "deliveries.jsonl").read_text().splitlines()
    assert json.loads(line)["outlet"] == "voice"


async def test_the_first_outlet_has_everything_before_the_others_get_anything() -> None:
    given: list[tuple[str, Happening]] = []

    class Noting(Good):
        def put(self, item: Happening) -> None:
            given.append((self.name, item))

    hub = Hub(None, lambda *_: None)
    hub.add(Noting("mqtt"))
    hub.add(Noting("voice"))
    hub.hand([alert(1), alert(2)])
    assert given == [("mqtt", alert(1)), ("mqtt", alert(2)), ("voice", alert(1)), ("voice", alert(2))]


async def test_an_outlet_that_fails_is_reported_run_again_and_reported_well() -> None:
    reports = Reports()
    hub = Hub(None, reports, first_pause_s=0.001, sound_after_s=0.01)
    failing, good = Failing("voice"), Good()
    hub.add(failing)
    hub.add(good)
    async with running(hub):
        hub.hand([alert(1)])
        assert [await reports.next() for _ in range(3)] == [("voice", False), ("voice", False), ("voice", True)]
        hub.hand([alert(2)])
    assert good.items == failing.items == [alert(1), alert(2)]
    assert (good.runs, failing.runs) == (1, 1)
    assert good.ended
    assert failing.ended


async def test_an_outlet_that_ends_by_itself_has_failed() -> None:
    reports = Reports()

    class Ends(Good):
        async def run(self) -> None:
            self.runs += 1

    hub = Hub(None, reports, first_pause_s=0.001)
    hub.add(Ends("page"))
    async with running(hub):
        assert await reports.next() == ("page", False)


async def test_an_outlet_that_refuses_items_is_reported_and_the_others_get_theirs() -> None:
    reports = Reports()
    hub = Hub(None, reports)
    good = Good()
    hub.add(Deaf("deaf"))
    hub.add(good)
    hub.hand([alert(1), alert(2)])
    assert good.items == [alert(1), alert(2)]
    assert await reports.next() == ("deaf", False)


async def test_an_outlet_that_does_not_end_holds_the_end_up_no_longer_than_stated() -> None:
    hub = Hub(None, Reports())
    stubborn, good = Stubborn(), Good()
    hub.add(stubborn)
    hub.add(good)
    loop = asyncio.get_running_loop()
    async with running(hub):
        began_s = loop.time()
    assert loop.time() - began_s < LAST_WORDS_S + 0.5
    assert good.ended
    stubborn.let_go.set()
    await asyncio.sleep(0)


async def test_an_outlet_may_take_its_leave() -> None:
    said: list[str] = []

    class Polite(Good):
        async def run(self) -> None:
            try:
                await asyncio.Event().wait()
            finally:
                await asyncio.sleep(0)
                said.append("stopped")

    hub = Hub(None, Reports())
    hub.add(Polite())
    async with running(hub):
        pass
    assert said == ["stopped"]


@pytest.mark.parametrize("count", [0, 1])
async def test_nothing_happening_is_no_trouble(count: int) -> None:
    hub = Hub(None, Reports())
    good = Good()
    hub.add(good)
    hub.hand([alert(n) for n in range(count)])
    assert len(good.items) == count
