"""Control link lost and back, a silent ground station, the fence, and a position that is lost."""

from __future__ import annotations

import math

import pytest

from simulators.onboard.fence import areas
from simulators.onboard.modes import Mode
from simulators.wire.plan import PlanItem
from tests.simulators.onboard.flying import (
    FIELD,
    airborne,
    away,
    grounded,
    height,
    item,
    mode,
    said,
    setup,
    speed,
    until,
)

MODES = {1: Mode.POSITION_HOLD, 2: Mode.SAFE_RECOVERY, 3: Mode.LAND, 4: Mode.ALTITUDE_HOLD}


@pytest.mark.parametrize("action", [1, 2, 3, 4])
def test_a_lost_control_link_acts_after_its_time(action: int) -> None:
    flight = airborne(setup({"control.lost_s": 4.0, "control.action": action}))
    flight.pilot.go_to((300.0, 0.0, 20.0))
    flight.run(15.0)
    flight.pilot.control_link = False
    took_s = until(flight, lambda: flight.pilot.guards.control.acted, 10.0)
    assert took_s == pytest.approx(4.0, abs=0.21)
    assert mode(flight) is MODES[action]


def test_a_short_loss_does_nothing_and_none_is_judged_if_it_is_off() -> None:
    flight = airborne(setup({"control.lost_s": 4.0}))
    for _ in range(5):
        flight.pilot.control_link = False
        flight.run(3.5)
        flight.pilot.control_link = True
        flight.run(0.3)
    assert mode(flight) is Mode.POSITION_HOLD
    off = airborne(setup({"control.lost_s": 0.0}))
    off.pilot.control_link = False
    off.run(100.0)
    assert off.pilot.mode is Mode.POSITION_HOLD


def test_a_link_that_comes_back_leaves_the_return_to_the_pilot_and_acts_again_when_lost_again() -> None:
    flight = airborne(setup({"control.lost_s": 2.0}))
    flight.pilot.go_to((100.0, 0.0, 20.0))
    flight.run(30.0)
    flight.pilot.control_link = False
    flight.run(3.0)
    assert mode(flight) is Mode.SAFE_RECOVERY
    flight.pilot.control_link = True
    flight.run(3.0)
    assert mode(flight) is Mode.SAFE_RECOVERY
    flight.pilot.enter(Mode.POSITION_HOLD, "order")
    flight.run(10.0)
    assert mode(flight) is Mode.POSITION_HOLD
    flight.pilot.control_link = False
    flight.run(3.0)
    assert mode(flight) is Mode.SAFE_RECOVERY
    assert said(flight).count("Control link lost: return") == 2


def test_a_landing_goes_on_without_the_control_link() -> None:
    flight = airborne(setup({"control.lost_s": 2.0, "return.height_m": 40.0}))
    flight.pilot.go_to((50.0, 0.0, 20.0))
    flight.run(30.0)
    flight.pilot.enter(Mode.LAND, "order")
    flight.run(3.0)
    flight.pilot.control_link = False
    until(flight, lambda: not flight.pilot.armed, 30.0)
    assert away(flight) == pytest.approx(50.0, abs=1.0)


@pytest.mark.parametrize("action", [1, 2, 3])
def test_a_station_that_falls_silent(action: int) -> None:
    flight = airborne(setup({"station.lost_s": 10.0, "station.action": action}))
    flight.run(60.0)
    assert not flight.pilot.guards.station.acted  # none was ever heard
    flight.pilot.go_to((300.0, 0.0, 20.0))
    for _ in range(20):
        flight.pilot.station_s = flight.time_s
        flight.run(1.0)
    assert not flight.pilot.guards.station.acted
    silent_s = until(flight, lambda: flight.pilot.guards.station.acted, 20.0)
    assert silent_s == pytest.approx(9.0, abs=0.3)  # heard 1 s before
    assert mode(flight) is MODES[action]


def test_a_silent_station_is_of_no_concern_if_it_is_off() -> None:
    flight = airborne()
    flight.pilot.station_s = flight.time_s
    flight.run(900.0)
    assert mode(flight) is Mode.POSITION_HOLD


# --- fence -------------------------------------------------------------------------------------------------------


def test_a_fence_of_a_radius_returns_it() -> None:
    flight = airborne(setup({"fence.radius_m": 80.0, "fence.delay_s": 0.5, "return.height_m": 20.0}))
    flight.pilot.go_to((200.0, 0.0, 20.0))
    until(flight, lambda: flight.pilot.guards.breach != 0, 60.0)
    assert 80.0 < away(flight) < 81.7  # judged ten times a second at 8 m/s
    assert flight.pilot.guards.breach == 3  # FENCE_BREACH_BOUNDARY
    assert until(flight, lambda: flight.pilot.guards.fence.acted, 5.0) == pytest.approx(0.5, abs=0.21)
    assert mode(flight) is Mode.SAFE_RECOVERY
    farthest = 0.0
    while flight.pilot.armed:
        flight.step()
        farthest = max(farthest, away(flight))
    assert farthest < 125.0
    assert (flight.pilot.guards.breach, flight.pilot.guards.breaches) == (0, 1)
    assert away(flight) < 0.5


def test_a_fence_of_a_height() -> None:
    flight = airborne(setup({"fence.height_m": 35.0, "fence.action": 1}))
    flight.pilot.go_to((0.0, 0.0, 90.0))
    until(flight, lambda: flight.pilot.guards.breach == 2, 30.0)  # FENCE_BREACH_MAXALT
    assert height(flight) == pytest.approx(35.0, abs=0.6)
    flight.run(15.0)
    assert 35.0 < height(flight) < 41.0  # holds, and does not fly on
    assert mode(flight) is Mode.POSITION_HOLD


def test_a_hold_at_the_fence_ends_a_flight_to_a_place() -> None:
    flight = airborne(setup({"fence.radius_m": 60.0, "fence.action": 1}))
    flight.pilot.go_to((300.0, 0.0, 20.0))
    flight.run(60.0)
    assert 60.0 < away(flight) < 105.0
    assert speed(flight) < 0.1


SQUARE = [(100.0, -50.0), (100.0, 50.0), (-50.0, 50.0), (-50.0, -50.0)]
"""North and east."""
BENT = [(100.0, 0.0), (0.0, 100.0), (20.0, 20.0), (-100.0, 30.0)]
CIRCLE_IN, CIRCLE_OUT, POLYGON_IN, POLYGON_OUT = 5003, 5004, 5001, 5002  # MAV_CMD


def polygon(command: int, corners: list[tuple[float, float]]) -> list[PlanItem]:
    return [item(command, *corner, p1=len(corners)) for corner in corners]


@pytest.mark.parametrize(
    ("plan", "goal", "limit_m"),
    [
        (polygon(POLYGON_IN, SQUARE), (250.0, 0.0), 100.0),
        (polygon(POLYGON_OUT, [(80.0, -20.0), (80.0, 20.0), (140.0, 20.0), (140.0, -20.0)]), (110.0, 0.0), 80.0),
        ([item(CIRCLE_IN, 10.0, 0.0, p1=70.0)], (200.0, 0.0), 80.0),
        ([item(CIRCLE_OUT, 150.0, 0.0, p1=40.0)], (150.0, 0.0), 110.0),
    ],
)
def test_areas_to_stay_in_and_to_keep_out_of(
    plan: list[PlanItem], goal: tuple[float, float], limit_m: float
) -> None:
    flight = airborne(setup({"fence.action": 1, "fence.delay_s": 0.0}))
    flight.pilot.guards.take_fence(plan, FIELD)
    flight.run(2.0)
    assert flight.pilot.guards.breach == 0
    flight.pilot.go_to((*goal, 20.0))
    until(flight, lambda: flight.pilot.guards.breach == 3, 60.0)
    assert limit_m < flight.craft.north_m < limit_m + 1.7  # judged ten times a second at 8 m/s
    flight.pilot.guards.take_fence([], FIELD)
    flight.run(0.2)
    assert flight.pilot.guards.breach == 0


def test_a_polygon_that_bends_in() -> None:
    # by hand: (20, 20) is a corner that bends in, so that (40, 40) is inside and (5, 40) too, but (-40, 60) is not
    [area] = areas(polygon(POLYGON_IN, BENT), FIELD)
    assert [area.breached(*point) for point in [(40, 40), (5, 40), (10, 80), (-40, 60), (0, -1), (60, 60)]] == [
        False, True, False, True, True, True,
    ]  # fmt: skip
    [out] = areas(polygon(POLYGON_OUT, BENT), FIELD)
    assert all(out.breached(*point) is not area.breached(*point) for point in [(40, 40), (5, 40), (60, 60)])


def test_two_polygons_and_a_circle_are_three_areas() -> None:
    plan = polygon(POLYGON_IN, SQUARE) + polygon(POLYGON_OUT, BENT[:3]) + [item(CIRCLE_IN, 0.0, p1=9.0)]
    plan.insert(0, item(5000, 0.0))  # point of return: not an area
    assert [(area.inside, len(area.corners), area.radius_m) for area in areas(plan, FIELD)] == [
        (True, 4, 0.0), (False, 3, 0.0), (True, 1, 9.0),
    ]  # fmt: skip


def test_a_fence_is_told_but_does_nothing_on_the_ground() -> None:
    flight = grounded(setup({"fence.delay_s": 0.0}))
    flight.pilot.guards.take_fence([item(CIRCLE_OUT, 0.0, p1=20.0)], FIELD)
    flight.pilot.arm()
    flight.run(5.0)
    assert (flight.pilot.guards.breach, flight.pilot.guards.breaches, flight.pilot.armed) == (3, 0, True)


# --- position ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("action", [3, 4])
def test_position_lost_in_hold(action: int) -> None:
    # common practice (facts.md 14): flying without position hold drifts with the wind
    flight = airborne(setup({"position.lost_s": 2.0, "position.action": action}, wind_m_s=6.0, from_deg=180.0))
    flight.pilot.sensors.has_fix = False
    assert until(flight, lambda: flight.pilot.guards.position.acted, 5.0) == pytest.approx(2.0, abs=0.21)
    assert mode(flight) is MODES[action]
    flight.run(8.0)
    assert flight.craft.north_m > 10.0
    assert "Position lost: " in " ".join(said(flight))


def test_position_lost_in_a_return_drifts_and_the_return_is_not_taken_up_by_itself() -> None:
    flight = airborne(setup(wind_m_s=5.0, from_deg=180.0))
    flight.pilot.go_to((-150.0, 0.0, 20.0))
    flight.run(40.0)
    flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    flight.run(20.0)
    flight.pilot.sensors.has_fix = False
    flight.run(3.0)
    assert mode(flight) is Mode.ALTITUDE_HOLD
    up = height(flight)
    flight.run(20.0)
    assert height(flight) == pytest.approx(up, abs=1.0)
    assert not flight.pilot.enter(Mode.SAFE_RECOVERY, "order")  # cannot be flown now
    assert not flight.pilot.enter(Mode.POSITION_HOLD, "order")
    flight.pilot.sensors.has_fix = True
    flight.run(5.0)
    assert mode(flight) is Mode.ALTITUDE_HOLD
    assert flight.pilot.enter(Mode.SAFE_RECOVERY, "order")
    until(flight, lambda: not flight.pilot.armed, 200.0)
    assert away(flight) < 0.5


@pytest.mark.parametrize("action", [1, 2, 4])
def test_position_lost_in_a_landing_lands_level(action: int) -> None:
    flight = airborne(setup({"position.action": action}, wind_m_s=4.0, from_deg=180.0))
    flight.pilot.enter(Mode.LAND, "order")
    flight.run(3.0)
    flight.pilot.sensors.has_fix = False
    until(flight, lambda: not flight.pilot.armed, 60.0)
    assert not flight.craft.crashed
    assert away(flight) > 5.0  # it drifted


def test_position_back_in_a_landing_lands_where_it_has_drifted_to() -> None:
    flight = airborne(setup(wind_m_s=6.0, from_deg=180.0), 30.0)
    flight.pilot.enter(Mode.LAND, "order")
    flight.run(2.0)
    flight.pilot.sensors.has_fix = False
    flight.run(10.0)
    flight.pilot.sensors.has_fix = True
    drifted_m = flight.craft.north_m
    assert drifted_m > 10.0
    until(flight, lambda: not flight.pilot.armed, 60.0)
    assert drifted_m < flight.craft.north_m < drifted_m + 15.0


def test_low_battery_without_a_position_lands_to_the_ground() -> None:
    flight = airborne(setup({"low1.delay_s": 0.0}))
    flight.pilot.sensors.has_fix = False
    flight.run(3.0)
    assert mode(flight) is Mode.ALTITUDE_HOLD
    flight.parameters.set("low1.volt_v", 60.0)
    flight.run(0.5)
    assert (flight.pilot.mode, flight.pilot.intended) == (Mode.LAND, Mode.SAFE_RECOVERY)
    until(flight, lambda: not flight.pilot.armed, 60.0)
    assert not flight.craft.crashed


def test_position_lost_in_a_plan_and_in_a_take_off() -> None:
    flight = airborne()
    flight.pilot.load_plan([item(16, 200.0, height_m=20)])
    flight.pilot.start_plan()
    flight.run(5.0)
    flight.pilot.sensors.has_fix = False
    flight.run(2.0)
    assert mode(flight) is Mode.ALTITUDE_HOLD
    rising = grounded()
    rising.pilot.arm()
    rising.pilot.take_off(15.0)
    rising.run(3.0)
    rising.pilot.sensors.has_fix = False
    rising.run(20.0)
    assert rising.pilot.mode is Mode.ALTITUDE_HOLD
    assert height(rising) == pytest.approx(15.0, abs=1.5)


def test_altitude_hold_needs_no_position() -> None:
    flight = airborne()
    flight.pilot.enter(Mode.ALTITUDE_HOLD, "order")
    flight.pilot.sensors.has_fix = False
    flight.run(10.0)
    assert not flight.pilot.guards.position.acted
    assert math.isclose(height(flight), 20.0, abs_tol=0.1)
