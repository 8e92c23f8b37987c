"""Simulated flights that speak, read by pymavlink: one kind of message asked for, or all of a while."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from simulators.flown.flight import SimulatedFlight
from simulators.flown.setup import Setup
from simulators.onboard.modes import Landed
from tests.simulators.onboard.flying import setup
from tests.simulators.wire.plain_client import PlainClient

SEED = 4


def standing(made: Setup | None = None, seed: int = SEED) -> SimulatedFlight:
    """Return a flight that stands, and has spoken for a second."""
    flight = SimulatedFlight(made or setup(errors=None), seed)
    listen(flight, 1.0)
    return flight


def flying(made: Setup | None = None, seed: int = SEED, height_m: float = 20.0) -> SimulatedFlight:
    """Return a flight that holds its place in the air."""
    flight = standing(made, seed)
    assert flight.pilot.arm() is None
    assert flight.pilot.take_off(height_m)
    listen(flight, 15.0 + height_m / 2.0)
    assert flight.pilot.landed is Landed.AIR
    return flight


def cruising(made: Setup | None = None, seed: int = SEED) -> SimulatedFlight:
    """Return a flight on its way to a place far off to the north east."""
    flight = flying(made, seed)
    flight.pilot.go_to((900.0, 500.0, 60.0), 9.0)
    listen(flight, 10.0)
    return flight


def with_rates(made: Setup, rates_hz: Mapping[str, float], rate_scale: float = 1.0) -> Setup:
    return replace(made, rates_hz=rates_hz, rate_scale=rate_scale)


def listen(flight: SimulatedFlight, seconds: float) -> list[Any]:
    """Fly on and return all messages."""
    data = bytearray()
    for _ in range(round(seconds / flight.step_s)):
        for frame in flight.fly():
            data += frame
    return PlainClient().read(bytes(data))


def told(flight: SimulatedFlight, name: str) -> list[Any]:
    """Ask for a message, move on by one step, return it; the flight is then in the state that it tells."""
    flight.schedule.request(name)
    messages = [one for one in PlainClient().read(b"".join(flight.fly())) if one.get_type() == name]
    if name == "BATTERY_STATUS":
        return messages[: len(flight.bank.packs)]  # asked for, and due at the same time
    return messages if name == "AVAILABLE_MODES" else messages[:1]
