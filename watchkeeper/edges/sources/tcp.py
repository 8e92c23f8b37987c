"""Telemetry by TCP: connects and listens. Nothing is ever sent, not even the end of our own side.

The write side stays open though nothing goes that way: many peers (routers, serial servers, socket libraries by
default) take the end of our side as the end of the connection and close it.
A computer that vanished without a word is found by keepalive, which the system does below the stream of bytes:
a probe carries none. A peer that lives but gives nothing is connected to anew every `stream.SILENT_S`: it may
have lost us.
"""

from __future__ import annotations

import asyncio
import errno
import os
import socket
from typing import Any, Final

from watchkeeper.edges.aside import aside
from watchkeeper.edges.sources.stream import CHUNK
from watchkeeper.edges.sources.stream_health import Trouble, TroubleError

ANSWER_S = 5.0
"""For a name, and for each of its addresses."""
MOST_ADDRESSES: Final = 4
KEEPALIVE: Final = {"TCP_KEEPIDLE": 3, "TCP_KEEPALIVE": 3, "TCP_KEEPINTVL": 2, "TCP_KEEPCNT": 3}
"""Seconds of silence before a probe (by its two names), between probes; probes unanswered: dead within 9 s."""

UNKNOWN: Final = Trouble("no computer of that name", "{} not reached: name unknown. Check the address.")
NO_ANSWER: Final = Trouble("no answer", "{} not reached: no answer. Check the network.")
REFUSED: Final = Trouble("connection refused", "{} not reached: connection refused. Start the sender.")
CLOSED: Final = Trouble("closed by the sender", "{} lost: closed by the sender. Check it.")
VANISHED: Final = Trouble(
    "the other computer answers no more", "{} lost: no answer. Check the network.", at_once=True
)
DUMB: Final = Trouble("connected, but nothing came; connecting anew", "{} is silent. Check the sender.")
RUBBISH: Final = Trouble(
    "what comes is no MAVLink", "{} is not MAVLink. Check the address.", "name the port that gives MAVLink"
)
_GONE: Final = frozenset({errno.ETIMEDOUT, errno.EHOSTUNREACH, errno.ENETUNREACH, errno.ENETDOWN})


class TcpStream:
    """One connection."""

    def __init__(self, connection: socket.socket) -> None:
        self._connection = connection
        self._reading: asyncio.Task[bytes] | None = None

    async def read(self) -> bytes:
        """Return the next bytes. Raises TroubleError at the end. Nothing is lost if it is cancelled."""
        if self._reading is None:
            loop = asyncio.get_running_loop()
            self._reading = loop.create_task(loop.sock_recv(self._connection, CHUNK))
        reading = self._reading
        try:
            data = await asyncio.shield(reading)
        except OSError as error:
            if error.errno in _GONE:
                raise TroubleError(VANISHED) from None
            why = os.strerror(error.errno).lower() if error.errno else str(error)
            raise TroubleError(Trouble(why, CLOSED.say)) from None
        finally:
            if reading.done():
                self._reading = None
        if not data:
            raise TroubleError(CLOSED)
        return data

    def silent(self) -> Trouble | None:
        """Let it be made anew."""
        return DUMB

    def close(self) -> None:
        """Close the connection."""
        if self._reading is not None:
            self._reading.cancel()
        self._connection.close()


class TcpOpener:
    """Connects to a host and port."""

    rubbish = RUBBISH

    def __init__(self, host: str, port: int) -> None:
        self._host = host
        self._port = port

    async def first(self) -> TcpStream | None:
        """Nothing here is wrong for good: a name may be known and a sender be there later."""
        return None

    async def open(self) -> TcpStream:
        """Connect to the first address that takes us. Raises TroubleError with the last one's reason."""
        trouble = UNKNOWN
        for family, address in await self._addresses():
            try:
                return TcpStream(await _connect(family, address))
            except TimeoutError:
                trouble = NO_ANSWER
            except OSError as error:
                trouble = _of_connecting(error)
        raise TroubleError(trouble)

    async def _addresses(self) -> list[tuple[int, Any]]:
        host, port = self._host, self._port
        try:
            async with asyncio.timeout(ANSWER_S):
                found = await aside(
                    lambda: socket.getaddrinfo(host, port, type=socket.SOCK_STREAM), "telemetry name lookup"
                )
        except (OSError, UnicodeError):  # TimeoutError is one
            raise TroubleError(UNKNOWN) from None
        return [(family, address) for family, _, _, _, address in found[:MOST_ADDRESSES]]


async def _connect(family: int, address: Any) -> socket.socket:
    connection = socket.socket(family, socket.SOCK_STREAM)
    try:
        connection.setblocking(False)
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in KEEPALIVE.items():
            if hasattr(socket, name):
                connection.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
        async with asyncio.timeout(ANSWER_S):
            await asyncio.get_running_loop().sock_connect(connection, address)
        _not_with_itself(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def _not_with_itself(connection: socket.socket) -> None:
    """Refuse a connection whose other end is its own.

    Where nobody listens on a port of this computer, that very number may be drawn for our end: TCP then connects
    us with ourselves, and keeps the sender from its port.
    """
    if connection.getsockname() == connection.getpeername():
        raise ConnectionRefusedError(errno.ECONNREFUSED, "connected with itself")


def _of_connecting(error: OSError) -> Trouble:
    if isinstance(error, ConnectionRefusedError):
        return REFUSED
    if error.errno in _GONE:
        return NO_ANSWER
    why = os.strerror(error.errno).lower() if error.errno else str(error)
    return Trouble(why, NO_ANSWER.say)
