"""One connection of the embedded broker, as the broker's library sees it: whole checked packets, and no waiting.

The library reads any length, does not end a client that has fallen silent, and waits for one that does not read.
Here a client that breaks a rule, is silent for longer than it said or takes nothing is closed, as if its network
had failed; its will is then sent.
"""

from __future__ import annotations

import asyncio
import ssl
from collections import deque
from collections.abc import Awaitable, Callable

from amqtt.adapters import ReaderAdapter, WriterAdapter

from watchkeeper.edges.broker.packets import CONNECT, PUBLISH, BadPacketError, check, split

MAX_UNSENT_BYTES = 4_000_000
"""What a client may leave unread."""
MAX_UNHANDLED = 100
"""Messages of one client that the library has taken and not handed on."""
ROOM_WITHIN_S = 20.0
GOODBYE_S = 1.0
_CHUNK_BYTES = 65_536

Room = Callable[[], bool]


class Intake(ReaderAdapter):  # type: ignore[misc]  # the library brings no types
    """Gives the library what a client sends."""

    def __init__(self, stream: asyncio.StreamReader) -> None:
        self._stream = stream
        self._buffer = bytearray()
        self._ready: deque[bytes] = deque()
        self._left = memoryview(b"")
        self._silent_s: float | None = None
        self._heard_s = 0.0
        self._room: Room = lambda: True
        self._over = False
        self.unhandled = 0
        """Messages given to the library and not yet handed on by it."""

    async def first(self) -> bytes:
        """Return the first packet; the library gets it by `begin`. Raises BadPacketError, EOFError, OSError."""
        while (packet := split(self._buffer)) is None:
            chunk = await self._stream.read(_CHUNK_BYTES)
            if not chunk:
                raise EOFError
            self._buffer += chunk
            if self._buffer[0] != CONNECT << 4:
                raise BadPacketError("does not begin with CONNECT")
        return packet

    def begin(self, first: bytes, keep_alive_s: int, room: Room) -> None:
        """Let the library have `first`, and what comes. `room`: whether the broker can take another message."""
        self._ready.append(first)
        self._silent_s = 1.5 * keep_alive_s if keep_alive_s else None  # MQTT 3.1.1 section 3.1.2.10
        self._heard_s = asyncio.get_running_loop().time()
        self._room = room

    async def read(self, n: int = -1) -> bytes:
        """Return `n` bytes of the present packet; nothing once the connection is over."""
        if not self._left and not self._over:
            try:
                self._left = memoryview(await self._packet())
            except (BadPacketError, OSError, EOFError, TimeoutError):
                self._over = True
        if self._over or not 0 <= n <= len(self._left):  # it looks for more than the packet holds: it is no good
            self._over = True
            return b""
        found, self._left = bytes(self._left[:n]), self._left[n:]
        return found

    def feed_eof(self) -> None:
        """End the input."""
        self._over = True

    async def _packet(self) -> bytes:
        """Return the next packet. May be cancelled at any time, as the library does: nothing is lost."""
        loop = asyncio.get_running_loop()
        while not self._ready:
            packet = split(self._buffer)
            if packet is not None:
                check(packet)
                self._ready.append(packet)
                break
            until_s = None if self._silent_s is None else self._heard_s + self._silent_s
            async with asyncio.timeout_at(until_s):
                chunk = await self._stream.read(_CHUNK_BYTES)
            if not chunk:
                raise EOFError
            self._heard_s = loop.time()
            self._buffer += chunk
        if self._ready[0][0] >> 4 == PUBLISH:
            async with asyncio.timeout(ROOM_WITHIN_S):
                while self.unhandled >= MAX_UNHANDLED or not self._room():  # noqa: ASYNC110  (the library tells no event)
                    await asyncio.sleep(0.005)
            self.unhandled += 1
        return self._ready.popleft()


class Outflow(WriterAdapter):  # type: ignore[misc]  # the library brings no types
    """Takes what the library sends to a client. Never waits: a client that reads too little is closed."""

    def __init__(self, stream: asyncio.StreamWriter) -> None:
        self._stream = stream
        self._closed = False
        self.may_publish = False

    def write(self, data: bytes) -> None:
        """Send."""
        if self._closed:
            return
        self._stream.write(data)
        if self._stream.transport.get_write_buffer_size() > MAX_UNSENT_BYTES:
            self.abort()

    def drain(self) -> Awaitable[None]:
        """Wait for nothing."""
        return _nothing()

    def get_peer_info(self) -> tuple[str, int]:
        """Return the client's address."""
        peer = self._stream.get_extra_info("peername")
        return (str(peer[0]), int(peer[1])) if peer else ("", 0)

    def own_host(self) -> str:
        """Return our address as the client sees it."""
        own = self._stream.get_extra_info("sockname")
        return str(own[0]) if own else ""

    def get_ssl_info(self) -> ssl.SSLObject | None:
        """There is no TLS."""
        return None

    def close(self) -> Awaitable[None]:
        """Close when what was sent has left, or soon."""
        if not self._closed:
            self._closed = True
            self._stream.close()
            asyncio.get_running_loop().call_later(GOODBYE_S, self._stream.transport.abort)
        return _nothing()

    def abort(self) -> None:
        """Close at once."""
        self._closed = True
        self._stream.transport.abort()


async def _nothing() -> None:
    return None
