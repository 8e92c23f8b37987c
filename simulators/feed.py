"""Sends frames over UDP at the pace of their times."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Iterable
from typing import Protocol

from watchkeeper.errors import bad_input


class Timed(Protocol):
    """A frame and when it is due, in seconds from the beginning."""

    @property
    def time_s(self) -> float:
        """When."""

    @property
    def data(self) -> bytes:
        """What."""


def parse_target(text: str) -> tuple[str, int]:
    """Return host and port of `HOST:PORT`. Raises BadInputError."""
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdigit() or not 0 < int(port) < 65536:
        raise bad_input(f"'{text}' is not HOST:PORT", "write it like 127.0.0.1:14570")
    return host.strip("[]"), int(port)


async def play(frames: Iterable[Timed], host: str, port: int, speed: float = 1.0) -> int:
    """Send every frame when it is due at `speed` times real time (inf: at once). Returns how many were sent."""
    loop = asyncio.get_running_loop()
    transport, _ = await loop.create_datagram_endpoint(asyncio.DatagramProtocol, remote_addr=(host, port))
    began_s = loop.time()
    sent = 0
    try:
        for frame in frames:
            wait_s = began_s + frame.time_s / speed - loop.time()
            if wait_s > 0 or not sent % 50:
                await asyncio.sleep(max(0.0, wait_s))
            with contextlib.suppress(OSError):  # nobody listens yet; a radio would not know either
                transport.sendto(frame.data)
            sent += 1
    finally:
        transport.close()
        await asyncio.sleep(0)
    return sent
