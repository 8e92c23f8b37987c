"""Where telemetry comes from: datagrams, and recordings played as if they were live. Nothing is ever sent."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import itertools
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Protocol, TypeAlias
from urllib.parse import unquote, urlsplit

import structlog

from watchkeeper.edges.clock import Clock
from watchkeeper.edges.record_folder import Event, Recording, open_recording
from watchkeeper.edges.reports import Report
from watchkeeper.errors import BadInputError, bad_input, did_you_mean

DEFAULT_URL: Final = "udp://127.0.0.1:14570"
MAX_SENDERS: Final = 16
"""Senders told apart on one port; a crew has two or three."""
SILENT_US: Final = 60_000_000
"""A sender silent for so long gives its name up, if another needs one (a router that was started anew)."""
MAX_DATAGRAM: Final = 65_535
_RECEIVE_BUFFER: Final = 1 << 20
_FIRST_PAUSE_S: Final = 1.0
_LONGEST_PAUSE_S: Final = 30.0
_LONGEST_WAIT_US: Final = 120_000_000
"""A longer gap in a recording is cut to this: the engine steps over it as well."""
_BATCH: Final = 200

Received: TypeAlias = Callable[[str, bytes, float], None]
"""received(source, data, now_s): bytes have come."""


@dataclass(frozen=True, slots=True)
class SourceUrl:
    """A checked source URL: `udp` with host and port, or `file` with a path."""

    text: str
    scheme: str
    host: str = ""
    port: int = 0
    path: Path = Path()


class Source(Protocol):
    """Something that telemetry comes from."""

    name: str
    part: str
    """Under this word its troubles are reported: `source`, `source-2`, …"""

    async def open(self) -> None:
        """Begin to listen. Raises BadInputError if that cannot be."""

    async def run(self) -> None:
        """Listen until cancelled, or until there is no more."""


def parse_source(text: str) -> SourceUrl:
    """Check a source URL. Raises BadInputError that says what would be right."""
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError:
        raise bad_input(f"source '{text}': not a URL", f"write it like {DEFAULT_URL}") from None
    scheme = parts.scheme.lower()
    if scheme in ("tcp", "serial"):
        raise bad_input(f"source '{text}': {scheme} cannot be listened to yet", "use udp:// or file://")
    if scheme == "file":
        path = unquote(parts.path)
        if parts.netloc not in ("", "localhost") or not path.startswith("/") or "\0" in path:
            raise bad_input(f"source '{text}': needs a whole path", "write it like file:///home/me/flight.tlog")
        return SourceUrl(text, "file", path=Path(path))
    if scheme != "udp":
        hint = did_you_mean(scheme, ("udp", "file"), otherwise=f"write it like {DEFAULT_URL}")
        raise bad_input(f"source '{text}': unknown kind '{scheme}'", hint)
    if not parts.hostname or not port or parts.path not in ("", "/") or parts.query or parts.username:
        raise bad_input(
            f"source '{text}': needs an address and a port, nothing else", f"write it like {DEFAULT_URL}"
        )
    return SourceUrl(text, "udp", parts.hostname, port)


def make_source(url: SourceUrl, clock: Clock, received: Received, report: Report, number: int = 1) -> Source:
    """Return the source that a URL means; `number` counts the sources of the watch."""
    part = "source" if number == 1 else f"source-{number}"
    kind = FileSource if url.scheme == "file" else UdpSource
    return kind(url, clock, received, report, part)


class _Senders:
    """Names of the senders on one port: that of the port for the first, then `…#2`, `…#3`."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._known: dict[tuple[Any, ...], tuple[str, list[int]]] = {}
        self.refused = 0
        """Datagrams of senders for whom no name was left."""

    def name(self, address: tuple[Any, ...], now_us: int) -> str | None:
        """Return a sender's name, None if there are too many."""
        known = self._known.get(address)
        if known is None:
            known = self._admit(address, now_us)
            if known is None:
                self.refused += 1
                return None
        known[1][0] = now_us
        return known[0]

    def _admit(self, address: tuple[Any, ...], now_us: int) -> tuple[str, list[int]] | None:
        count = len(self._known)
        if count < MAX_SENDERS:
            entry = (self._name if count == 0 else f"{self._name}#{count + 1}", [now_us])
        else:
            oldest = min(self._known, key=lambda one: self._known[one][1][0])
            if now_us - self._known[oldest][1][0] < SILENT_US:
                return None
            entry = self._known.pop(oldest)
        self._known[address] = entry
        return entry


class UdpSource(asyncio.DatagramProtocol):
    """Binds a port and listens. Several senders are told apart by their addresses."""

    def __init__(
        self, url: SourceUrl, clock: Clock, received: Received, report: Report, part: str = "source"
    ) -> None:
        self.name = url.text
        self.part = part
        self._url = url
        self._clock = clock
        self._received = received
        self._report = report
        self._senders = _Senders(url.text)
        self._transport: asyncio.DatagramTransport | None = None
        self._lost: asyncio.Future[None] | None = None
        self._crowded_us = 0  # when a sender was last turned away

    @property
    def refused(self) -> int:
        """Datagrams dropped because more than MAX_SENDERS sent to this port."""
        return self._senders.refused

    @property
    def address(self) -> tuple[str, int]:
        """Return the address listened to; after `open`."""
        assert self._transport is not None
        host, port, *_ = self._transport.get_extra_info("sockname")
        return host, port

    async def open(self) -> None:
        """Bind the port. Raises BadInputError if it is taken or is not ours."""
        loop = asyncio.get_running_loop()
        self._lost = loop.create_future()
        try:
            self._transport, _ = await loop.create_datagram_endpoint(
                lambda: self, local_addr=(self._url.host, self._url.port)
            )
        except (OSError, UnicodeError) as error:
            raise self._unusable(error) from None
        with contextlib.suppress(OSError):  # a smaller buffer is enough for a radio link
            self._transport.get_extra_info("socket").setsockopt(
                socket.SOL_SOCKET, socket.SO_RCVBUF, _RECEIVE_BUFFER
            )

    async def run(self) -> None:
        """Listen until cancelled; where the system closes the port, open it anew and say so meanwhile."""
        pause_s = _FIRST_PAUSE_S
        try:
            while True:
                if self._lost is not None:
                    await self._lost
                self._report(self.part, False, "Telemetry port closed. Trying again.")
                await asyncio.sleep(pause_s)
                try:
                    await self.open()
                except BadInputError:
                    pause_s = min(2.0 * pause_s, _LONGEST_PAUSE_S)
                else:
                    pause_s = _FIRST_PAUSE_S
                    self._report(self.part, True, "telemetry port open again")
        finally:
            if self._transport is not None:
                self._transport.close()

    def datagram_received(self, data: bytes, addr: tuple[Any, ...]) -> None:
        """Take a datagram (called by asyncio)."""
        if not data or len(data) > MAX_DATAGRAM:
            return
        now_us = self._clock.now_us()
        name = self._senders.name(addr, now_us)
        if name is not None:
            if self._crowded_us and now_us - self._crowded_us > SILENT_US:
                self._crowded_us = 0
                self._report(self.part, True, "every telemetry sender is heard")
            self._received(name, data, now_us / 1e6)
            return
        began = not self._crowded_us
        self._crowded_us = now_us
        if began:
            log = structlog.get_logger()
            log.warning("too many senders on one port", source=self.name, listened_to=MAX_SENDERS)
            self._report(self.part, False, "Too many telemetry senders. Some are not heard.")

    def error_received(self, exc: Exception) -> None:
        """Note what the network says (called by asyncio); listening goes on."""
        structlog.get_logger().debug("network error", source=self.name, error=str(exc))

    def connection_lost(self, exc: Exception | None) -> None:
        """Note that the port is closed (called by asyncio)."""
        structlog.get_logger().debug("telemetry port closed", source=self.name, error=repr(exc))
        if self._lost is not None and not self._lost.done():
            self._lost.set_result(None)

    def _unusable(self, error: Exception) -> BadInputError:
        number = error.errno if isinstance(error, OSError) else None
        if isinstance(error, socket.gaierror | UnicodeError):
            what, do = "no computer of that name", "check the name, or give its number"
        elif number == errno.EADDRINUSE:
            what, do = "the port is in use", "end the program that listens there, or name another port with --from"
        elif number == errno.EADDRNOTAVAIL:
            what, do = "this computer has no such address", "use 127.0.0.1, or 0.0.0.0 for all its addresses"
        elif number == errno.EACCES:
            what, do = "the port may not be opened", "name a port above 1023"
        else:
            what, do = f"cannot listen: {error}", "name another address with --from"
        return bad_input(f"source '{self.name}': {what}", do)


class FileSource:
    """Plays a recording as if it came now, at the pace of its own stamps. Orders in it are not carried out."""

    def __init__(
        self, url: SourceUrl, clock: Clock, received: Received, report: Report, part: str = "source"
    ) -> None:
        self.name = url.text
        self.part = part
        self._path = url.path
        self._clock = clock
        self._received = received
        self._report = report
        self._recording: Recording | None = None

    async def open(self) -> None:
        """Look at the file. Raises BadInputError if it is no recording."""
        self._recording = open_recording(self._path)

    async def run(self) -> None:
        """Play to the end, then say that it has ended."""
        if self._recording is None:
            await self.open()
        assert self._recording is not None
        names = {
            name: f"{self.name}#{i}" if i > 1 else self.name for i, name in enumerate(self._recording.sources, 1)
        }
        events = self._recording.events()
        loop = asyncio.get_running_loop()
        due_s = loop.time()
        last_us: int | None = None
        try:
            while batch := await asyncio.to_thread(_next_events, events):
                for event in batch:
                    step_us = 0 if last_us is None else event.time_us - last_us
                    last_us = event.time_us
                    due_s += min(max(step_us, 0), _LONGEST_WAIT_US) / 1e6
                    if (wait_s := due_s - loop.time()) > 0:
                        await asyncio.sleep(wait_s)
                    if event.source is not None:
                        self._received(names[event.source], event.data, self._clock.now_s())
        except BadInputError as error:
            structlog.get_logger().warning("recording cannot be read on", source=self.name, error=str(error))
            self._report(self.part, False, "Recording cannot be read on.")
        else:
            self._report(self.part, False, "Recording has ended.")


def _next_events(events: Any) -> list[Event]:
    return [*itertools.islice(events, _BATCH)]
