"""What the tests of sources share: who gathers what comes, a clock that stands, peers and ptys."""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import termios
import tty
from collections.abc import AsyncIterator, Callable
from pathlib import Path

from watchkeeper.edges.clock import Clock
from watchkeeper.edges.sources.urls import Source
from watchkeeper.link.encode import Encoder

PATIENCE_S = 20.0


class SetClock(Clock):
    """A clock that stands until it is set."""

    at_us = 1_000_000
    step_us = 1

    def now_us(self) -> int:
        self.at_us += self.step_us
        return self.at_us


class Gathered:
    """What a source delivered and reported, to be waited for."""

    def __init__(self) -> None:
        self.calls: list[tuple[str, bytes, float]] = []
        self.reports: list[tuple[str, bool, str]] = []
        self._came = asyncio.Event()

    def received(self, source: str, data: bytes, now_s: float) -> None:
        self.calls.append((source, data, now_s))
        self._came.set()

    def report(self, part: str, ok: bool, text: str) -> None:
        self.reports.append((part, ok, text))
        self._came.set()

    @property
    def data(self) -> bytes:
        return b"".join(data for _, data, _ in self.calls)

    @property
    def cuts(self) -> int:
        return sum(not data for _, data, _ in self.calls)

    async def until(self, calls: int = 0, reports: int = 0) -> None:
        await self.when(lambda: len(self.calls) >= calls and len(self.reports) >= reports)

    async def when(self, true: Callable[[], bool]) -> None:
        async with asyncio.timeout(PATIENCE_S):
            while not true():
                self._came.clear()
                await self._came.wait()


@contextlib.asynccontextmanager
async def running(source: Source) -> AsyncIterator[None]:
    """Open and run a source; at the end it is cancelled, and must not have failed."""
    await source.open()
    task = asyncio.create_task(source.run())
    try:
        yield
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


def heartbeats(count: int, system: int = 42) -> list[bytes]:
    encoder = Encoder(system, 1)
    return [encoder.encode("HEARTBEAT", custom_mode=n, type=13, autopilot=3) for n in range(count)]


class Peer:
    """A TCP server of the test: one connection at a time, all that comes from it is kept."""

    def __init__(self, port: int = 0) -> None:
        self._server = socket.socket()
        self._server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._server.bind(("127.0.0.1", port))
        self._server.listen()
        self._server.setblocking(False)
        self.port = int(self._server.getsockname()[1])
        self.accepted = 0

    async def accept(self) -> socket.socket:
        async with asyncio.timeout(PATIENCE_S):
            connection, _ = await asyncio.get_running_loop().sock_accept(self._server)
        self.accepted += 1
        return connection

    def close(self) -> None:
        self._server.close()


class Device:
    """A pseudo-terminal behind a link, as a serial device that is plugged in and out."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self._master = -1

    def plug(self, *, raw: bool = True) -> None:
        self._master, slave = os.openpty()
        if raw:
            tty.setraw(slave)
        settings = termios.tcgetattr(slave)
        settings[2] |= termios.HUPCL  # as serial drivers begin (Linux: tty_std_termios), pseudo-terminals do not
        termios.tcsetattr(slave, termios.TCSANOW, settings)
        os.set_blocking(self._master, False)
        self.link.symlink_to(os.ttyname(slave))
        os.close(slave)

    def unplug(self) -> None:
        if self._master >= 0:
            self.link.unlink()
            os.close(self._master)
            self._master = -1

    @property
    def number(self) -> int:
        return self._master

    async def send(self, data: bytes) -> None:
        """Send all of it, as the other end takes it."""
        async with asyncio.timeout(PATIENCE_S):
            while data:
                try:
                    data = data[os.write(self._master, data) :]
                except BlockingIOError:
                    await asyncio.sleep(0.001)

    async def taken(self) -> None:
        """Wait until somebody has opened and set up the other end."""
        async with asyncio.timeout(PATIENCE_S):
            while True:
                with contextlib.suppress(termios.error):
                    if not termios.tcgetattr(self._master)[2] & termios.HUPCL:
                        return
                await asyncio.sleep(0.001)

    def came(self) -> bytes:
        """Return what arrived here: what the other end sent."""
        try:
            return os.read(self._master, 1000)
        except OSError:  # nothing; or the other end is closed
            return b""
