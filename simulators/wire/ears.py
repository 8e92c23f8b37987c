"""Who sends telemetry to an address: a drill must not be served where a real aircraft is heard."""

from __future__ import annotations

import asyncio
from typing import Any, Final

from simulators.wire.serve import ServeUrl, cannot_have
from watchkeeper.link.decode import unpack
from watchkeeper.link.framing import GOOD, Framer

_HEARTBEAT: Final = 0
_AUTOPILOT_AT: Final = 2
"""Place of `autopilot` among a heartbeat's values in wire order."""
_NO_AUTOPILOT: Final = 8


class _Ears(asyncio.DatagramProtocol):
    """Hears which aircraft send to an address."""

    def __init__(self) -> None:
        self.systems: set[int] = set()
        self._framer = Framer()

    def datagram_received(self, data: bytes, addr: tuple[Any, ...]) -> None:  # noqa: ARG002  # whoever it is
        """Look for heartbeats of autopilots."""
        self.systems |= aircraft_in(self._framer, data)


def aircraft_in(framer: Framer, data: bytes) -> set[int]:
    """Return the systems of autopilots whose heartbeats stand in the data."""
    return {
        system
        for system, _, _, number, payload, _, status in framer.feed(data)
        if status == GOOD and number == _HEARTBEAT and unpack(number, payload)[_AUTOPILOT_AT] != _NO_AUTOPILOT
    }


async def heard_at(where: ServeUrl, seconds: float) -> set[int]:
    """Return the systems of aircraft that send to a UDP address while one listens there; at others none.

    Raises BadInputError if the address cannot be had.
    """
    if where.scheme != "udp":
        return set()
    ears = _Ears()
    try:
        transport, _ = await asyncio.get_running_loop().create_datagram_endpoint(
            lambda: ears, local_addr=(where.host, where.port)
        )
    except OSError as error:
        raise cannot_have(where, error) from None
    try:
        await asyncio.sleep(seconds)
    finally:
        transport.close()
        await asyncio.sleep(0)
    return ears.systems
