"""The return: its steps in the order of `return.order`, its heights, its end."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from simulators.flown.flight import FastFlight
from simulators.onboard.homing import Homing
from simulators.onboard.modes import Landed, Mode, Step, order_of
from tests.simulators.onboard.flying import airborne, away, height, item, said, setup, speed, until

Place = tuple[float, float, float]


def out(place: Place, parameters: dict[str, float] | None = None, wind_m_s: float = 0.0) -> FastFlight:
    """Return a flight that holds a place and has just been ordered to return."""
    flight = airborne(setup(parameters, wind_m_s=wind_m_s, from_deg=200.0))
    flight.pilot.go_to(place)
    goal_n, goal_e, _ = place
    craft = flight.craft
    until(
        flight,
        lambda: math.hypot(craft.north_m - goal_n, craft.east_m - goal_e) < 0.5 and abs(craft.climb_m_s) < 0.05,
        300.0,
    )
    flight.craft.heading_rad = 0.3
    assert flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    return flight


def homing(flight: FastFlight) -> Homing:
    assert flight.pilot.homing is not None
    return flight.pilot.homing


def steps_of(flight: FastFlight, within_s: float = 400.0) -> list[tuple[Step | None, Place, float]]:
    """Fly until landed or held still for long; return each step with where it began, m, and when, s."""
    found: list[tuple[Step | None, Place, float]] = []
    start_s, craft = flight.time_s, flight.craft
    while flight.pilot.armed and flight.time_s - start_s < within_s:
        step = Step.LAND if flight.pilot.mode is Mode.LAND else homing(flight).step
        if not found or found[-1][0] is not step:
            found.append((step, (craft.north_m, craft.east_m, height(flight)), flight.time_s - start_s))
        flight.step()
    return found


def test_digits_name_the_steps() -> None:
    assert order_of(123456) == tuple(Step)
    assert order_of(36) == (Step.CRUISE, Step.LAND)
    assert order_of(9700) == ()
    assert order_of(1131) == (Step.CLIMB, Step.CRUISE)


def test_the_usual_return_climbs_turns_cruises_descends_holds_and_lands() -> None:
    # common practice (facts.md 14): ends with a hold over home, then a landing
    flight = out((90.0, 40.0, 20.0), {"return.height_m": 35.0, "return.hold_s": 45.0, "return.hold_m": 10.0})
    assert flight.pilot.aim == pytest.approx((*flight.pilot.home[:2], 35.0), abs=0.1)
    found = steps_of(flight)
    assert [step for step, _, _ in found] == list(Step)
    began = {step: (place, at_s) for step, place, at_s in found}
    far_m = math.hypot(90, 40)
    for step in (Step.CLIMB, Step.TURN, Step.CRUISE):
        assert math.hypot(*began[step][0][:2]) == pytest.approx(far_m, abs=1.0)
    assert began[Step.TURN][0][2] == pytest.approx(35.0, abs=0.7)
    assert math.hypot(*began[Step.DESCEND][0][:2]) < 1.6
    assert began[Step.DESCEND][0][2] == pytest.approx(35.0, abs=0.7)
    assert began[Step.HOLD][0][2] == pytest.approx(10.0, abs=0.7)
    assert began[Step.LAND][1] - began[Step.HOLD][1] == pytest.approx(45.0, abs=0.3)
    assert began[Step.DESCEND][1] - began[Step.CRUISE][1] == pytest.approx(far_m / 8.0, abs=11.0)  # both ends slow
    assert (flight.pilot.landed, flight.pilot.armed) == (Landed.GROUND, False)
    assert away(flight) < 0.3


def test_it_turns_before_it_cruises() -> None:
    flight = out((0.0, 80.0, 45.0))
    until(flight, lambda: homing(flight).step is Step.CRUISE, 30.0)
    bearing = math.degrees(math.atan2(-flight.craft.east_m, -flight.craft.north_m))
    off = math.remainder(math.degrees(flight.craft.heading_rad) - bearing, 360)
    assert abs(off) < 6.5
    assert speed(flight) < 0.3


@pytest.mark.parametrize(
    ("order", "steps"),
    [
        (123456, [1, 2, 3, 4, 5, 6]), (13456, [1, 3, 4, 5, 6]), (3456, [3, 4, 5, 6]), (132456, [1, 3, 2, 4, 5, 6]),
        (312456, [3, 1, 2, 4, 5, 6]), (1346, [1, 3, 4, 6]), (36, [3, 6]), (6, [6]), (136, [1, 3, 6]),
        (5136, [5, 1, 3, 6]),
    ],
)  # fmt: skip
def test_steps_come_in_the_order_that_is_set(order: int, steps: list[int]) -> None:
    flight = out((60.0, -30.0, 20.0), {"return.order": order, "return.height_m": 30.0})
    seen = [step for step, _, _ in steps_of(flight)]
    kept = iter(step for step in steps)
    # what is fulfilled already passes within a step: a turn when it is over home
    assert all(any(one == step for one in kept) for step in seen if step is not None)
    assert set(steps) - {int(step) for step in seen if step is not None} <= {Step.TURN}
    assert (flight.pilot.armed, flight.craft.crashed) == (False, False)
    expected_m = 0.0 if 3 in steps else math.hypot(60, 30)
    assert away(flight) == pytest.approx(expected_m, abs=0.7)


def test_every_step_begins_where_the_one_before_it_ended() -> None:
    found = steps_of(out((60.0, -30.0, 20.0), {"return.order": 312456, "return.height_m": 30.0}))
    began = {step: place for step, place, _ in found}
    assert math.hypot(*began[Step.CLIMB][:2]) < 1.6  # over home
    assert began[Step.CLIMB][2] == pytest.approx(20.0, abs=0.7)  # cruised at the height it had
    assert began[Step.DESCEND][2] == pytest.approx(30.0, abs=0.7)
    assert all(later >= earlier for (_, _, earlier), (_, _, later) in pairwise(found))


def test_from_higher_it_does_not_come_down_to_the_height_of_the_return() -> None:
    flight = out((80.0, 0.0, 55.0), {"return.height_m": 30.0})
    steps = steps_of(flight)
    assert [step for step, _, at_s in steps if at_s < 0.15] == [Step.CLIMB, Step.TURN]  # nothing to climb
    found = {step: place for step, place, _ in steps}
    assert found[Step.CRUISE][2] == pytest.approx(55.0, abs=0.5)
    assert found[Step.DESCEND][2] == pytest.approx(55.0, abs=0.7)


def test_without_a_climb_it_cruises_at_the_height_it_has() -> None:
    flight = out((80.0, 0.0, 12.0), {"return.order": 23456, "return.height_m": 40.0})
    found = {step: place for step, place, _ in steps_of(flight)}
    assert found[Step.CRUISE][2] == pytest.approx(12.0, abs=0.5)
    assert found[Step.DESCEND][2] == pytest.approx(12.0, abs=0.7)


@pytest.mark.parametrize(("far_m", "highest_m"), [(6.0, 8.0), (9.0, 8.0), (12.0, 40.0)])
def test_from_near_home_it_does_not_climb_to_the_height_of_the_return(far_m: float, highest_m: float) -> None:
    flight = out((far_m, 0.0, 5.0))
    highest = 0.0
    while flight.pilot.armed:
        flight.step()
        highest = max(highest, height(flight))
    assert highest == pytest.approx(highest_m, abs=0.8)
    assert away(flight) < 0.5


def test_a_hold_for_ever_ends_only_by_order() -> None:
    flight = out((60.0, 0.0, 20.0), {"return.hold_s": -1.0, "return.height_m": 20.0})
    flight.run(600.0)
    assert homing(flight).step is Step.HOLD
    assert height(flight) == pytest.approx(8.0, abs=0.7)
    assert away(flight) < 0.5
    flight.pilot.enter(Mode.LAND, "order")
    until(flight, lambda: not flight.pilot.armed, 30.0)


def test_no_hold_at_all() -> None:
    found = steps_of(out((60.0, 0.0, 20.0), {"return.hold_s": 0.0, "return.height_m": 20.0}))
    assert [step for step, _, _ in found][-2:] == [Step.DESCEND, Step.LAND]


@pytest.mark.parametrize(("order", "held_m"), [(12345, 8.0), (123, 40.0)])
def test_without_a_landing_it_stays_over_home(order: int, held_m: float) -> None:
    flight = out((60.0, 0.0, 20.0), {"return.order": order}, wind_m_s=6.0)
    flight.run(300.0)
    assert homing(flight).step is None
    assert flight.pilot.mode is Mode.SAFE_RECOVERY
    assert height(flight) == pytest.approx(held_m, abs=0.7)
    assert away(flight) < 1.6


def test_an_order_of_no_step_stays_where_it_is() -> None:
    flight = out((60.0, 0.0, 20.0), {"return.order": 9.0})
    flight.run(120.0)
    assert away(flight) == pytest.approx(60.0, abs=0.8)


SAFE = (item(5100, 150.0, 0.0, 0.0), item(5100, -300.0, 0.0, 0.0))


@pytest.mark.parametrize(("places", "north_m"), [(1.0, 150.0), (0.0, 0.0)])
def test_it_returns_to_the_nearest_safe_point_if_it_is_set_to(places: float, north_m: float) -> None:
    flight = airborne(setup({"return.places": places, "return.height_m": 20.0}))
    flight.pilot.safe_points = SAFE
    flight.pilot.go_to((110.0, 20.0, 20.0))
    flight.run(40.0)
    said(flight)
    flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    assert ("Return goes to a safe point" in said(flight)) == bool(places)
    until(flight, lambda: not flight.pilot.armed, 120.0)
    assert flight.craft.north_m == pytest.approx(north_m, abs=0.5)
    assert flight.craft.east_m == pytest.approx(0.0, abs=0.5)


def test_home_is_taken_if_it_is_nearer_than_all_safe_points() -> None:
    flight = airborne(setup({"return.places": 1.0, "return.height_m": 20.0}))
    flight.pilot.safe_points = SAFE
    flight.pilot.go_to((50.0, 0.0, 20.0))
    flight.run(30.0)
    flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    until(flight, lambda: not flight.pilot.armed, 120.0)
    assert away(flight) < 0.5


def test_the_intended_mode_stays_the_return_while_it_lands() -> None:
    flight = out((30.0, 0.0, 20.0), {"return.height_m": 20.0})
    until(flight, lambda: flight.pilot.mode is Mode.LAND, 120.0)
    assert flight.pilot.intended is Mode.SAFE_RECOVERY


def test_a_return_ordered_in_full_flight_comes_to_rest_first() -> None:
    flight = airborne()
    flight.pilot.go_to((400.0, 0.0, 20.0))
    flight.run(25.0)
    assert speed(flight) > 7.5
    flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    farthest = 0.0
    until(flight, lambda: homing(flight).step is Step.CRUISE, 40.0)
    stands_m = flight.craft.north_m
    for _ in range(10):
        farthest = max(farthest, flight.craft.north_m)
        flight.step()
    assert farthest - stands_m < 1.0
    until(flight, lambda: not flight.pilot.armed, 200.0)
    assert away(flight) < 0.5


def test_home_set_anew_is_where_it_returns_to() -> None:
    flight = airborne(setup({"return.height_m": 20.0}))
    flight.pilot.set_home((40.0, 30.0, 0.0))
    flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    until(flight, lambda: not flight.pilot.armed, 120.0)
    assert (flight.craft.north_m, flight.craft.east_m) == pytest.approx((40.0, 30.0), abs=0.5)
