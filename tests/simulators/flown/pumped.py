"""A flight behind a real socket, and pymavlink as its client: time goes on only while the client waits.

The socket and the flight live in the test's event loop, the client in a thread. Whenever it waits for a message it
has the flight moved on by some steps: no clock on the wall, no sleeping.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable
from typing import Any, Final

from pymavlink import mavutil

from simulators.flown.flight import SimulatedFlight
from simulators.wire.serve import Link, ServeUrl, serve

STEPS: Final = 5
MOST_S: Final = 900.0
SYSTEM: Final = 143
AUTOPILOT: Final = 1
CLIENTS: Final = {"udp": "udpout", "tcp": "tcp"}


class Pump:
    """Moves the flight on from the client's thread."""

    def __init__(self, flight: SimulatedFlight, link: Link, loop: asyncio.AbstractEventLoop) -> None:
        self.flight = flight
        self._link = link
        self._loop = loop

    def __call__(self, _connection: object = None) -> None:
        """Take what has come, and move on by some steps. Fails when a test flies for ever."""
        asyncio.run_coroutine_threadsafe(self._move(), self._loop).result(30)
        assert self.flight.time_s < MOST_S, "what the client waits for does not come"

    async def _move(self) -> None:
        for _ in range(3):  # what has come to the socket is read when the loop goes round
            await asyncio.sleep(0)
        frames = [frame for _ in range(STEPS) for frame in self.flight.fly()]
        if frames:
            self._link.send(b"".join(frames))
        await asyncio.sleep(0)


class Station:
    """A plain client: pymavlink's connection, and what an operator does with it."""

    def __init__(self, scheme: str, port: int, pump: Pump) -> None:
        self.pump = pump
        self.link: Any = mavutil.mavlink_connection(
            f"{CLIENTS[scheme]}:127.0.0.1:{port}", source_system=255, source_component=190, autoreconnect=False
        )
        self.link.idle_hooks.append(pump)
        self.beat()

    def beat(self) -> None:
        """Say that a ground station is here."""
        self.link.mav.heartbeat_send(mavutil.mavlink.MAV_TYPE_GCS, mavutil.mavlink.MAV_AUTOPILOT_INVALID, 0, 0, 4)

    def wait(self, kind: str, holds: Callable[[Any], bool] = lambda _: True) -> Any:
        """Return the next message of a kind for which something holds."""
        while True:
            message = self.link.recv_match(type=kind, blocking=True)
            if holds(message):
                return message

    def order(self, command: int, *params: float) -> int:
        """Send COMMAND_LONG and return the MAV_RESULT of its acknowledgement."""
        given = (*params, *(0.0,) * (7 - len(params)))
        self.link.mav.command_long_send(SYSTEM, AUTOPILOT, command, 0, *given)
        return self._acknowledged(command)

    def order_at(self, command: int, latitude_deg: float, longitude_deg: float, height_m: float, p1: float) -> int:
        """Send COMMAND_INT for a place, its height above home, and return the MAV_RESULT."""
        frame = mavutil.mavlink.MAV_FRAME_GLOBAL_RELATIVE_ALT_INT
        place = (round(latitude_deg * 1e7), round(longitude_deg * 1e7), height_m)
        self.link.mav.command_int_send(SYSTEM, AUTOPILOT, frame, command, 0, 0, p1, 0, 0, math.nan, *place)
        return self._acknowledged(command)

    def _acknowledged(self, command: int) -> int:
        return int(self.wait("COMMAND_ACK", lambda ack: ack.command == command).result)


async def fly(scheme: str, flight: SimulatedFlight, client: Callable[[Station], None]) -> None:
    """Serve a flight and let a client fly it."""
    loop = asyncio.get_running_loop()
    async with serve(ServeUrl(scheme, "127.0.0.1", 0), flight.receive) as link:
        port, pump = link.port, Pump(flight, link, loop)

        def run() -> None:
            station = Station(scheme, port, pump)
            try:
                client(station)
            finally:
                station.link.close()

        await asyncio.to_thread(run)
