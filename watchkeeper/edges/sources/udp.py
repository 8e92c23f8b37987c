"""Telemetry by datagrams: binds a port and listens. Nothing is ever sent."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import socket
from typing import Any, Final

import structlog

from watchkeeper.edges.clock import Clock
from watchkeeper.edges.reports import Received, Report
from watchkeeper.errors import BadInputError, bad_input

MAX_SENDERS: Final = 16
"""Senders told apart on one port; a crew has two or three."""
SILENT_US: Final = 60_000_000
"""A sender silent for so long gives its name up, if another needs one (a router that was started anew)."""
MAX_DATAGRAM: Final = 65_535
_RECEIVE_BUFFER: Final = 1 << 20
_FIRST_PAUSE_S: Final = 1.0
_LONGEST_PAUSE_S: Final = 30.0


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
        self,
        name: str,
        address: tuple[str, int],
        clock: Clock,
        received: Received,
        report: Report,
        part: str = "source",
    ) -> None:
        self.name = name
        self.part = part
        self._bind = address
        self._clock = clock
        self._received = received
        self._report = report
        self._senders = _Senders(name)
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
            self._transport, _ = await loop.create_datagram_endpoint(lambda: self, local_addr=self._bind)
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
