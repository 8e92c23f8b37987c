"""Serves the simulated aircraft on a socket: this machine only, unless told otherwise."""

from __future__ import annotations

import asyncio
import errno
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Final, NamedTuple, Protocol

from simulators.feed import parse_target
from simulators.wire.clients import MOST_UNSENT, Datagrams, OnBytes, Streams
from watchkeeper.errors import BadInputError, bad_input, did_you_mean

DEFAULT_URL: Final = "udp://127.0.0.1:14580"
SCHEMES: Final = ("udp", "tcp")
_LONGEST_URL: Final = 300


class ServeUrl(NamedTuple):
    """Where to serve. Port 0 takes any that is free."""

    scheme: str
    host: str
    port: int


class Link(Protocol):
    """What is served."""

    port: int
    refused: int
    """Times that a client was turned away because there were too many."""
    dropped: int
    """Clients cut off because they did not read."""

    @property
    def clients(self) -> int:
        """How many there are."""

    def send(self, data: bytes) -> None:
        """Send whole frames to every client, over UDP as one datagram. Never waits."""

    def close(self) -> None:
        """End the service."""


def parse_serve_url(text: str, *, beyond: bool = False) -> ServeUrl:
    """Return what `udp://HOST:PORT` or `tcp://HOST:PORT` means.

    Raises BadInputError for anything else, and for an address of other machines unless `beyond` was given.
    """
    scheme, separator, target = text.partition("://")
    if not separator or len(text) > _LONGEST_URL:
        raise bad_input(f"'{text[:_LONGEST_URL]}' is not a URL", f"write it like {DEFAULT_URL}")
    if scheme not in SCHEMES:
        do = did_you_mean(scheme, SCHEMES, otherwise=f"write it like {DEFAULT_URL}")
        raise bad_input(f"cannot serve '{scheme}'", do)
    return ServeUrl(scheme, *parse_target(target.removesuffix("/"), beyond=beyond))


@asynccontextmanager
async def serve(
    url: str | ServeUrl,
    on_bytes: OnBytes,
    *,
    beyond: bool = False,
    clock: Callable[[], float] | None = None,
    most_unsent: int = MOST_UNSENT,
) -> AsyncIterator[Link]:
    """Serve until the block ends. What `on_bytes` returns for a client's whole frames goes to that client.

    Raises BadInputError if the address cannot be had.
    """
    where = parse_serve_url(url, beyond=beyond) if isinstance(url, str) else url
    loop = asyncio.get_running_loop()
    try:
        if where.scheme == "udp":
            datagrams = Datagrams(on_bytes, clock or loop.time, most_unsent)
            await loop.create_datagram_endpoint(lambda: datagrams, local_addr=(where.host, where.port))
            link: Link = datagrams
        else:
            streams = Streams(on_bytes, most_unsent)
            streams.listen(await loop.create_server(streams.client, where.host, where.port))
            link = streams
    except (OSError, ValueError) as error:  # ValueError: a host that no name may be
        raise cannot_have(where, error) from None
    try:
        yield link
    finally:
        link.close()
        await asyncio.sleep(0)  # lets the transports close their sockets


def cannot_have(where: ServeUrl, error: OSError | ValueError) -> BadInputError:
    """Return what to tell somebody whose address cannot be had."""
    if isinstance(error, OSError) and error.errno == errno.EADDRINUSE:
        return bad_input(f"port {where.port} is in use", "end the other program, or name another port")
    why = (error.strerror if isinstance(error, OSError) else None) or "no such address"
    return bad_input(f"cannot serve at {where.host} port {where.port}: {why}", "check the address")
