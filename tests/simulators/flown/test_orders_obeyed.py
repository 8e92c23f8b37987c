"""Commands as pymavlink sends them, and what the aircraft makes of each."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pymavlink import mavutil

from simulators.flown.flight import SimulatedFlight
from simulators.onboard.modes import Landed, Mode
from simulators.physics.airframe import Load
from tests.simulators.flown.telling import flying, listen, standing, told
from tests.simulators.onboard.flying import FIELD, setup
from tests.simulators.wire.plain_client import SYSTEM, PlainClient

M = mavutil.mavlink
NAN = math.nan
ACCEPTED, REJECTED, DENIED, UNSUPPORTED, FAILED = range(5)
ABSOLUTE, RELATIVE = M.MAV_FRAME_GLOBAL, M.MAV_FRAME_GLOBAL_RELATIVE_ALT_INT
ALTITUDE_M = 320.0


def order(flight: SimulatedFlight, command: int, *params: float) -> int:
    client = PlainClient()
    given = (*params, *(0.0,) * (7 - len(params)))
    [ack] = client.read(flight.receive(client.encode("command_long", SYSTEM, 1, command, 0, *given)))
    assert (ack.get_type(), ack.command) == ("COMMAND_ACK", command)
    return int(ack.result)


def order_at(
    flight: SimulatedFlight, command: int, north: float, east: float, z: float, frame: int, p1: float = 0
) -> int:
    client = PlainClient()
    x, y = (round(one * 1e7) for one in FIELD.degrees(north, east))
    data = client.encode("command_int", SYSTEM, 1, frame, command, 0, 0, p1, 0, 0, NAN, x, y, z)
    [ack] = client.read(flight.receive(data))
    return int(ack.result)


def send_plan(flight: SimulatedFlight, *items: tuple[int, int, float, float, float]) -> None:
    """Send items of frame, command, m north and east, z."""
    client = PlainClient()
    answers: list[Any] = client.read(flight.receive(client.encode("mission_count", SYSTEM, 1, len(items), 0)))
    for number, (frame, command, north, east, z) in enumerate(items):
        assert answers[-1].seq == number
        x, y = (round(one * 1e7) for one in FIELD.degrees(north, east))
        data = client.encode("mission_item_int", SYSTEM, 1, number, frame, command, 0, 1, 0, 0, 0, NAN, x, y, z, 0)
        answers = client.read(flight.receive(data))
    assert answers[-1].type == 0


def read_heights(flight: SimulatedFlight, count: int) -> list[float]:
    client = PlainClient()
    heights = []
    for number in range(count):
        [one] = client.read(flight.receive(client.encode("mission_request_int", SYSTEM, 1, number, 0)))
        heights.append(one.z)
    return heights


# --- heights and places ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("frame", "z"), [(ABSOLUTE, ALTITUDE_M + 35.0), (RELATIVE, 35.0)])
def test_a_place_is_flown_to_at_a_height_above_sea_or_above_home(frame: int, z: float) -> None:
    flight = flying(setup())
    assert order_at(flight, 192, 40.0, -30.0, z, frame, 6.0) == ACCEPTED
    fastest = max(one.groundspeed for one in listen(flight, 30.0) if one.get_type() == "VFR_HUD")
    craft = flight.craft
    assert (craft.north_m, craft.east_m, craft.height_m) == pytest.approx((40.0, -30.0, 35.0), abs=0.3)
    assert fastest == pytest.approx(6.0, abs=0.4)


@pytest.mark.parametrize(("frame", "z"), [(ABSOLUTE, ALTITUDE_M + 15.0), (RELATIVE, 15.0)])
def test_a_take_off_to_a_height_above_sea_or_above_home(frame: int, z: float) -> None:
    flight = standing(setup())
    flight.pilot.arm()
    assert order_at(flight, 22, 0.0, 0.0, z, frame) == ACCEPTED
    listen(flight, 20.0)
    assert flight.craft.height_m == pytest.approx(15.0, abs=0.2)


def test_plan_items_above_sea_are_flown_above_sea() -> None:
    flight = flying(setup())
    send_plan(flight, (ABSOLUTE, 16, 30.0, 0.0, ALTITUDE_M + 28.0), (RELATIVE, 16, 60.0, 0.0, 22.0))
    assert [one.height_m for one in flight.pilot.route.items] == pytest.approx([28.0, 22.0], abs=0.01)
    assert read_heights(flight, 2) == pytest.approx([ALTITUDE_M + 28.0, 22.0])
    assert order(flight, 300) == ACCEPTED
    heights = {0: 0.0, 1: 0.0}
    for _ in range(3000):
        for frame in flight.fly():
            for one in PlainClient().read(frame):
                if one.get_type() == "MISSION_ITEM_REACHED":
                    heights[one.seq] = flight.craft.height_m
    assert heights[0] == pytest.approx(28.0, abs=1.1)
    assert heights[1] == pytest.approx(22.0, abs=1.1)


def test_home_set_higher_keeps_the_plan_where_it_is_and_goes_on_with_it() -> None:
    flight = flying(setup())
    send_plan(flight, (RELATIVE, 16, 30.0, 0.0, 20.0), (ABSOLUTE, 16, 200.0, 0.0, ALTITUDE_M + 30.0))
    order(flight, 300)
    listen(flight, 12.0)
    assert flight.pilot.route.item == 1
    assert order_at(flight, 179, 5.0, 5.0, ALTITUDE_M + 4.0, ABSOLUTE) == ACCEPTED
    assert flight.pilot.home == pytest.approx((5.0, 5.0, 4.0), abs=0.02)
    assert flight.pilot.route.item == 1
    assert flight.pilot.route.items[1].height_m == pytest.approx(26.0, abs=0.01)  # above the new home
    assert read_heights(flight, 2) == pytest.approx([20.0, ALTITUDE_M + 30.0])
    listen(flight, 40.0)
    assert flight.pilot.route.done
    assert flight.craft.height_m == pytest.approx(30.0, abs=1.1)


def test_a_plan_begun_at_an_item_is_not_begun_anew_by_the_arming_that_sets_home() -> None:
    flight = standing(setup(errors=None))
    send_plan(flight, *[(ABSOLUTE, 16, north, 0.0, ALTITUDE_M + 15.0) for north in (300.0, 20.0)])
    assert order(flight, 300, 1) == ACCEPTED
    assert flight.pilot.home_set
    messages = listen(flight, 30.0)
    assert [one.seq for one in messages if one.get_type() == "MISSION_ITEM_REACHED"] == [1]


@pytest.mark.parametrize(
    ("frame", "z", "up"), [(ABSOLUTE, ALTITUDE_M + 3.0, 3.0), (RELATIVE, 3.0, 3.0), (ABSOLUTE, NAN, 0.0)]
)
def test_home_at_a_place(frame: int, z: float, up: float) -> None:
    flight = flying(setup())
    assert order_at(flight, 179, -20.0, 10.0, z, frame) == ACCEPTED
    assert flight.pilot.home == pytest.approx((-20.0, 10.0, up), abs=0.05)
    [home] = told(flight, "HOME_POSITION")
    assert home.altitude == pytest.approx(1000 * (ALTITUDE_M + up), abs=50)
    assert order(flight, 179, 1) == ACCEPTED
    assert flight.pilot.home == pytest.approx((0.0, 0.0, flight.pilot.sensors.height_m), abs=0.05)
    flight.pilot.sensors.has_fix = False
    assert order(flight, 179, 1) == REJECTED


def test_a_landing_at_a_place_and_one_here() -> None:
    flight = flying(setup())
    assert order_at(flight, 21, 40.0, 0.0, 0.0, RELATIVE) == ACCEPTED
    listen(flight, 50.0)
    assert flight.pilot.landed is Landed.GROUND
    assert (flight.craft.north_m, flight.craft.east_m) == pytest.approx((40.0, 0.0), abs=0.3)
    for place in ((0.0, 0.0), (NAN, NAN)):  # both mean here
        here = flying(setup())
        assert order(here, 21, 0, 0, 0, 0, *place, 0) == ACCEPTED
        listen(here, 35.0)
        assert here.pilot.landed is Landed.GROUND
        assert (here.craft.north_m, here.craft.east_m) == pytest.approx((0.0, 0.0), abs=0.2)


def test_a_change_of_height_alone_goes_on_to_the_place() -> None:
    flight = flying(setup())
    order_at(flight, 192, 100.0, 0.0, 20.0, RELATIVE)
    listen(flight, 3.0)
    assert order(flight, 192, 0, 0, 0, NAN, NAN, NAN, 26.0) == ACCEPTED
    assert flight.pilot.target == pytest.approx((100.0, 0.0, 26.0), abs=0.05)


# --- modes, motors, speed, load --------------------------------------------------------------------------------


@pytest.mark.parametrize("how", ["do_set_mode", "standard", "set_mode"])
@pytest.mark.parametrize("mode", [Mode.ALTITUDE_HOLD, Mode.SAFE_RECOVERY, Mode.LAND])
def test_modes_are_set_three_ways(how: str, mode: Mode) -> None:
    flight = flying(setup())
    if how == "do_set_mode":
        assert order(flight, 176, 1, mode) == ACCEPTED
    elif how == "standard":
        assert order(flight, 262, mode) == ACCEPTED
    else:
        assert flight.receive(PlainClient().encode("set_mode", SYSTEM, 1, int(mode))) == []
    assert flight.pilot.mode is mode


@pytest.mark.parametrize(
    ("command", "params"), [(176, (1, 99)), (176, (0, 5)), (176, (1, NAN)), (262, (0,)), (262, (5.5,))]
)
def test_modes_that_there_are_not(command: int, params: tuple[float, ...]) -> None:
    flight = flying(setup())
    assert order(flight, command, *params) == UNSUPPORTED
    flight.receive(PlainClient().encode("set_mode", SYSTEM, 1, 99))
    flight.receive(PlainClient().encode("set_mode", SYSTEM, 0, int(Mode.LAND)))
    assert flight.pilot.mode is Mode.POSITION_HOLD


def test_a_mission_mode_without_a_plan_and_a_landing_on_the_ground_are_rejected() -> None:
    flight = standing(setup())
    assert order(flight, 262, Mode.MISSION) == REJECTED
    flight.pilot.arm()
    assert order(flight, 20) == REJECTED
    assert order(flight, 21) == REJECTED
    assert order_at(flight, 21, 40.0, 0.0, 0.0, RELATIVE) == REJECTED
    assert flight.pilot.mode is Mode.POSITION_HOLD


def test_pause_and_go_on() -> None:
    flight = flying(setup())
    send_plan(flight, (RELATIVE, 16, 200.0, 0.0, 20.0))
    order(flight, 300)
    listen(flight, 4.0)
    assert order(flight, 193, 0) == ACCEPTED
    assert flight.pilot.mode is Mode.POSITION_HOLD
    assert order(flight, 193, 1) == ACCEPTED
    assert order(flight, 193, 2) == DENIED
    assert told(flight, "HEARTBEAT")[0].custom_mode == Mode.MISSION


def test_arming_disarming_and_force() -> None:
    flight = flying(setup())
    assert order(flight, 400, 0) == REJECTED
    assert order(flight, 400, 0, 1.0) == REJECTED
    assert order(flight, 400, 0, 21196) == ACCEPTED  # common.xml: 21196 forces
    assert not flight.pilot.armed
    grounded = standing(setup())
    grounded.pilot.sensors.has_fix = False
    assert order(grounded, 400, 1) == REJECTED
    assert order(grounded, 400, 1, 21196) == ACCEPTED


def test_the_flight_is_ended_by_order() -> None:
    flight = flying(setup())
    assert order(flight, 185, 0) == ACCEPTED
    assert flight.pilot.armed
    assert order(flight, 185, 1) == ACCEPTED
    listen(flight, 5.0)
    assert flight.craft.crashed


def test_a_change_of_speed_in_flight() -> None:
    flight = flying(setup())
    order_at(flight, 192, 400.0, 0.0, 20.0, RELATIVE)
    assert order(flight, 178, 1, 4.0) == ACCEPTED
    listen(flight, 15.0)
    assert flight.craft.north_m_s == pytest.approx(4.0, abs=0.2)


def test_the_load_is_released_once() -> None:
    flight = flying(setup(load=Load(4.0)))
    assert order(flight, 211, 1, 1) == UNSUPPORTED
    assert order(flight, 211, 1, 0) == ACCEPTED
    assert flight.craft.load.mass_kg == 0
    assert order(flight, 211, 1, 0) == FAILED


def test_a_station_is_heard_by_its_heartbeat_and_nobody_else_is() -> None:
    flight = flying(setup())
    client = PlainClient(51, 68)
    flight.receive(client.encode("heartbeat", 18, 8, 0, 0, 4))  # an onboard computer
    assert flight.pilot.station_s is None
    flight.receive(PlainClient().encode("heartbeat", 6, 8, 0, 0, 4))
    assert flight.pilot.station_s == flight.time_s


def test_fence_and_safe_points_come_by_the_mission_protocol() -> None:
    flight, client = flying(setup({"return.places": 1.0})), PlainClient()
    x, y = (round(one * 1e7) for one in FIELD.degrees(60.0, 0.0))
    for kind, command, p1 in ((1, 5004, 25.0), (2, 5100, 0.0)):
        flight.receive(client.encode("mission_count", SYSTEM, 1, 1, kind))
        data = client.encode("mission_item_int", SYSTEM, 1, 0, 3, command, 0, 1, p1, 0, 0, 0, x, y, 0.0, kind)
        [ack] = client.read(flight.receive(data))
        assert (ack.type, ack.mission_type) == (0, kind)
    [area], [point] = flight.pilot.guards.areas, flight.pilot.safe_points
    assert (area.inside, area.radius_m) == (False, 25.0)
    assert area.corners[0] == pytest.approx((60.0, 0.0), abs=0.02)
    assert point.latitude_deg == pytest.approx(x / 1e7)
    flight.receive(client.encode("mission_clear_all", SYSTEM, 1, 255))
    assert (flight.pilot.guards.areas, flight.pilot.safe_points) == ((), ())


def test_an_item_is_ordered_by_the_mission_protocol() -> None:
    flight, client = flying(setup()), PlainClient()
    send_plan(flight, *[(RELATIVE, 16, north, 0.0, 20.0) for north in (300.0, 20.0)])
    order(flight, 300)
    flight.receive(client.encode("mission_set_current", SYSTEM, 1, 1))
    assert told(flight, "MISSION_CURRENT")[0].seq == 1
    [ack] = client.read(flight.receive(client.encode("mission_set_current", SYSTEM, 1, 2)))
    assert ack.type == M.MAV_MISSION_INVALID_SEQUENCE
    assert flight.pilot.route.item == 1


@pytest.mark.parametrize(("index", "indexes"), [(0, [1, 2, 3, 4, 5, 6]), (3, [3]), (7, [1, 2, 3, 4, 5, 6])])
def test_one_mode_or_all_are_described(index: int, indexes: list[int]) -> None:
    flight, client = standing(setup()), PlainClient()
    answers = client.read(
        flight.receive(client.encode("command_long", SYSTEM, 1, 512, 0, 435, index, 0, 0, 0, 0, 0))
    )
    assert answers[0].result == ACCEPTED
    assert [one.mode_index for one in answers[1:]] == indexes


def test_take_off_mode_takes_off() -> None:
    flight = standing(setup())
    assert order(flight, 262, Mode.TAKEOFF) == REJECTED
    flight.pilot.arm()
    assert order(flight, 262, Mode.TAKEOFF) == ACCEPTED
    listen(flight, 15.0)
    assert flight.craft.height_m == pytest.approx(8.0, abs=0.2)
