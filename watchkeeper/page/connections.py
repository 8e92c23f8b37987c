"""Connections of the page's server, bounded: how many, how long they dawdle, how much they send unasked."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import struct
from collections import Counter
from typing import Any, Final

from aiohttp import web

from watchkeeper.edges.broker.access import is_local

MAX_CONNECTIONS: Final = 200
MAX_OF_ONE_HOST: Final = 40
"""A browser opens six; this is for several behind one address. Programs on this machine are not counted so."""
IDLE_S: Final = 15.0
"""A connection on which no request is being answered is closed after so long, a half-sent one too."""
MAX_UNASKED_BYTES: Final = 64 * 1024
"""What may come in while a request is being answered, or before one is whole; many times any real one."""
SEND_BUFFER_BYTES: Final = 64 * 1024
"""Of the system, so that a slow reader does not get pictures of long ago."""

_quiet = logging.getLogger("watchkeeper.page")
_quiet.addHandler(logging.NullHandler())
_quiet.propagate = False  # what strangers send wrong is no news for the crew


class Crowd:
    """Who is connected."""

    def __init__(self) -> None:
        self.connections = 0
        self.by_host: Counter[str] = Counter()

    def enter(self, host: str) -> bool:
        """Count one more, if there is room for it."""
        if self.connections >= MAX_CONNECTIONS or (not is_local(host) and self.by_host[host] >= MAX_OF_ONE_HOST):
            return False
        self.connections += 1
        self.by_host[host] += 1
        return True

    def leave(self, host: str) -> None:
        """Count one less."""
        self.connections -= 1
        self.by_host[host] -= 1
        if not self.by_host[host]:
            del self.by_host[host]


class Connection(web.RequestHandler):
    """One connection. aiohttp reads and answers; this puts an end to what goes on for too long."""

    def __init__(self, server: web.Server, crowd: Crowd, loop: asyncio.AbstractEventLoop) -> None:
        super().__init__(
            server,
            loop=loop,
            keepalive_timeout=IDLE_S,
            access_log=_quiet,
            logger=_quiet,
            max_headers=64,
            max_line_size=4096,
            max_field_size=4096,
            lingering_time=1.0,
            auto_decompress=False,
        )
        self._on = loop
        self._crowd = crowd
        self._host: str | None = None
        self._unasked_bytes = 0
        self._idle: asyncio.TimerHandle | None = None
        self._wire: asyncio.Transport | None = None
        self.writable = asyncio.Event()
        """Whether everything that was written has been taken by the system."""
        self.writable.set()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take a new connection, or end it at once where there are too many."""
        assert isinstance(transport, asyncio.Transport)
        peer = transport.get_extra_info("peername")
        host = str(peer[0]) if peer else ""
        super().connection_made(transport)
        self._wire = transport
        if not self._crowd.enter(host):
            self.abort()
            return
        self._host = host
        transport.set_write_buffer_limits(high=0)
        own = transport.get_extra_info("socket")
        if own is not None:
            own.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
        self.answered()

    def connection_lost(self, exc: BaseException | None) -> None:
        """Forget it."""
        if self._idle is not None:
            self._idle.cancel()
        if self._host is not None:
            self._crowd.leave(self._host)
            self._host = None
        self._wire = None
        self.writable.set()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take bytes, within bounds."""
        self._unasked_bytes += len(data)
        if self._unasked_bytes > MAX_UNASKED_BYTES:
            self.abort()
            return
        super().data_received(data)

    def pause_writing(self) -> None:
        """Note that the other end does not keep up."""
        self.writable.clear()
        super().pause_writing()

    def resume_writing(self) -> None:
        """Note that all has been taken."""
        self.writable.set()
        super().resume_writing()

    def handle_error(
        self,
        request: web.BaseRequest,
        status: int = 500,
        exc: BaseException | None = None,
        message: str | None = None,
    ) -> web.StreamResponse:
        """Answer what is no request, in few words: neither what was sent nor what serves is told."""
        del request, exc, message
        answer = web.Response(status=status, text="Not understood.\n", headers={"Server": "-"})
        answer.force_close()
        return answer

    def asked(self) -> None:
        """Note that a request has come whole and is being answered."""
        self._unasked_bytes = 0
        if self._idle is not None:
            self._idle.cancel()
            self._idle = None

    def answered(self) -> None:
        """Note that a request has been answered: the next has to come within IDLE_S."""
        if self._idle is not None:
            self._idle.cancel()
        self._idle = self._on.call_later(IDLE_S, self.abort)

    @property
    def unsent_bytes(self) -> int:
        """What the system has not taken yet."""
        return 0 if self._wire is None else self._wire.get_write_buffer_size()

    def abort(self) -> None:
        """End the connection at once, with what the system still holds for it."""
        if self._wire is not None:
            own = self._wire.get_extra_info("socket")
            if own is not None:  # close by a reset, which waits for nobody (RFC 9293 section 3.10.5)
                with contextlib.suppress(OSError):
                    own.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            self._wire.abort()


def connection_of(request: web.Request) -> Connection:
    """Return the connection that a request came by."""
    connection: Any = request.protocol
    assert isinstance(connection, Connection)
    return connection
