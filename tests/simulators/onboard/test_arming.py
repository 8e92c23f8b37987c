"""Arming: what refuses it, what forces it, and what follows when nothing does."""

from __future__ import annotations

from dataclasses import replace

import pytest

from simulators.flown.setup import PackSetup
from simulators.onboard.command import Sticks
from simulators.onboard.gauge import EXACT
from simulators.onboard.modes import Landed, Mode, Severity
from simulators.physics.airframe import Load
from tests.simulators.onboard.flying import airborne, away, grounded, height, item, said, setup, until

LOW = (PackSetup(monitor=EXACT, charge=0.10), PackSetup(monitor=EXACT, charge=0.10))
WAYPOINT, TAKEOFF = 16, 22


def test_it_arms_in_good_order_and_sets_home_where_it_stands() -> None:
    flight = grounded()
    pilot = flight.pilot
    assert (pilot.armed, pilot.home_set) == (False, False)
    assert pilot.arm() is None
    assert (pilot.armed, pilot.home_set, pilot.landed) == (True, True, Landed.GROUND)
    assert away(flight) < 0.01
    assert said(flight) == ["Armed"]
    assert pilot.arm() is None  # again: nothing happens
    assert said(flight) == []


def test_no_arming_without_a_position_unless_it_may() -> None:
    # common practice (facts.md 14): take-off only with a satellite fix, so that home is known
    flight = grounded()
    flight.pilot.sensors.has_fix = False
    assert flight.pilot.arm() == "no position"
    assert not flight.pilot.armed
    assert flight.pilot.texts == [(Severity.WARNING, "Not armed: no position")]
    flight.parameters.set("arm.needs_fix", 0.0)
    assert flight.pilot.arm() is None
    assert not flight.pilot.home_set


@pytest.mark.parametrize("mode", [Mode.LAND, Mode.SAFE_RECOVERY])
def test_no_arming_in_a_mode_that_only_ends_flights(mode: Mode) -> None:
    flight = grounded()
    assert flight.pilot.enter(mode, "order")
    assert flight.pilot.arm() == f"mode {mode.words}"
    assert flight.pilot.enter(Mode.POSITION_HOLD, "order")
    assert flight.pilot.arm() is None


def test_no_arming_for_a_plan_that_is_not_there() -> None:
    flight = grounded()
    flight.pilot.load_plan([item(TAKEOFF, height_m=8)])
    assert flight.pilot.enter(Mode.MISSION, "order")
    flight.pilot.load_plan([])
    assert flight.pilot.arm() == "no plan"
    assert not flight.pilot.enter(Mode.MISSION, "order")
    assert not flight.pilot.start_plan()


def test_no_arming_under_the_first_low_voltage() -> None:
    # facts.md 14: 44 V for twelve cells; 10 % of a lithium-polymer cell is under 3.7 V at rest (common practice)
    flight = grounded(setup(packs=LOW))
    assert flight.pilot.gauges.voltage_v < 44.6
    flight.parameters.set("low1.volt_v", 45.0)
    assert flight.pilot.arm() == "battery low"
    assert flight.pilot.arm(force=True) is None
    assert flight.pilot.armed


@pytest.mark.parametrize("step_s", [0.02, 0.1])
def test_motors_stop_when_nothing_follows_arming(step_s: float) -> None:
    flight = grounded(setup({"arm.wait_s": 12.0}), step_s=step_s)
    flight.pilot.arm()
    armed_s = flight.time_s
    until(flight, lambda: not flight.pilot.armed, 13.0)
    assert flight.time_s - armed_s == pytest.approx(12.0, abs=2 * step_s)
    assert said(flight)[-2:] == ["Nothing follows arming", "Disarmed"]
    assert flight.pilot.arm() is None  # and may be armed again
    assert flight.pilot.take_off()


def test_motors_turn_for_ever_if_they_are_set_to() -> None:
    flight = grounded(setup({"arm.wait_s": 0.0}))
    flight.pilot.arm()
    flight.run(900.0)
    assert flight.pilot.armed
    assert flight.craft.on_ground
    assert 20 < flight.bank.power_w < 1500  # they turn


def test_no_take_off_but_armed_on_the_ground_with_a_position() -> None:
    flight = grounded()
    assert not flight.pilot.take_off(10.0)
    flight.pilot.arm()
    flight.pilot.sensors.has_fix = False
    assert not flight.pilot.take_off(10.0)
    flight.pilot.sensors.has_fix = True
    assert flight.pilot.take_off(10.0)
    assert not flight.pilot.take_off(10.0)
    assert not airborne().pilot.take_off(30.0)


def test_disarming_is_refused_in_the_air_and_done_on_the_ground() -> None:
    flight = grounded()
    assert flight.pilot.disarm()  # is disarmed
    flight.pilot.arm()
    assert flight.pilot.disarm()
    assert not flight.pilot.armed
    flying = airborne(height_m=6.0)
    assert not flying.pilot.disarm()
    assert flying.pilot.armed


def test_what_has_struck_the_ground_does_not_arm_even_by_force() -> None:
    flight = airborne()
    flight.pilot.disarm(force=True)
    flight.run(10.0)
    assert flight.craft.crashed
    assert flight.pilot.arm(force=True) == "damaged"
    assert not flight.pilot.armed


def test_too_heavy_to_lift_it_gives_up() -> None:
    flight = grounded(setup(load=Load(40.0)))
    flight.craft.load = replace(flight.craft.load, mass_kg=90.0)
    flight.pilot.arm()
    flight.pilot.take_off(10.0)
    took_s = until(flight, lambda: not flight.pilot.armed, 15.0)
    assert took_s > 5
    assert (flight.craft.on_ground, flight.pilot.landed, flight.pilot.mode) == (
        True, Landed.GROUND, Mode.POSITION_HOLD,
    )  # fmt: skip


@pytest.mark.parametrize("mode", [Mode.POSITION_HOLD, Mode.ALTITUDE_HOLD])
def test_sticks_lift_off_hold_and_land(mode: Mode) -> None:
    # common practice (facts.md 14): first hover at 10 to 15 ft without delay after arming
    flight = grounded()
    pilot = flight.pilot
    pilot.enter(mode, "order")
    pilot.arm()

    def push(up: float, seconds: float) -> None:
        for _ in range(round(seconds / flight.step_s)):
            pilot.sticks = Sticks(0.0, 0.0, up, 0.0, flight.time_s)
            flight.step()

    push(0.2, 2.0)
    assert flight.craft.on_ground  # too little
    push(1.0, 3.0)
    assert pilot.landed is Landed.AIR
    push(0.0, 4.0)
    held_m = height(flight)
    assert held_m > 2.0
    flight.run(20.0)
    assert height(flight) == pytest.approx(held_m, abs=0.2)
    push(-0.5, 25.0)
    assert (pilot.armed, pilot.landed, flight.craft.crashed) == (False, Landed.GROUND, False)
    assert flight.craft.impact_m_s < 1.0
