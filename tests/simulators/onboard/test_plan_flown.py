"""A plan flown item by item, changed in flight, started from the ground."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from simulators.flown.flight import FastFlight
from simulators.onboard.modes import Landed, Mode
from simulators.onboard.route import PlanState
from simulators.physics.airframe import Load
from simulators.wire.plan import PlanItem
from tests.simulators.onboard.flying import airborne, away, grounded, height, item, said, setup, speed, until

WAYPOINT, LOITER, RETURN, LAND, TAKEOFF, DELAY, SPEED, GRIPPER = 16, 19, 20, 21, 22, 112, 178, 211  # MAV_CMD


def flying(plan: Sequence[PlanItem], parameters: dict[str, float] | None = None) -> FastFlight:
    """Return a flight at 20 m that has just begun a plan."""
    flight = airborne(setup(parameters))
    flight.pilot.load_plan(plan)
    assert flight.pilot.start_plan()
    flight.pilot.route.reached.clear()
    said(flight)
    return flight


def reached_in(flight: FastFlight, within_s: float = 600.0) -> list[tuple[int, float]]:
    """Fly until the plan is done; return items reached and when, s from now."""
    start_s, found = flight.time_s, []
    while not flight.pilot.route.done:
        flight.step()
        found += [(number, flight.time_s - start_s) for number in flight.pilot.route.reached]
        flight.pilot.route.reached.clear()
        assert flight.time_s - start_s < within_s
    return found


def test_items_are_reached_in_their_order_at_their_places() -> None:
    places = [(60.0, 0.0, 25.0), (60.0, 50.0, 35.0), (0.0, 50.0, 30.0)]
    flight = flying([item(WAYPOINT, *place) for place in places])
    craft, route = flight.craft, flight.pilot.route
    for number, (north, east, up) in enumerate(places):
        until(flight, lambda number=number: number in route.reached, 60.0)  # type: ignore[misc]  # bound now
        assert math.hypot(craft.north_m - north, craft.east_m - east) < 2.1
        assert height(flight) == pytest.approx(up, abs=1.1)
    assert route.reached == [0, 1, 2]
    flight.run(20.0)
    assert said(flight) == ["Plan complete"]
    assert (route.state(flight.pilot.mode), route.item, flight.pilot.mode) == (PlanState.COMPLETE, 2, Mode.MISSION)
    assert math.hypot(craft.north_m, craft.east_m - 50.0) < 2.5  # and holds there
    assert speed(flight) < 0.1


def test_the_state_of_a_plan() -> None:
    # MISSION_STATE (facts.md 9): 1 none, 2 not started, 3 active, 4 paused, 5 complete
    flight = airborne()
    pilot, route = flight.pilot, flight.pilot.route
    assert route.state(pilot.mode) == 1
    pilot.load_plan([item(WAYPOINT, 80.0, height_m=20), item(WAYPOINT, 90.0, height_m=20)])
    assert route.state(pilot.mode) == 2
    pilot.start_plan()
    flight.run(3.0)
    assert route.state(pilot.mode) == 3
    pilot.enter(Mode.POSITION_HOLD, "order")
    flight.run(20.0)
    assert route.state(pilot.mode) == 4
    assert speed(flight) < 0.1
    pilot.enter(Mode.MISSION, "order")  # goes on where it was
    until(flight, lambda: route.done, 60.0)
    assert (route.reached, route.state(pilot.mode)) == ([0, 1], 5)
    pilot.enter(Mode.POSITION_HOLD, "order")
    assert route.state(pilot.mode) == 5
    pilot.enter(Mode.MISSION, "order")  # from its beginning again
    assert (route.state(pilot.mode), route.item) == (3, 0)


@pytest.mark.parametrize("command", [WAYPOINT, LOITER])
def test_it_stays_as_long_as_the_item_says(command: int) -> None:
    flight = flying([item(command, 30.0, height_m=20, p1=12.0), item(WAYPOINT, 30.0, height_m=20)])
    (_, first_s), (_, second_s) = reached_in(flight)
    assert second_s - first_s == pytest.approx(12.0, abs=0.3)


def test_a_loiter_without_a_place_is_where_the_plan_stands() -> None:
    flight = flying([item(WAYPOINT, 40.0, 10.0, 20), item(LOITER, height_m=26, p1=5.0)])
    reached_in(flight)
    assert math.hypot(flight.craft.north_m - 40.0, flight.craft.east_m - 10.0) < 2.2
    assert height(flight) == pytest.approx(26, abs=1.1)


def test_a_change_of_speed_holds_until_the_next() -> None:
    # MAV_CMD_DO_CHANGE_SPEED (common.xml): m/s, -1 no change, -2 back to the default
    flight = flying([
        item(SPEED, p1=1, p2=3.0), item(WAYPOINT, 40.0, height_m=20), item(SPEED, p1=1, p2=-1.0),
        item(WAYPOINT, 80.0, height_m=20), item(SPEED, p1=2, p2=9.0), item(WAYPOINT, 120.0, height_m=20),
        item(SPEED, p1=1, p2=-2.0), item(WAYPOINT, 200.0, height_m=20), item(SPEED, p1=1, p2=100.0),
        item(WAYPOINT, 700.0, height_m=20),
    ])  # fmt: skip
    fastest = dict.fromkeys(range(11), 0.0)
    while not flight.pilot.route.done:
        flight.step()
        fastest[flight.pilot.route.item] = max(fastest[flight.pilot.route.item], speed(flight))
    assert [fastest[i] for i in (1, 3, 5, 7)] == pytest.approx([3, 3, 3, 8], abs=0.3)
    assert 12 < fastest[9] < 20.5  # no plan makes it faster than it can be set to


def test_a_delay_holds_the_plan() -> None:
    flight = flying([item(WAYPOINT, 30.0, height_m=20), item(DELAY, p1=9.0), item(WAYPOINT, 30.0, 0.5, 20)])
    (_, first_s), (_, second_s) = reached_in(flight)
    assert second_s - first_s == pytest.approx(9.0, abs=0.4)


def test_the_gripper_lets_the_load_go() -> None:
    flight = airborne(setup(load=Load(5.0)))
    plan = [item(WAYPOINT, 30.0, height_m=20), item(GRIPPER, p2=1), item(DELAY, p1=2), item(GRIPPER, p2=0)]
    flight.pilot.load_plan(plan)
    flight.pilot.start_plan()
    until(flight, lambda: flight.pilot.route.item == 2, 60.0)
    assert flight.craft.load.mass_kg == 5.0  # GRIPPER_ACTION 1 grabs
    until(flight, lambda: flight.pilot.route.done, 10.0)
    assert flight.craft.load.mass_kg == 0.0
    assert "Load released" in said(flight)
    highest = height(flight)
    for _ in range(100):
        flight.step()
        highest = max(highest, height(flight))
    assert 20.0 < highest < 22.5  # it leaps, and comes back
    assert height(flight) == pytest.approx(20.0, abs=0.2)


def test_a_landing_in_the_plan_here() -> None:
    flight = flying([item(WAYPOINT, 30.0, height_m=20), item(LAND)])
    until(flight, lambda: not flight.pilot.armed, 90.0)
    assert flight.craft.north_m == pytest.approx(30.0, abs=2.2)
    assert flight.pilot.route.state(flight.pilot.mode) == PlanState.COMPLETE
    assert not flight.craft.crashed


def test_a_landing_in_the_plan_at_a_place() -> None:
    flight = flying([item(WAYPOINT, 30.0, height_m=20), item(LAND, 60.0, 25.0)])
    until(flight, lambda: flight.pilot.mode is Mode.LAND, 60.0)
    assert math.hypot(flight.craft.north_m - 60.0, flight.craft.east_m - 25.0) < 2.1
    assert height(flight) == pytest.approx(20.0, abs=0.5)  # flown at its height, not sunk on the way
    assert flight.pilot.route.reached == [0, 1]
    until(flight, lambda: not flight.pilot.armed, 60.0)
    assert math.hypot(flight.craft.north_m - 60.0, flight.craft.east_m - 25.0) < 0.5
    assert (flight.pilot.landed, flight.craft.crashed) == (Landed.GROUND, False)


def test_a_return_in_the_plan() -> None:
    flight = flying([item(WAYPOINT, 50.0, height_m=20), item(RETURN)], {"return.height_m": 25.0})
    until(flight, lambda: flight.pilot.mode is Mode.SAFE_RECOVERY, 60.0)
    assert "Mode safe recovery: plan" in said(flight)
    until(flight, lambda: not flight.pilot.armed, 120.0)
    assert away(flight) < 0.5


def test_a_plan_replaced_in_flight_begins_anew_from_where_it_is() -> None:
    flight = flying([item(WAYPOINT, 40.0, height_m=20), item(WAYPOINT, 300.0, height_m=20)])
    until(flight, lambda: flight.craft.north_m > 150.0, 60.0)
    flight.pilot.load_plan([item(TAKEOFF, height_m=30), item(WAYPOINT, 170.0, 60.0, 30)])
    assert (flight.pilot.mode, flight.pilot.route.state(flight.pilot.mode)) == (Mode.MISSION, PlanState.ACTIVE)
    flight.pilot.route.reached.clear()
    until(flight, lambda: flight.pilot.route.reached == [0], 60.0)
    assert 150.0 < flight.craft.north_m < 200.0
    assert height(flight) == pytest.approx(30.0, abs=1.1)
    until(flight, lambda: flight.pilot.route.done, 60.0)
    assert flight.craft.east_m == pytest.approx(60.0, abs=2.1)


def test_a_plan_cleared_in_flight_is_held() -> None:
    flight = flying([item(WAYPOINT, 400.0, height_m=20)])
    flight.run(15.0)
    flight.pilot.load_plan([])
    assert flight.pilot.mode is Mode.POSITION_HOLD
    assert flight.pilot.route.state(flight.pilot.mode) == PlanState.NO_PLAN
    flight.run(20.0)
    assert speed(flight) < 0.05
    assert flight.craft.north_m < 150.0
    assert "Mode position hold: no plan" in said(flight)


def test_an_item_ordered_is_flown_next_and_none_that_is_not_there() -> None:
    flight = flying([item(WAYPOINT, n, height_m=20) for n in (500.0, 10.0, 40.0)])
    flight.run(2.0)
    assert flight.pilot.route.jump(2)
    assert not flight.pilot.route.jump(3)
    assert not flight.pilot.route.jump(-1)
    assert [number for number, _ in reached_in(flight)] == [2]


def test_starting_a_plan_starts_the_motors_and_takes_off() -> None:
    # common practice (facts.md 14): a plan already in the aircraft is a hazard: starting it spins the motors
    flight = grounded()
    pilot = flight.pilot
    pilot.load_plan([item(TAKEOFF, height_m=12), item(WAYPOINT, 30.0, height_m=12)])
    assert pilot.start_plan()
    assert (pilot.armed, pilot.landed) == (True, Landed.GROUND)
    flight.run(1.0)
    assert flight.craft.on_ground  # the motors come up first
    until(flight, lambda: pilot.route.reached == [0], 20.0)
    assert away(flight) < 0.5
    until(flight, lambda: pilot.route.done, 30.0)
    assert flight.craft.north_m == pytest.approx(30.0, abs=2.1)


def test_a_plan_that_does_not_begin_with_a_take_off_lifts_straight_up_first() -> None:
    flight = grounded()
    flight.pilot.load_plan([item(WAYPOINT, 50.0, height_m=15)])
    assert flight.pilot.start_plan()
    until(flight, lambda: flight.pilot.landed is Landed.AIR, 10.0)
    assert away(flight) < 0.1
    until(flight, lambda: flight.pilot.route.done, 60.0)
    assert height(flight) == pytest.approx(15.0, abs=1.1)


def test_starting_a_plan_does_not_start_the_motors_if_it_is_set_so() -> None:
    flight = grounded(setup({"plan.arms": 0.0}))
    flight.pilot.load_plan([item(TAKEOFF, height_m=12)])
    assert not flight.pilot.start_plan()
    assert not flight.pilot.armed
    flight.pilot.arm()
    assert flight.pilot.start_plan()  # armed already
    until(flight, lambda: flight.pilot.route.done, 20.0)


def test_a_plan_whose_arming_is_refused_is_not_flown() -> None:
    flight = grounded()
    flight.pilot.load_plan([item(TAKEOFF, height_m=12)])
    flight.pilot.sensors.has_fix = False
    assert not flight.pilot.start_plan()
    assert (flight.pilot.armed, flight.pilot.mode) == (False, Mode.POSITION_HOLD)


def test_arming_in_mission_mode_flies_the_plan() -> None:
    flight = grounded(setup({"arm.wait_s": 1.0}))
    flight.pilot.load_plan([item(TAKEOFF, height_m=12)])
    flight.pilot.enter(Mode.MISSION, "order")
    assert flight.pilot.arm() is None
    until(flight, lambda: flight.pilot.route.done, 20.0)
    assert height(flight) == pytest.approx(12.0, abs=1.1)


def test_where_it_flies_to_is_told_on_the_way() -> None:
    flight = flying([item(WAYPOINT, 100.0, 30.0, 20), item(WAYPOINT, 0.0, 30.0, 24)])
    flight.run(2.0)
    assert flight.pilot.aim == pytest.approx((100.0, 30.0, 20.0), abs=0.01)
    until(flight, lambda: flight.pilot.route.item == 1, 60.0)
    flight.run(1.0)
    assert flight.pilot.aim == pytest.approx((0.0, 30.0, 24.0), abs=0.01)
