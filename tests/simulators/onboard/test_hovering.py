"""Take-off, holding a place, altitude hold: what wind and errors of level do to each."""

from __future__ import annotations

import math
from statistics import pstdev

import pytest

from simulators.flown.flight import FastFlight
from simulators.onboard.command import Sticks
from simulators.onboard.control import braking, towards
from simulators.onboard.modes import Mode
from simulators.onboard.sensors import QUIET, SensorErrors
from tests.simulators.onboard.flying import airborne, away, height, setup, speed

AIR_KG_M3 = 1.19  # ISO 2533 at 340 m and 15 degrees C
G_M_S2 = 9.80665


def level_error(pitch_deg: float = 0.0, roll_deg: float = 0.0, compass_deg: float = 0.0) -> SensorErrors:
    return SensorErrors(
        math.radians(roll_deg), math.radians(pitch_deg), math.radians(compass_deg), height_walk_m=0.0,
        position_m=0.0, velocity_m_s=0.0, attitude_rad=0.0, latency_s=0.0,
    )  # fmt: skip


@pytest.mark.parametrize("height_m", [3.0, 8.0, 45.0])
@pytest.mark.parametrize("step_s", [0.02, 0.1])
def test_take_off_reaches_its_height_and_holds_it(height_m: float, step_s: float) -> None:
    flight = airborne(height_m=height_m, step_s=step_s)
    highest = lowest = height(flight)
    for _ in range(round(30 / step_s)):
        flight.step()
        highest, lowest = max(highest, height(flight)), min(lowest, height(flight))
    assert height_m - 0.2 < lowest <= highest < height_m + 0.2
    assert away(flight) < 0.1
    assert flight.pilot.mode is Mode.POSITION_HOLD


def test_take_off_without_a_height_takes_that_of_the_parameter() -> None:
    flight = FastFlight(setup({"lift.height_m": 5.0}))
    flight.pilot.arm()
    flight.pilot.take_off()
    flight.run(15.0)
    assert height(flight) == pytest.approx(5.0, abs=0.2)


def test_climb_and_sink_keep_to_their_parameters() -> None:
    flight = airborne(setup({"fly.climb_m_s": 3.0, "fly.sink_m_s": 1.0}), 10.0)
    flight.pilot.go_to((0.0, 0.0, 60.0))
    flight.run(10.0)
    assert flight.craft.climb_m_s == pytest.approx(3.0, abs=0.05)
    flight.run(20.0)
    flight.pilot.go_to((0.0, 0.0, 20.0))
    flight.run(10.0)
    assert flight.craft.climb_m_s == pytest.approx(-1.0, abs=0.05)


@pytest.mark.parametrize(
    ("wind_m_s", "gusts_m_s", "within_m"), [(5.0, 0.0, 0.1), (11.0, 0.0, 0.3), (9.0, 9.0, 2.5)]
)
def test_it_holds_its_place_against_the_wind(wind_m_s: float, gusts_m_s: float, within_m: float) -> None:
    flight = airborne(setup(wind_m_s=wind_m_s, from_deg=300.0, gusts_m_s=gusts_m_s), step_s=0.02)
    north, east, up = flight.pilot.target
    craft = flight.craft
    farthest = off_m = 0.0
    for _ in range(round(60 / 0.02)):
        flight.step()
        farthest = max(farthest, math.hypot(craft.north_m - north, craft.east_m - east))
        off_m = max(off_m, abs(craft.height_m - up))
    assert farthest < within_m
    assert off_m < 0.2 + 0.1 * gusts_m_s


@pytest.mark.parametrize("wind_m_s", [6.0, 11.0])
def test_it_leans_into_the_wind_as_drag_has_it(wind_m_s: float) -> None:
    # weight times the tangent of the lean is the drag: at least that of the body, rotors add to it
    flight = airborne(setup(wind_m_s=wind_m_s, from_deg=0.0))
    craft = flight.craft
    drag_n = 0.5 * AIR_KG_M3 * craft.airframe.drag_level_m2 * craft.wind_north_m_s**2
    least_deg = math.degrees(math.atan(drag_n / (craft.airframe.mass_kg * G_M_S2)))
    assert least_deg < -math.degrees(flight.pilot.sensors.pitch_rad) < 2 * least_deg
    assert abs(math.degrees(flight.pilot.sensors.roll_rad)) < 0.5


def test_it_comes_to_rest_ahead_without_flying_back() -> None:
    flight = airborne()
    flight.pilot.go_to((400.0, 0.0, 20.0))
    flight.run(20.0)
    assert speed(flight) == pytest.approx(8.0, abs=0.1)
    flight.pilot.enter(Mode.POSITION_HOLD, "order")
    ordered_m = flight.craft.north_m
    farthest = ordered_m
    for _ in range(200):
        flight.step()
        farthest = max(farthest, flight.craft.north_m)
    # at 0.6 of 1.8 m/s2 the way from 8 m/s is 8^2 / (2 * 1.08) = 29.6 m, and some for the gentle end
    assert 29.0 < flight.craft.north_m - ordered_m < 34.0
    assert farthest - flight.craft.north_m < 0.5


@pytest.mark.parametrize("speed_m_s", [0.0, 0.3, 1.35, 5.0, 20.0])
def test_braking_is_the_way_from_which_towards_gives_that_speed(speed_m_s: float) -> None:
    assert towards(braking(speed_m_s, 1.08), 99.0, 1.08) == pytest.approx(speed_m_s, abs=1e-9)


@pytest.mark.parametrize(("wind_m_s", "within"), [(4.0, 0.10), (8.0, 0.06), (12.0, 0.05)])
def test_altitude_hold_drifts_with_the_wind(wind_m_s: float, within: float) -> None:
    """With level rotors only drag moves it: m dv/dt = rho/2 cA (w - v)^2 at least, and never beyond the wind.

    Drag alone, from rest: w - v = w / (1 + k w t) with k = rho cA / 2 m. Rotors add to it. Textbook mechanics.
    """
    flight = airborne(setup(wind_m_s=wind_m_s, from_deg=270.0))
    flight.pilot.enter(Mode.ALTITUDE_HOLD, "order")
    flight.run(60.0)
    craft, frame = flight.craft, flight.craft.airframe
    wind = craft.wind_east_m_s
    assert wind > wind_m_s  # it grows with height
    k = AIR_KG_M3 * frame.drag_level_m2 / (2 * frame.mass_kg)
    least = wind - wind / (1 + k * wind * 60)
    assert least < craft.east_m_s < wind
    assert craft.east_m_s == pytest.approx(wind, rel=within)
    assert abs(craft.north_m_s) < 0.12 * wind  # the wind turns a little with height
    assert height(flight) == pytest.approx(20.0, abs=0.1)


@pytest.mark.parametrize("degrees", [0.5, 1.0, 2.0])
@pytest.mark.parametrize(("pitch", "roll", "way_deg"), [(1, 0, 0), (-1, 0, 180), (0, 1, 270), (0, -1, 90)])
def test_altitude_hold_drifts_with_an_error_of_level_in_calm_air(
    degrees: float, pitch: int, roll: int, way_deg: float
) -> None:
    """Thought nose up it holds nose down: m g tan(error) is balanced by drag. Body drag alone bounds the speed."""
    flight = airborne(setup(errors=level_error(pitch * degrees, roll * degrees)))
    assert away(flight) < 0.05  # position hold trims it away
    assert math.degrees(flight.pilot.sensors.pitch_rad) == pytest.approx(pitch * degrees, abs=0.05)
    flight.pilot.enter(Mode.ALTITUDE_HOLD, "order")
    flight.run(60.0)
    craft, frame = flight.craft, flight.craft.airframe
    push_n = frame.mass_kg * G_M_S2 * math.tan(math.radians(degrees))
    most = math.sqrt(2 * push_n / (AIR_KG_M3 * frame.drag_level_m2))
    assert 0.5 * most < speed(flight) < most
    way = math.degrees(math.atan2(craft.east_m_s, craft.north_m_s)) % 360
    assert math.remainder(way - way_deg, 360) == pytest.approx(0, abs=1)
    assert height(flight) == pytest.approx(20.0, abs=0.1)


def test_altitude_hold_stands_in_calm_air_without_error() -> None:
    flight = airborne()
    flight.pilot.enter(Mode.ALTITUDE_HOLD, "order")
    flight.run(60.0)
    assert away(flight) < 0.5


@pytest.mark.parametrize("mode", [Mode.POSITION_HOLD, Mode.ALTITUDE_HOLD])
@pytest.mark.parametrize("compass_deg", [0.0, 6.0])
def test_forward_stick_flies_where_the_nose_points(mode: Mode, compass_deg: float) -> None:
    """With a compass error too: the error is in where north is thought, not in where the nose is."""
    flight = airborne(setup(errors=level_error(compass_deg=compass_deg)))
    flight.craft.heading_rad = math.radians(50.0)
    flight.pilot.enter(mode, "order")
    for _ in range(50):
        flight.pilot.sticks = Sticks(0.5, 0.0, 0.0, 0.0, flight.time_s)
        flight.step()
    way = math.degrees(math.atan2(flight.craft.east_m_s, flight.craft.north_m_s))
    off = compass_deg if mode is Mode.POSITION_HOLD else 0.0  # velocities are steered by the compass
    assert way == pytest.approx(50.0 + off, abs=1.5)
    assert speed(flight) > 2.0


def test_released_sticks_hold_and_old_ones_count_no_more() -> None:
    flight = airborne()
    for _ in range(40):
        flight.pilot.sticks = Sticks(1.0, 0.0, 0.0, 0.0, flight.time_s)
        flight.step()
    assert speed(flight) == pytest.approx(8.0 * 4 * 1.8 / 8, abs=0.8)  # it gains 1.8 m/s2 at most
    flight.run(30.0)  # nothing is heard any more
    assert speed(flight) < 0.1
    flight.pilot.sticks = Sticks(1.0, 0.0, 0.0, 0.0, flight.time_s)
    flight.pilot.control_link = False
    flight.step()
    assert speed(flight) < 0.1


def test_a_turn_by_stick() -> None:
    flight = airborne()
    for _ in range(20):
        flight.pilot.sticks = Sticks(0.0, 0.0, 0.0, 1.0, flight.time_s)
        flight.step()
    assert math.degrees(flight.craft.heading_rad) == pytest.approx(math.degrees(0.8 * 2.0), abs=2.0)


def test_no_sensor_error_is_the_quiet_one() -> None:
    assert level_error() == QUIET


@pytest.mark.parametrize("seed", [4, 5, 6])
def test_noise_of_the_satellites_does_not_shake_it(seed: int) -> None:
    # common practice: a heavy machine in calm air hovers within a degree or so
    flight = airborne(setup(errors=None), seed=seed, step_s=0.02)
    craft = flight.craft
    tilts = []
    for _ in range(1500):
        flight.step()
        tilts += [math.degrees(craft.tilt_north), math.degrees(craft.tilt_east)]
    assert 0.1 < pstdev(tilts) < 0.7
    assert max(map(abs, tilts)) < 2.5
