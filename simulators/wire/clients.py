"""Who is connected: over UDP every client heard of late, over TCP every connection.

A client that does not read is dropped; it never holds up the aircraft. Each client's bytes are cut into frames by
themselves, so that one client's rubbish cannot spoil another's frames.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, Final, TypeAlias, cast

from watchkeeper.link.framing import GOOD, Framer

MOST_CLIENTS: Final = 8
FORGOTTEN_S: Final = 60.0
"""A UDP client not heard of for so long gets nothing any more."""
MOST_UNSENT: Final = 256 * 1024
"""Bytes that wait for a TCP client: about a minute of telemetry. Beyond, it is dropped."""

OnBytes: TypeAlias = Callable[[bytes], Iterable[bytes]]
_Address: TypeAlias = tuple[Any, ...]


@dataclass(slots=True)
class _Heard:
    """A UDP client: when it was last heard of, and what of its bytes is not yet a frame."""

    at_s: float
    framer: Framer = field(default_factory=Framer)


class Datagrams(asyncio.DatagramProtocol):
    """UDP clients: whoever sent at least one good frame."""

    def __init__(self, on_bytes: OnBytes, clock: Callable[[], float], most_unsent: int = MOST_UNSENT) -> None:
        self.port = 0
        self.refused = 0
        self.dropped = 0
        self._on_bytes = on_bytes
        self._clock = clock
        self._most_unsent = most_unsent
        self._heard: Final[dict[_Address, _Heard]] = {}
        self._transport: asyncio.DatagramTransport | None = None

    @property
    def clients(self) -> int:
        """How many were heard of late."""
        self._forget()
        return len(self._heard)

    def send(self, data: bytes) -> None:
        """Send one datagram to every client heard of late."""
        self._forget()
        for address in self._heard:
            self._send_to(data, address)

    def close(self) -> None:
        """End the service."""
        if self._transport is not None:
            self._transport.close()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Keep the transport (asyncio's name)."""
        self._transport = cast("asyncio.DatagramTransport", transport)  # by its methods; its class is no such one
        self.port = transport.get_extra_info("sockname")[1]

    def datagram_received(self, data: bytes, addr: _Address) -> None:
        """Take a datagram and answer it (asyncio's name)."""
        now_s = self._clock()
        client = self._heard.get(addr)
        framer = Framer() if client is None else client.framer
        frames = framer.feed(data)
        if any(frame[6] == GOOD for frame in frames):
            if client is None:
                self._forget()
                if len(self._heard) >= MOST_CLIENTS:
                    self.refused += 1
                    return
                client = self._heard[addr] = _Heard(now_s, framer)
            client.at_s = now_s
        if client is not None and frames:
            for answer in self._on_bytes(b"".join(frame[5] for frame in frames)):
                self._send_to(answer, addr)

    def error_received(self, exc: Exception) -> None:
        """Ignore that a client has gone (asyncio's name): it is forgotten in its time."""

    def _forget(self) -> None:
        until_s = self._clock() - FORGOTTEN_S
        for address in [one for one, client in self._heard.items() if client.at_s < until_s]:
            del self._heard[address]

    def _send_to(self, data: bytes, address: _Address) -> None:
        # asyncio would keep what the socket does not take without end; telemetry is better lost than late.
        transport = self._transport
        if transport is None or transport.is_closing():
            return
        unsent: int = transport.get_write_buffer_size()  # type: ignore[attr-defined]  # has it all the same
        if unsent <= self._most_unsent:
            transport.sendto(data, address)


class Streams:
    """TCP clients."""

    def __init__(self, on_bytes: OnBytes, most_unsent: int = MOST_UNSENT) -> None:
        self.port = 0
        self.refused = 0
        self.dropped = 0
        self.on_bytes: Final = on_bytes
        self._most_unsent = most_unsent
        self._transports: Final[set[asyncio.Transport]] = set()
        self._server: asyncio.Server | None = None

    @property
    def clients(self) -> int:
        """How many are connected."""
        return len(self._transports)

    def listen(self, server: asyncio.Server) -> None:
        """Take the server over."""
        self._server = server
        self.port = server.sockets[0].getsockname()[1]

    def client(self) -> asyncio.Protocol:
        """Return what takes one connection."""
        return _Stream(self)

    def send(self, data: bytes) -> None:
        """Send to every client; one that does not read is cut off."""
        for transport in tuple(self._transports):
            self.send_to(transport, data)

    def send_to(self, transport: asyncio.Transport, data: bytes) -> None:
        """Send to one client, or cut it off."""
        if transport not in self._transports:
            return
        transport.write(data)
        if transport.get_write_buffer_size() > self._most_unsent:
            self.dropped += 1
            self.leave(transport)
            transport.abort()

    def join(self, transport: asyncio.Transport) -> bool:
        """Take a client in. False if there are too many: it is turned away."""
        if len(self._transports) >= MOST_CLIENTS:
            self.refused += 1
            transport.abort()
            return False
        self._transports.add(transport)
        return True

    def leave(self, transport: asyncio.Transport) -> None:
        """Forget a client."""
        self._transports.discard(transport)

    def close(self) -> None:
        """End the service; what is unsent is lost."""
        if self._server is not None:
            self._server.close()
        for transport in tuple(self._transports):
            transport.abort()


class _Stream(asyncio.Protocol):
    """One TCP connection."""

    def __init__(self, streams: Streams) -> None:
        self._streams = streams
        self._framer = Framer()
        self._transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Join the others (asyncio's name)."""
        assert isinstance(transport, asyncio.Transport)
        if self._streams.join(transport):
            self._transport = transport

    def data_received(self, data: bytes) -> None:
        """Take bytes and answer them (asyncio's name)."""
        frames = self._framer.feed(data)
        if self._transport is not None and frames:
            for answer in self._streams.on_bytes(b"".join(frame[5] for frame in frames)):
                self._streams.send_to(self._transport, answer)

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002  # asyncio's signature
        """Leave (asyncio's name)."""
        if self._transport is not None:
            self._streams.leave(self._transport)
