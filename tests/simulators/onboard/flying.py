"""Flights for tests: an aircraft without errors unless a test gives it some, stepped as fast as it goes."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from simulators.flown.flight import FAST_STEP_S, FastFlight
from simulators.flown.setup import PackSetup, Setup, Weather
from simulators.onboard.gauge import EXACT
from simulators.onboard.modes import Landed, Mode
from simulators.onboard.place import Field
from simulators.onboard.sensors import QUIET, SensorErrors
from simulators.physics.airframe import Load
from simulators.physics.packs import PackModel
from simulators.wire.plan import PlanItem

PACKS = (PackSetup(monitor=EXACT), PackSetup(PackModel(), monitor=EXACT))
LATITUDE, LONGITUDE = 1.25, -31.5
FIELD = Field(LATITUDE, LONGITUDE)


def setup(
    parameters: Mapping[str, float] | None = None,
    *,
    wind_m_s: float = 0.0,
    from_deg: float = 0.0,
    gusts_m_s: float = 0.0,
    errors: SensorErrors | None = QUIET,
    packs: tuple[PackSetup, ...] = PACKS,
    load: Load | None = None,
) -> Setup:
    """Return a setup; the wind is that at 10 m."""
    return Setup(
        latitude_deg=LATITUDE,
        longitude_deg=LONGITUDE,
        packs=packs,
        load=load or Load(),
        weather=Weather(((0.0, wind_m_s, from_deg),), gusts_m_s),
        sensors=errors,
        parameters=parameters or {},
    )


def grounded(made: Setup | None = None, seed: int = 1, step_s: float = FAST_STEP_S) -> FastFlight:
    """Return a flight that stands, its sensors awake."""
    flight = FastFlight(made or setup(), seed, step_s)
    flight.run(1.0)
    return flight


def airborne(
    made: Setup | None = None, height_m: float = 20.0, seed: int = 1, step_s: float = FAST_STEP_S
) -> FastFlight:
    """Return a flight that holds its place at a height above home."""
    flight = grounded(made, seed, step_s)
    assert flight.pilot.arm() is None
    assert flight.pilot.take_off(height_m)
    until(flight, lambda: flight.pilot.landed is Landed.AIR and height(flight) > height_m - 0.3, 60.0)
    flight.run(10.0)
    return flight


def until(flight: FastFlight, holds: Callable[[], bool], within_s: float) -> float:
    """Fly until something holds and return how long it took, s. Fails if it takes too long."""
    start_s = flight.time_s
    while not holds():
        flight.step()
        assert flight.time_s - start_s <= within_s, "it takes too long"
    return flight.time_s - start_s


def height(flight: FastFlight) -> float:
    """Return the true height above home, m."""
    return flight.craft.height_m - flight.pilot.home[2]


def away(flight: FastFlight) -> float:
    """Return the true distance from home, m."""
    craft, home = flight.craft, flight.pilot.home
    return math.hypot(craft.north_m - home[0], craft.east_m - home[1])


def mode(flight: FastFlight) -> Mode:
    """Return the mode now."""
    return flight.pilot.mode


def speed(flight: FastFlight) -> float:
    """Return the true speed over ground, m/s."""
    return math.hypot(flight.craft.north_m_s, flight.craft.east_m_s)


def said(flight: FastFlight) -> list[str]:
    """Return the status texts since the last call."""
    texts = [text for _, text in flight.pilot.texts]
    flight.pilot.texts.clear()
    return texts


def item(
    command: int,
    north_m: float | None = None,
    east_m: float = 0.0,
    height_m: float = 0.0,
    *,
    p1: float = 0.0,
    p2: float = 0.0,
) -> PlanItem:
    """Return an item of a plan, at a place in m from where the aircraft was switched on."""
    latitude, longitude = (None, None) if north_m is None else FIELD.degrees(north_m, east_m)
    return PlanItem(command, latitude, longitude, height_m, p1, p2)
