"""pymavlink as a plain client over real sockets flies it out and home again."""

from __future__ import annotations

import math
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic
from pymavlink import mavutil

from simulators.flown.flight import SimulatedFlight
from simulators.onboard.modes import Mode
from simulators.wire.parameters import single
from tests.simulators.flown.pumped import AUTOPILOT, SYSTEM, Station, fly
from tests.simulators.onboard.flying import setup

M = mavutil.mavlink
ACCEPTED = 0
SCHEMES = ("udp", "tcp")


def windy(seed: int) -> SimulatedFlight:
    """Return an aircraft with errors as drawn: satellites are off by 0.4 to 1 m (1 sigma) each way."""
    return SimulatedFlight(setup(errors=None, wind_m_s=5.0, from_deg=230.0, gusts_m_s=4.0), seed)


@pytest.mark.parametrize("scheme", SCHEMES)
async def test_it_reads_every_parameter_and_sets_one(scheme: str) -> None:
    flight = windy(2)
    values = {name: single(flight.parameters[name]) for name in flight.parameters}

    def client(station: Station) -> None:
        assert station.link.wait_heartbeat(blocking=True).get_srcSystem() == SYSTEM
        station.link.target_system, station.link.target_component = SYSTEM, AUTOPILOT
        station.link.param_fetch_all()
        found: dict[str, Any] = {}
        while len(found) < len(values):
            message = station.wait("PARAM_VALUE")
            found[message.param_id] = message
        assert {name: one.param_value for name, one in found.items()} == values
        assert {one.param_count for one in found.values()} == {len(values)}
        assert sorted(one.param_index for one in found.values()) == list(range(len(values)))
        station.link.param_set_send("return.height_m", 33.5)
        assert station.wait("PARAM_VALUE", lambda one: one.param_id == "return.height_m").param_value == 33.5
        station.link.param_fetch_one("return.height_m")
        assert station.wait("PARAM_VALUE", lambda one: one.param_id == "return.height_m").param_value == 33.5

    await fly(scheme, flight, client)
    assert flight.pilot.values["return.height_m"] == 33.5


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("seed", [2, 5])
async def test_it_flies_out_and_home_again(scheme: str, seed: int) -> None:
    flight = windy(seed)
    farthest_m = [0.0]
    plan = [(22, 0.0, 0.0, 30.0), (16, 80.0, 40.0, 30.0), (16, 80.0, -40.0, 35.0), (20, 0.0, 0.0, 0.0)]

    def client(station: Station) -> None:
        link = station.link
        station.wait("HEARTBEAT")
        assert station.order(M.MAV_CMD_COMPONENT_ARM_DISARM, 1) == ACCEPTED
        station.wait("HEARTBEAT", lambda beat: beat.base_mode & M.MAV_MODE_FLAG_SAFETY_ARMED)
        assert station.order(M.MAV_CMD_NAV_TAKEOFF, 0, 0, 0, math.nan, math.nan, math.nan, 20.0) == ACCEPTED
        station.wait("GLOBAL_POSITION_INT", lambda one: one.relative_alt > 19_500)
        home = station.wait("HOME_POSITION")
        home_deg = (home.latitude / 1e7, home.longitude / 1e7)
        goal = Geodesic.WGS84.Direct(*home_deg, 60.0, 150.0)
        assert station.order_at(M.MAV_CMD_DO_REPOSITION, goal["lat2"], goal["lon2"], 25.0, 10.0) == ACCEPTED

        def off_goal(one: Any) -> float:
            return float(Geodesic.WGS84.Inverse(one.lat / 1e7, one.lon / 1e7, goal["lat2"], goal["lon2"])["s12"])

        station.wait(
            "GLOBAL_POSITION_INT", lambda one: off_goal(one) < 1.0 and abs(one.relative_alt - 25_000) < 1000
        )
        farthest_m[0] = math.hypot(flight.craft.north_m, flight.craft.east_m)

        send_plan(station, home_deg, plan)
        for row, sent in zip(read_plan(station, home_deg), plan, strict=True):
            assert row == pytest.approx(sent, abs=0.02)

        assert station.order(M.MAV_CMD_NAV_RETURN_TO_LAUNCH) == ACCEPTED
        station.wait("HEARTBEAT", lambda beat: beat.custom_mode == Mode.SAFE_RECOVERY)
        station.wait("EXTENDED_SYS_STATE", lambda one: one.landed_state == M.MAV_LANDED_STATE_ON_GROUND)
        station.wait("HEARTBEAT", lambda beat: not beat.base_mode & M.MAV_MODE_FLAG_SAFETY_ARMED)
        assert link.mav_count > 0

    await fly(scheme, flight, client)
    assert farthest_m[0] == pytest.approx(150.0, abs=5.0)
    assert (flight.pilot.armed, flight.craft.crashed, flight.craft.on_ground) == (False, False, True)
    # it began at 0, 0 by the truth; home and touch-down each have the satellites' error of their time
    assert math.hypot(flight.craft.north_m, flight.craft.east_m) < 3.0


def send_plan(
    station: Station, home_deg: tuple[float, float], plan: list[tuple[int, float, float, float]]
) -> None:
    """Send rows of command, m north and east of home, height; answer what is asked for until it is accepted."""
    send = station.link.mav
    send.mission_count_send(SYSTEM, AUTOPILOT, len(plan), M.MAV_MISSION_TYPE_MISSION)
    while True:
        asked = station.wait({"MISSION_REQUEST_INT", "MISSION_ACK"})  # type: ignore[arg-type]  # pymavlink takes sets
        if asked.get_type() == "MISSION_ACK":
            assert asked.type == M.MAV_MISSION_ACCEPTED
            return
        command, north, east, height = plan[asked.seq]
        at = Geodesic.WGS84.Direct(*home_deg, math.degrees(math.atan2(east, north)), math.hypot(north, east))
        send.mission_item_int_send(
            SYSTEM, AUTOPILOT, asked.seq, M.MAV_FRAME_GLOBAL_RELATIVE_ALT_INT, command, 0, 1, 0, 0, 0, math.nan,
            round(at["lat2"] * 1e7), round(at["lon2"] * 1e7), height, M.MAV_MISSION_TYPE_MISSION,
        )  # fmt: skip


def read_plan(station: Station, home_deg: tuple[float, float]) -> list[tuple[int, float, float, float]]:
    """Return rows as they are in the aircraft."""
    send = station.link.mav
    send.mission_request_list_send(SYSTEM, AUTOPILOT, M.MAV_MISSION_TYPE_MISSION)
    rows = []
    for number in range(station.wait("MISSION_COUNT").count):
        send.mission_request_int_send(SYSTEM, AUTOPILOT, number, M.MAV_MISSION_TYPE_MISSION)
        one = station.wait("MISSION_ITEM_INT")
        assert one.seq == number
        way = Geodesic.WGS84.Inverse(*home_deg, one.x / 1e7, one.y / 1e7)
        placed = one.command in (16, 22) and one.x != 0
        far_m, azimuth = (way["s12"], math.radians(way["azi1"])) if placed else (0.0, 0.0)
        rows.append((one.command, far_m * math.cos(azimuth), far_m * math.sin(azimuth), one.z))
    send.mission_ack_send(SYSTEM, AUTOPILOT, M.MAV_MISSION_ACCEPTED, M.MAV_MISSION_TYPE_MISSION)
    return rows


@pytest.mark.parametrize("scheme", SCHEMES)
async def test_it_flies_a_plan_that_it_was_sent(scheme: str) -> None:
    flight = windy(3)
    plan = [(22, 0.0, 0.0, 20.0), (16, 40.0, 0.0, 20.0), (16, 40.0, 30.0, 20.0), (20, 0.0, 0.0, 0.0)]

    def client(station: Station) -> None:
        station.wait("HEARTBEAT")
        send_plan(station, (1.25, -31.5), plan)
        assert station.order(M.MAV_CMD_MISSION_START) == ACCEPTED
        reached = [station.wait("MISSION_ITEM_REACHED").seq for _ in range(3)]
        assert reached == [0, 1, 2]
        station.wait("MISSION_CURRENT", lambda one: one.seq == 3)
        station.wait("EXTENDED_SYS_STATE", lambda one: one.landed_state == M.MAV_LANDED_STATE_ON_GROUND)

    await fly(scheme, flight, client)
    assert math.hypot(flight.craft.north_m, flight.craft.east_m) < 3.0
    assert not flight.craft.crashed


@pytest.mark.parametrize("scheme", SCHEMES)
async def test_what_it_may_not_do_is_refused(scheme: str) -> None:
    flight = windy(2)

    def client(station: Station) -> None:
        station.wait("HEARTBEAT")
        rejected = M.MAV_RESULT_TEMPORARILY_REJECTED
        assert station.order(M.MAV_CMD_NAV_TAKEOFF, 0, 0, 0, 0, 0, 0, 20.0) == rejected
        assert station.order(M.MAV_CMD_NAV_RETURN_TO_LAUNCH) == rejected
        assert station.order(M.MAV_CMD_NAV_LAND) == rejected
        assert station.order(M.MAV_CMD_MISSION_START) == rejected
        assert station.order(M.MAV_CMD_DO_GRIPPER, 1, 0) == M.MAV_RESULT_FAILED
        assert station.order(M.MAV_CMD_COMPONENT_ARM_DISARM, 0.5) == M.MAV_RESULT_DENIED
        assert station.order(M.MAV_CMD_DO_JUMP) == M.MAV_RESULT_UNSUPPORTED
        assert station.order(M.MAV_CMD_COMPONENT_ARM_DISARM, 1) == ACCEPTED
        assert station.order(M.MAV_CMD_NAV_TAKEOFF, 0, 0, 0, 0, 0, 0, 20.0) == ACCEPTED
        station.wait("GLOBAL_POSITION_INT", lambda one: one.relative_alt > 10_000)
        assert station.order(M.MAV_CMD_COMPONENT_ARM_DISARM, 0) == rejected
        assert station.order(M.MAV_CMD_DO_REPOSITION, 0, 0, 0, 0, 80.0, 10.0, 50.0) == M.MAV_RESULT_DENIED

    await fly(scheme, flight, client)
    assert flight.pilot.armed
