"""Landing: its speeds, its place, the motors' end. And motors stopped in the air."""

from __future__ import annotations

import math

import pytest

from simulators.onboard.modes import Landed, Mode, Severity
from tests.simulators.onboard.flying import airborne, away, grounded, height, said, setup, speed, until

G_M_S2 = 9.80665


@pytest.mark.parametrize(("fast", "slow", "slow_m"), [(1.5, 0.7, 6.0), (2.5, 0.4, 10.0), (0.8, 0.8, 3.0)])
def test_a_landing_is_fast_high_and_slow_low(fast: float, slow: float, slow_m: float) -> None:
    flight = airborne(
        setup({"land.fast_m_s": fast, "land.slow_m_s": slow, "land.slow_m": slow_m}), 25.0, step_s=0.02
    )
    flight.pilot.enter(Mode.LAND, "order")
    until(flight, lambda: height(flight) < slow_m + 2.0, 60.0)
    assert -flight.craft.climb_m_s == pytest.approx(fast, abs=0.1)
    until(flight, lambda: height(flight) < slow_m / 3, 60.0)
    assert -flight.craft.climb_m_s == pytest.approx(slow, abs=0.1)
    until(flight, lambda: flight.craft.on_ground, 60.0)
    assert flight.craft.impact_m_s == pytest.approx(slow, abs=0.15)
    assert flight.craft.impact_m_s < 1.0  # common practice (facts.md 14): let it settle, a steady descent


def test_the_landed_state_through_a_flight() -> None:
    # MAV_LANDED_STATE (facts.md 9): 1 ground, 2 air, 3 takeoff, 4 landing
    flight = grounded()
    pilot = flight.pilot
    states = [int(pilot.landed)]

    def fly(seconds: float) -> None:
        for _ in range(round(seconds / flight.step_s)):
            flight.step()
            if pilot.landed != states[-1]:
                states.append(int(pilot.landed))

    pilot.arm()
    fly(2)
    pilot.take_off(10.0)
    fly(15)
    pilot.enter(Mode.LAND, "order")
    fly(4)
    pilot.enter(Mode.POSITION_HOLD, "order")  # breaks it off
    fly(4)
    pilot.enter(Mode.LAND, "order")
    fly(30)
    assert states == [1, 3, 2, 4, 2, 4, 1]


@pytest.mark.parametrize("off_s", [0.5, 2.0, 5.0])
def test_motors_stop_some_time_after_the_touch_down(off_s: float) -> None:
    flight = airborne(setup({"land.off_s": off_s}), 5.0)
    flight.pilot.enter(Mode.LAND, "order")
    until(flight, lambda: flight.craft.on_ground, 30.0)
    assert flight.pilot.armed
    assert until(flight, lambda: not flight.pilot.armed, 10.0) == pytest.approx(off_s, abs=0.25)
    assert said(flight)[-2:] == ["Landed", "Disarmed"]
    assert (flight.pilot.mode, flight.pilot.landed) == (Mode.POSITION_HOLD, Landed.GROUND)
    flight.run(5.0)
    assert flight.craft.drive.groups[0].speed_rad_s < 20.0


def test_it_lands_where_it_was_ordered_in_wind() -> None:
    flight = airborne(setup(wind_m_s=8.0, from_deg=120.0, gusts_m_s=6.0), 15.0)
    flight.pilot.enter(Mode.LAND, "order")
    north, east = flight.pilot.target[:2]
    until(flight, lambda: not flight.pilot.armed, 60.0)
    assert math.hypot(flight.craft.north_m - north, flight.craft.east_m - east) < 1.5
    assert not flight.craft.crashed


def test_it_flies_to_a_place_before_it_lands_there() -> None:
    flight = airborne(setup(), 15.0)
    assert flight.pilot.land_there((60.0, -40.0), "order")
    assert flight.pilot.aim[:2] == (60.0, -40.0)
    until(flight, lambda: math.hypot(flight.craft.north_m - 60.0, flight.craft.east_m + 40.0) < 5.5, 60.0)
    assert height(flight) == pytest.approx(15.0, abs=1.0)
    until(flight, lambda: not flight.pilot.armed, 60.0)
    assert (flight.craft.north_m, flight.craft.east_m) == pytest.approx((60.0, -40.0), abs=0.3)


@pytest.mark.parametrize("order", [123456, 12346])
def test_a_return_that_is_pushed_away_in_its_landing_comes_no_higher_again(order: int) -> None:
    """12 m aside in 5 m of height, after work at 40 m, in light wind: it closes in, and lands soon.

    12 m at the braking of half the acceleration take some 6 s, the rest at 0.7 m/s another 7 s.
    """
    made = setup({"return.order": order, "return.height_m": 40.0}, wind_m_s=3.0, from_deg=120.0)
    flight = airborne(made, 20.0)
    flight.pilot.go_to((60.0, 0.0, 40.0))
    flight.run(40.0)
    assert flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    until(flight, lambda: flight.pilot.mode is Mode.LAND and height(flight) < 5.0, 200.0)
    pushed_m = height(flight)
    flight.craft.north_m += 12.0
    highest_m, pushed_s = pushed_m, flight.time_s
    while flight.pilot.armed:
        flight.step()
        highest_m = max(highest_m, height(flight))
        assert flight.time_s < pushed_s + 30.0
    assert highest_m < pushed_m + 0.5
    assert away(flight) < 1.5
    assert not flight.craft.crashed


def test_a_landing_begins_from_the_height_that_it_has() -> None:
    """Pushed away as it begins, high up: it closes in there, and not at the height of the work before."""
    flight = airborne(setup({"return.order": 1236.0}), 20.0)
    flight.pilot.go_to((60.0, 0.0, 15.0))
    flight.run(30.0)
    assert flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    until(flight, lambda: flight.pilot.mode is Mode.LAND, 100.0)
    began_m = height(flight)
    assert began_m == pytest.approx(40.0, abs=1.0)
    flight.craft.east_m += 30.0
    until(flight, lambda: away(flight) < 6.0, 40.0)
    assert height(flight) == pytest.approx(began_m, abs=1.0)
    until(flight, lambda: not flight.pilot.armed, 90.0)
    assert away(flight) < 1.5


def test_a_landing_ordered_before_it_has_lifted_ends_the_flight() -> None:
    flight = grounded()
    flight.pilot.arm()
    flight.pilot.take_off(10.0)
    flight.pilot.enter(Mode.LAND, "order")
    until(flight, lambda: not flight.pilot.armed, 10.0)
    assert flight.pilot.landed is Landed.GROUND


def test_a_second_flight_after_a_landing() -> None:
    flight = airborne(setup(), 6.0)
    for _ in range(2):
        flight.pilot.enter(Mode.LAND, "order")
        until(flight, lambda: not flight.pilot.armed, 30.0)
        assert flight.pilot.arm() is None
        assert flight.pilot.take_off(6.0)
        flight.run(12.0)
        assert height(flight) == pytest.approx(6.0, abs=0.2)


@pytest.mark.parametrize("step_s", [0.02, 0.1])
def test_motors_stopped_in_the_air_let_it_fall(step_s: float) -> None:
    # free fall with drag: never slower to the ground than without air, sqrt(2 h / g), nor much faster
    flight = airborne(setup(), 30.0, step_s=step_s)
    assert flight.pilot.disarm(force=True)
    took_s = until(flight, lambda: flight.craft.on_ground, 10.0)
    free_s = math.sqrt(2 * 30.0 / G_M_S2)
    assert free_s < took_s < 1.35 * free_s
    assert 12.0 < flight.craft.impact_m_s < math.sqrt(2 * G_M_S2 * 30.0)
    flight.run(1.0)
    assert (flight.craft.crashed, flight.pilot.landed, flight.pilot.armed) == (True, Landed.GROUND, False)
    texts = [(severity, text) for severity, text in flight.pilot.texts if severity == Severity.EMERGENCY]
    assert texts == [(0, "Motors stopped in the air"), (0, "Struck the ground")]
    assert away(flight) < 1.0


def test_motors_stopped_low_over_the_ground_leave_it_whole() -> None:
    flight = airborne(setup(), 3.0)
    flight.pilot.enter(Mode.LAND, "order")
    until(flight, lambda: height(flight) < 0.4, 10.0)
    flight.pilot.disarm(force=True)
    flight.run(2.0)
    assert (flight.craft.crashed, flight.pilot.landed) == (False, Landed.GROUND)
    assert flight.pilot.arm() is None


def test_a_fast_descent_does_not_strike_the_ground_on_order_of_a_depth() -> None:
    flight = airborne(setup(), 12.0)
    flight.pilot.go_to((0.0, 0.0, -20.0))
    until(flight, lambda: not flight.pilot.armed, 60.0)
    assert not flight.craft.crashed
    assert speed(flight) == 0.0
