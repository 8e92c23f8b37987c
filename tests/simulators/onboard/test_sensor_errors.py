"""Errors of the sensors, measured: level, compass, height, satellite positions with their noise and latency."""

from __future__ import annotations

import math
from itertools import pairwise
from statistics import fmean, pstdev

import pytest

from simulators.flown.flight import FastFlight
from simulators.onboard.sensors import GRID_S, QUIET, SensorErrors, Sensors
from simulators.physics.craft import Craft
from tests.simulators.onboard.flying import airborne, setup

DRAWN = [SensorErrors.draw(seed) for seed in range(600)]
NOISY = SensorErrors(height_walk_m=0.0)


def still() -> Craft:
    """Return a craft that stands; its clock is moved by the tests."""
    return FastFlight(setup()).craft


def sense(sensors: Sensors, craft: Craft, seconds: float) -> None:
    """Let time pass in steps of the noise."""
    begin = round(craft.time_s / GRID_S)
    for step in range(begin + 1, begin + round(seconds / GRID_S) + 1):
        craft.time_s = step * GRID_S
        sensors.update(craft)


def test_level_errors_are_within_two_degrees_in_all_directions() -> None:
    # uniform from 0 to 2: mean 1, standard deviation 2 / sqrt(12); means of 600 are good to 4 * 0.58 / sqrt(600)
    sizes = [math.degrees(math.hypot(one.roll_rad, one.pitch_rad)) for one in DRAWN]
    assert 0 <= min(sizes) < 0.05
    assert 1.95 < max(sizes) <= 2.0
    assert fmean(sizes) == pytest.approx(1.0, abs=0.095)
    assert pstdev(sizes) == pytest.approx(2 / math.sqrt(12), rel=0.08)
    ways = [math.atan2(one.roll_rad, one.pitch_rad) for one in DRAWN]
    assert math.hypot(fmean(map(math.cos, ways)), fmean(map(math.sin, ways))) < 0.12


def test_compass_errors_are_some_degrees_and_six_at_most() -> None:
    errors = [math.degrees(one.compass_rad) for one in DRAWN]
    assert max(map(abs, errors)) <= 6.0 + 1e-9
    assert fmean(errors) == pytest.approx(0.0, abs=0.4)
    assert pstdev(errors) == pytest.approx(2.45, rel=0.1)


def test_drift_noise_and_latency_are_drawn_within_their_bounds() -> None:
    drifts = [3600 * one.height_drift_m_s for one in DRAWN]
    assert -6.0 <= min(drifts) < -5.8
    assert 5.8 < max(drifts) <= 6.0
    assert all(0.4 <= one.position_m <= 1.0 and 0.1 <= one.latency_s <= 0.3 for one in DRAWN)
    assert SensorErrors.draw(7) == DRAWN[7]


def test_attitude_and_heading_are_off_by_their_errors() -> None:
    errors = SensorErrors(math.radians(1.5), math.radians(-0.7), math.radians(4.0))
    craft, sensors = still(), Sensors(errors, 1)
    craft.heading_rad = math.radians(358.0)
    sensors.update(craft)
    assert math.degrees(sensors.roll_rad) == pytest.approx(1.5)
    assert math.degrees(sensors.pitch_rad) == pytest.approx(-0.7)
    assert math.degrees(sensors.heading_rad) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("roll_deg", "pitch_deg", "heading_deg"), [(20, 0, 0), (0, -25, 70), (25, 25, 200), (-30, 20, 310)]
)
def test_attitude_is_that_of_the_thrust(roll_deg: float, pitch_deg: float, heading_deg: float) -> None:
    """The aircraft's up vector by roll and pitch, from the rotation matrix of ZYX Euler angles (any textbook)."""
    roll, pitch, yaw = map(math.radians, (roll_deg, pitch_deg, heading_deg))
    craft, sensors = still(), Sensors(QUIET, 1)
    # minus the third column of the matrix, in north and east
    craft.tilt_north = -(math.cos(yaw) * math.sin(pitch) * math.cos(roll) + math.sin(yaw) * math.sin(roll))
    craft.tilt_east = -(math.sin(yaw) * math.sin(pitch) * math.cos(roll) - math.cos(yaw) * math.sin(roll))
    craft.heading_rad = yaw
    sensors.update(craft)
    assert math.degrees(sensors.roll_rad) == pytest.approx(roll_deg, abs=1e-6)
    assert math.degrees(sensors.pitch_rad) == pytest.approx(pitch_deg, abs=1e-6)


def test_height_drifts_as_it_is_set_to() -> None:
    craft, sensors = still(), Sensors(SensorErrors(height_drift_m_s=6.0 / 3600, height_walk_m=0.0), 1)
    sense(sensors, craft, 600.0)
    assert sensors.height_m == pytest.approx(1.0, abs=0.01)


def test_height_wanders_as_it_is_set_to() -> None:
    # a random walk: 0.25 m in a minute, twice that in four; 300 minutes give the deviation to 4 % (1 sigma)
    craft, sensors = still(), Sensors(SensorErrors(height_walk_m=0.25), 3)
    heights = []
    for _ in range(300):
        sense(sensors, craft, 60.0)
        heights.append(sensors.height_m)
    assert pstdev([b - a for a, b in pairwise(heights)]) == pytest.approx(0.25, rel=0.15)
    assert pstdev([b - a for a, b in pairwise(heights[::4])]) == pytest.approx(0.5, rel=0.3)


def test_positions_wander_by_their_deviation_and_memory() -> None:
    """First-order Gauss-Markov: deviation stays, and two values 45 s apart share exp(-1) of it."""
    begins: list[float] = []
    ends: list[float] = []
    for seed in range(150):
        craft, sensors = still(), Sensors(NOISY, seed)
        sensors.update(craft)
        begins += [sensors.north_m, sensors.east_m]
        sense(sensors, craft, 45.0)
        ends += [sensors.north_m, sensors.east_m]
    assert pstdev(begins) == pytest.approx(0.7, rel=0.13)
    assert pstdev(ends) == pytest.approx(0.7, rel=0.13)
    shared = fmean(a * b for a, b in zip(begins, ends, strict=True)) / 0.7**2
    assert shared == pytest.approx(math.exp(-1), abs=0.2)


def test_satellite_heights_are_one_and_a_half_times_as_bad() -> None:
    # common practice: vertical dilution is 1.4 to 2 times the horizontal
    ups = [Sensors(NOISY, seed).fix.height_m for seed in range(800)]
    assert pstdev(ups) == pytest.approx(1.5 * 0.7, rel=0.1)


def test_velocity_noise() -> None:
    craft, sensors = still(), Sensors(NOISY, 5)
    speeds: list[float] = []
    for _ in range(600):
        sense(sensors, craft, 3.0)  # three times its memory
        speeds += [sensors.north_m_s, sensors.east_m_s]
    assert pstdev(speeds) == pytest.approx(0.06, rel=0.1)
    assert fmean(speeds) == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("latency_s", [0.1, 0.25, 0.3])
@pytest.mark.parametrize("step_s", [0.02, 0.1])
def test_satellite_positions_come_late(latency_s: float, step_s: float) -> None:
    """By the latency, and the age of the last fix: it comes ten times a second."""
    errors = SensorErrors(
        height_walk_m=0.0, position_m=0.0, velocity_m_s=0.0, attitude_rad=0.0, latency_s=latency_s
    )
    flight = airborne(setup(errors=errors), step_s=step_s)
    flight.pilot.go_to((900.0, 0.0, 20.0))
    flight.run(30.0)
    ages = []
    for _ in range(round(10 / step_s)):
        flight.step()
        craft, fix = flight.craft, flight.pilot.sensors.fix
        # the sensors look before the craft moves on
        ages.append((craft.north_m - fix.north_m) / craft.north_m_s - step_s)
        assert flight.pilot.sensors.north_m == pytest.approx(craft.north_m, abs=1.1 * step_s * craft.north_m_s)
    assert latency_s - 0.005 <= min(ages)
    assert max(ages) <= latency_s + GRID_S + step_s
    if step_s < GRID_S:
        assert fmean(ages) == pytest.approx(latency_s + GRID_S / 2, abs=0.02)


def test_without_a_fix_the_position_stands_still_and_comes_back() -> None:
    flight = airborne()
    flight.pilot.go_to((500.0, 0.0, 20.0))
    flight.run(20.0)
    sensors = flight.pilot.sensors
    sensors.has_fix = False
    flight.step()
    stuck = (sensors.north_m, sensors.east_m)
    flight.run(0.8)
    assert (sensors.north_m, sensors.east_m) == stuck
    late_fix = sensors.fix
    flight.run(0.3)
    assert sensors.fix is late_fix  # what was under way has come, and no more
    sensors.has_fix = True
    flight.run(0.5)
    assert sensors.fix is not late_fix
    assert sensors.north_m == pytest.approx(flight.craft.north_m, abs=1.0)


def test_noise_does_not_depend_on_the_step() -> None:
    two = []
    for step_s in (0.02, 0.1):
        flight = FastFlight(setup(errors=NOISY), 4, step_s)
        flight.run(30.0)
        two.append((flight.pilot.sensors.north_m, flight.pilot.sensors.fix.height_m))
    assert two[0] == two[1]
