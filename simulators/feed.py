"""Sends frames over UDP at the pace of their times. To this machine only, unless told otherwise."""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import math
from collections.abc import Iterable
from typing import Final, Protocol

from watchkeeper.errors import bad_input

YIELD_EVERY: Final = 20
"""Frames between pauses at full speed: more at once overrun a receiver's socket buffer."""


class Timed(Protocol):
    """A frame and when it is due, in seconds from the beginning."""

    @property
    def time_s(self) -> float:
        """When."""

    @property
    def data(self) -> bytes:
        """What."""


def parse_target(text: str, *, beyond: bool = False) -> tuple[str, int]:
    """Return host and port of `HOST:PORT`.

    Raises BadInputError if it is neither, or if the host is another machine and `beyond` was not given.
    """
    host, colon, port = text.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not colon or not host or not (port.isascii() and port.isdigit()) or not 0 < int(port) < 65536:
        raise bad_input(f"'{text}' is not HOST:PORT", "write it like 127.0.0.1:14570")
    if not beyond and not _is_here(host):
        raise bad_input(f"'{host}' is another machine", "name 127.0.0.1, or allow it with --beyond")
    return host, int(port)


def _is_here(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def parse_speed(text: str) -> float:
    """Return `N` or `max` (infinity) as a multiple of real time. Raises BadInputError."""
    if text == "max":
        return math.inf
    try:
        speed = float(text)
    except ValueError:
        speed = math.nan
    if not 0 < speed < math.inf:
        raise bad_input(f"'{text}' is no speed", "write a number above 0, or max")
    return speed


async def play(frames: Iterable[Timed], host: str, port: int, speed: float = 1.0) -> int:
    """Send every frame when it is due at `speed` times real time (inf: at once). Returns how many were sent."""
    loop = asyncio.get_running_loop()
    try:
        transport, _ = await loop.create_datagram_endpoint(asyncio.DatagramProtocol, remote_addr=(host, port))
    except OSError as error:
        raise bad_input(f"cannot send to {host}: {error.strerror}", "check the address") from None
    began_s = loop.time()
    sent = 0
    try:
        for frame in frames:
            wait_s = began_s + frame.time_s / speed - loop.time()
            if wait_s > 0 or not sent % YIELD_EVERY:
                await asyncio.sleep(max(0.0, wait_s))
            with contextlib.suppress(OSError):  # nobody listens yet; a radio would not know either
                transport.sendto(frame.data)
            sent += 1
    finally:
        transport.close()
        await asyncio.sleep(0)  # lets the transport close its socket
    return sent
