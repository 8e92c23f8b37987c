"""Others in the air over a simulated flight, read by pymavlink as any client would."""

from __future__ import annotations

import math
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic
from pymavlink.dialects.v20 import all as dialect

from simulators.flown.flight import FastFlight
from simulators.flown.overhead import Other, Overhead
from simulators.flown.setup import Setup, Weather

ALTITUDE_M = 310.0


def over(*others: Other, degc: float | None = None) -> tuple[FastFlight, Overhead]:
    weather = Weather() if degc is None else Weather(temperature_degc=degc)
    flight = FastFlight(Setup(latitude_deg=1.25, longitude_deg=-31.5, altitude_m=ALTITUDE_M, weather=weather))
    return flight, Overhead(flight, others, receiver=True)


def told(overhead: Overhead) -> list[Any]:
    reader = dialect.MAVLink(None)
    return [message for frame in overhead.frames() for message in reader.parse_buffer(frame) or []]


def test_what_it_sends() -> None:
    flight, overhead = over(Other(-3000, 400, 120, 50, 90, 2))
    flight.run(20.5)
    beat, vehicle = told(overhead)
    assert (beat.get_type(), beat.type, beat.autopilot) == ("HEARTBEAT", dialect.MAV_TYPE_ADSB, 8)
    assert vehicle.get_srcComponent() == dialect.MAV_COMP_ID_ADSB
    # by hand: half a second late, 20 s at 50 m/s eastward
    inverse = Geodesic.WGS84.Inverse(1.25, -31.5, vehicle.lat / 1e7, vehicle.lon / 1e7)
    assert inverse["s12"] == pytest.approx(math.hypot(3000, 1400), abs=1.0)
    assert inverse["azi1"] == pytest.approx(math.degrees(math.atan2(1400, -3000)), abs=0.1)
    assert vehicle.heading == 9_000
    assert vehicle.hor_velocity == pytest.approx(5_000, abs=26)  # knots
    assert vehicle.ver_velocity == 200
    assert vehicle.flags & 15 == 15
    assert vehicle.altitude_type == dialect.ADSB_ALTITUDE_TYPE_PRESSURE_QNH


def test_pressure_altitude_on_a_standard_day_is_the_height_over_the_sea() -> None:
    # ISO 2533 at 310 m: 288.15 - 6.5 * 0.31 K
    _, overhead = over(Other(0, 0, 690, 0, 0), degc=288.15 - 6.5 * 0.31 - 273.15)
    assert told(overhead)[1].altitude / 1000 == pytest.approx(1000, abs=25 * 0.3048 / 2 + 0.3)
    assert told(overhead)[1].altitude % 7620 == 0


def test_one_that_comes_later_begins_there() -> None:
    flight, overhead = over()
    flight.run(30)
    assert len(told(overhead)) == 1
    overhead.add(Other(-3000, 0, 120, 50, 0))
    vehicle = told(overhead)[1]
    assert Geodesic.WGS84.Inverse(1.25, -31.5, vehicle.lat / 1e7, vehicle.lon / 1e7)["s12"] == pytest.approx(
        3000, abs=1
    )


def test_out_of_range_and_without_a_receiver() -> None:
    _, overhead = over(Other(70_000, 0, 120, 50, 0), Other(1000, 0, 120, 0, 0))
    assert len(told(overhead)) == 2
    overhead.listens = False
    assert told(overhead) == []
