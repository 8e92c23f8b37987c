"""A page's server of our own, with a scene that the test sets."""

from __future__ import annotations

import asyncio
import contextlib
import json
import time
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import aiohttp

from watchkeeper.alerts.events import Level, Order, State
from watchkeeper.edges.place import Place
from watchkeeper.page.assets import load_assets
from watchkeeper.page.keys import Keys, cookie_name, new_keys
from watchkeeper.page.server import PageServer, Routes
from watchkeeper.page.stream import Streams
from watchkeeper.picture.models import ShownAlert, StationPicture

STATION = "station"
COOKIE = cookie_name(STATION)
TIME = "2026-05-04T09:30:00.000000Z"


@dataclass
class Scene:
    """Shows what it is told to show."""

    callouts: list[str] = field(default_factory=list)
    padding: int = 0
    asked: int = 0
    fails: bool = False

    def pictures(self) -> Sequence[StationPicture]:
        self.asked += 1
        if self.fails:
            raise RuntimeError("no picture")
        return [
            StationPicture(
                station=STATION, exercise=True, state="watching", since=TIME, time=TIME,
                elapsed_s=float(self.asked), alerts=[_alert(one) for one in self.callouts], aircraft=[], said=[],
                hearing={"x" * self.padding: True} if self.padding else {},
            )
        ]  # fmt: skip


def _alert(callout: str) -> ShownAlert:
    return ShownAlert(
        aircraft=None, rule="watch", level=Level.CAUTION, state=State.UNACKNOWLEDGED, since=TIME, callout=callout,
        reason="", evidence={}, stale=False, over=False, acknowledged_by=[],
    )  # fmt: skip


class Orders:
    """Takes orders, and answers as it is told to."""

    def __init__(self) -> None:
        self.taken: list[tuple[str, Order]] = []
        self.reason = ""
        self.error: Exception | None = None

    async def __call__(self, station: str, order: Order) -> str:
        self.taken.append((station, order))
        if self.error is not None:
            raise self.error
        return self.reason


class Served:
    """A server that runs."""

    def __init__(self, server: PageServer, scene: Scene, orders: Orders, keys: Keys) -> None:
        self.server = server
        self.scene = scene
        self.orders = orders
        self.keys = keys
        self.port = server.port
        self.url = f"http://127.0.0.1:{self.port}"

    def cookies(self, role: str) -> dict[str, str]:
        return {COOKIE: self.keys.by_role[role]}


@contextlib.asynccontextmanager
async def serving(
    *,
    host: str = "127.0.0.1",
    streams: Streams | None = None,
    routes: Sequence[Routes] = (),
    assets: Path | None = None,
    scene: Scene | None = None,
) -> AsyncIterator[Served]:
    scene, orders, keys = scene or Scene(), Orders(), new_keys()
    server = PageServer(
        Place(host, 0), scene, orders, keys, load_assets() if assets is None else load_assets(assets),
        lambda: time.monotonic_ns() // 1000, station=STATION, routes=routes, streams=streams,
    )  # fmt: skip
    await server.open()
    running = asyncio.create_task(server.run())
    try:
        yield Served(server, scene, orders, keys)
    finally:
        running.cancel()
        await asyncio.wait([running])


async def events(response: aiohttp.ClientResponse) -> AsyncIterator[tuple[str, Any]]:
    """Yield (event, data) of a text/event-stream (HTML standard, "Server-sent events")."""
    name = "message"
    data = ""
    while line := await response.content.readuntil(b"\n"):
        text = line.decode().rstrip("\n")
        if text.startswith("event:"):
            name = text.removeprefix("event:").strip()
        elif text.startswith("data:"):
            data += text.removeprefix("data:").strip()
        elif not text and data:
            yield name, json.loads(data)
            name, data = "message", ""
