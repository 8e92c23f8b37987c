"""A board on a real broker, for tests."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import Any, Self

from tests.edges import view_parts
from tests.edges.mqtt_parts import Told
from watchkeeper.edges.clock import Clock
from watchkeeper.edges.mqtt.address import parse_broker
from watchkeeper.edges.mqtt.login import Messages
from watchkeeper.edges.mqtt.outlet import Mqtt
from watchkeeper.page.board.board import Board
from watchkeeper.page.board.listening import Listening
from watchkeeper.picture.models import AircraftPicture, StationPicture

PATIENCE_S = 30.0


class HeardBoard(Board):
    """Tells when anything has come."""

    news: asyncio.Event

    def take(self, topic: str, payload: bytes, now_us: int, *, retained: bool) -> bool:
        try:
            return super().take(topic, payload, now_us, retained=retained)
        finally:
            self.news.set()


class Wall:
    """A board for the length of a block."""

    def __init__(self, url: str, clock: Callable[[], int] | None = None, **options: Any) -> None:
        self.news = asyncio.Event()
        self.clock = clock or Clock().now_us
        self.board = HeardBoard(url, self.clock())
        self.board.news = self.news
        self.line = Listening(
            parse_broker(url), Messages(), self.board, self.clock, self.news.set, first_pause_s=0.05, **options
        )

    async def __aenter__(self) -> Self:
        self._task = asyncio.create_task(self.line.run())
        return self

    async def __aexit__(self, *_: object) -> None:
        self._task.cancel()
        done, _waiting = await asyncio.wait([self._task], timeout=2)
        assert done

    def pictures(self) -> dict[str, StationPicture]:
        return {one.station: one for one in self.board.pictures(self.clock())}

    def aircraft(self, station: str, system: int) -> AircraftPicture | None:
        found = self.pictures().get(station)
        return next((one for one in found.aircraft if one.system == system), None) if found is not None else None

    def shows(self, station: str, rule: str, system: int | None = None) -> bool:
        """Whether an alert is listed."""
        found = self.pictures().get(station)
        alerts = [] if found is None else found.alerts
        if system is not None:
            alerts = getattr(self.aircraft(station, system), "alerts", [])
        return any(one.rule == rule for one in alerts)

    def state(self, station: str) -> str:
        found = self.pictures().get(station)
        return found.state if found is not None else ""

    async def until(self, wanted: Callable[[], bool], patience_s: float = PATIENCE_S) -> None:
        async with asyncio.timeout(patience_s):
            while not wanted():  # what becomes of silence comes with no message: look again now and then
                self.news.clear()
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(0.2):
                        await self.news.wait()


class LiveTold(Told):
    """What an outlet has behind it, in real time; says of orders what an engine would."""

    def __init__(self) -> None:
        super().__init__()
        self._live = Clock()
        self.picture = view_parts.station(42, alerts=[])

    def _clock(self) -> int:
        return self._live.now_us()

    def watch(self, url: str, station: str = "field-1", **options: Any) -> Mqtt:
        self.readings = {one.system: one.readings for one in self.picture.aircraft}
        return self.outlet(url, station, picture=lambda: self.picture, **options)
