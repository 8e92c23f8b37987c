"""Pictures to everybody who looks on: each reader has one pending, and costs nobody else anything."""

from __future__ import annotations

import asyncio
import math
from typing import Final

from aiohttp import web

from watchkeeper.page.connections import Connection, connection_of

MAX_STREAMS: Final = 64
MAX_WITHOUT_KEY: Final = 48
"""The rest is kept for the crew."""
STALLED_S: Final = 20.0
"""Who has taken nothing for so long is dropped."""
LOOKS: Final = 10
"""In that time, at whether something has been taken."""
FULL: Final = "Too many are looking on already.\n"


class Stream:
    """One reader."""

    def __init__(self, *, keyed: bool) -> None:
        self.keyed = keyed
        self._pending: bytes | None = None
        self._some = asyncio.Event()
        self.sent = asyncio.Event()
        """Whether all that was put has been taken."""

    def put(self, event: bytes) -> None:
        """Let this be the next that is sent, in place of what has not been."""
        self._pending = event
        self.sent.clear()
        self._some.set()

    async def next(self) -> bytes:
        """Wait for what is to be sent."""
        await self._some.wait()
        self._some.clear()
        event, self._pending = self._pending, None
        assert event is not None
        return event

    def note_sent(self) -> None:
        """Note that what `next` gave has been taken."""
        if self._pending is None:
            self.sent.set()


class Streams:
    """All readers."""

    def __init__(self, stalled_s: float = STALLED_S) -> None:
        self._stalled_s = stalled_s
        self._all: set[Stream] = set()
        self.newest: bytes | None = None
        self.dropped = 0
        """Readers that took nothing for too long."""

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._all)

    def put(self, event: bytes) -> None:
        """Send this to all."""
        self.newest = event
        for stream in self._all:
            stream.put(event)

    async def sent(self, within_s: float) -> None:
        """Wait until everybody has what was put last, but no longer than this."""
        waiting = [asyncio.ensure_future(stream.sent.wait()) for stream in self._all]
        if waiting:
            await asyncio.wait(waiting, timeout=within_s)
            for one in waiting:
                one.cancel()

    async def serve(self, request: web.Request, first: bytes, *, keyed: bool) -> web.StreamResponse:
        """Answer one request with `first`, then with pictures until the reader has gone."""
        without = sum(not stream.keyed for stream in self._all)
        if len(self._all) >= MAX_STREAMS or (not keyed and without >= MAX_WITHOUT_KEY):
            raise web.HTTPServiceUnavailable(text=FULL, headers={"Retry-After": "10"})
        stream = Stream(keyed=keyed)
        self._all.add(stream)
        try:
            response = web.StreamResponse(
                headers={"Content-Type": "text/event-stream; charset=utf-8", "X-Accel-Buffering": "no"}
            )
            response.force_close()
            await response.prepare(request)
            connection = connection_of(request)
            await self._send(response, connection, first)
            if self.newest is not None:
                stream.put(self.newest)
            while True:
                await self._send(response, connection, await stream.next())
                stream.note_sent()
        except (ConnectionError, _StalledError):
            return response
        finally:
            self._all.discard(stream)

    async def _send(self, response: web.StreamResponse, connection: Connection, event: bytes) -> None:
        """Write, and wait until the system has taken it all; ConnectionError or _StalledError if it does not."""
        writing = asyncio.ensure_future(_write(response, connection, event))
        stalled_s, left = 0.0, math.inf
        try:
            while stalled_s < self._stalled_s:
                done, _ = await asyncio.wait([writing], timeout=self._stalled_s / LOOKS)
                if done:
                    writing.result()
                    return
                stalled_s = 0.0 if connection.unsent_bytes < left else stalled_s + self._stalled_s / LOOKS
                left = connection.unsent_bytes
            self.dropped += 1
            connection.abort()
            raise _StalledError
        finally:
            writing.cancel()


class _StalledError(Exception):
    """The reader takes nothing."""


async def _write(response: web.StreamResponse, connection: Connection, event: bytes) -> None:
    await response.write(event)
    await connection.writable.wait()
    if connection.transport is None:
        raise ConnectionResetError("gone")
