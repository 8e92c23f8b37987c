"""A return or a landing flown as an item of the plan."""

from __future__ import annotations

from pymavlink import mavutil
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import HOME, QUADROTOR, Flight, Sender
from watchkeeper.aircraft.plan import MOST_ITEMS, Plan
from watchkeeper.link.encode import Encoder

MISSION = mavutil.mode_mapping_byname(QUADROTOR)["AUTO"]
RETURN = dialect.MAV_CMD_NAV_RETURN_TO_LAUNCH
LAND = dialect.MAV_CMD_NAV_LAND
WAYPOINT = dialect.MAV_CMD_NAV_WAYPOINT


def flying() -> Flight:
    flight = Flight()
    flight.beat()
    flight.gps()
    flight.at()
    flight.beat(armed=True)
    flight.wait(4)  # a jump of the height right after arming would be home set anew
    flight.at(height_m=20)
    flight.wait(1)
    flight.at(height_m=20)
    flight.beat(armed=True, mode=MISSION)
    assert flight.read("flight.phase") == "airborne"
    return flight


def send_plan(flight: Flight, sender: Sender, commands: list[tuple[int, float, float]], target: int) -> None:
    flight.hear(sender.pack("MISSION_COUNT", count=len(commands), target_system=target))
    for seq, (command, lat, lon) in enumerate(commands):
        where = {"x": round(lat * 1e7), "y": round(lon * 1e7)}
        flight.hear(sender.pack("MISSION_ITEM_INT", seq=seq, command=command, target_system=target, **where))


PLAN = [(WAYPOINT, *HOME), (WAYPOINT, 10.002, 20.0), (RETURN, 0.0, 0.0)]


def test_a_return_as_the_last_item_is_a_return() -> None:
    flight = flying()
    send_plan(flight, flight.sender, PLAN, 255)
    flight.send("MISSION_CURRENT", seq=1, total=3)
    assert flight.read("flight.phase") == "airborne"
    flight.send("MISSION_CURRENT", seq=2, total=3)
    assert flight.read("flight.phase") == "returning"
    assert flight.read("flight.mode") == "mission"


def test_a_plan_written_by_the_station_counts_too() -> None:
    flight = flying()
    send_plan(flight, Sender(255, 190), PLAN, 7)
    flight.send("MISSION_CURRENT", seq=2, total=3)
    assert flight.read("flight.phase") == "returning"


def test_a_plan_written_to_another_aircraft_does_not() -> None:
    flight = flying()
    send_plan(flight, Sender(255, 190), PLAN, 8)
    flight.send("MISSION_CURRENT", seq=2, total=3)
    assert flight.read("flight.phase") == "airborne"


def test_fences_and_rally_points_go_through_the_same_messages_and_are_no_plan() -> None:
    flight = flying()
    send_plan(flight, flight.sender, [(WAYPOINT, *HOME), (WAYPOINT, *HOME)], 255)
    flight.send("MISSION_ITEM_INT", seq=1, command=RETURN, mission_type=dialect.MAV_MISSION_TYPE_FENCE)
    flight.send("MISSION_COUNT", count=0, mission_type=dialect.MAV_MISSION_TYPE_RALLY)
    flight.send("MISSION_CURRENT", seq=1, total=2)
    assert flight.read("flight.phase") == "airborne"
    assert len(flight.aircraft.plan.items) == 2


def test_a_return_item_that_is_not_flown_is_no_return() -> None:
    flight = flying()
    send_plan(flight, flight.sender, PLAN, 255)
    flight.send("MISSION_CURRENT", seq=2, total=3)
    flight.beat(armed=True, mode=mavutil.mode_mapping_byname(QUADROTOR)["LOITER"])
    assert flight.read("flight.phase") == "airborne"


def test_a_landing_item_lands_when_the_aircraft_is_near_its_place() -> None:
    flight = flying()
    send_plan(flight, flight.sender, [(WAYPOINT, *HOME), (LAND, 10.001, 20.0)], 255)
    flight.send("MISSION_CURRENT", seq=1, total=2)
    assert flight.read("flight.phase") == "airborne"  # 111 m away
    flight.wait(1)
    flight.at(10.00095, 20.0, height_m=20)
    assert flight.read("flight.phase") == "landing"


def test_a_landing_item_without_a_place_lands_here() -> None:
    flight = flying()
    send_plan(flight, flight.sender, [(WAYPOINT, *HOME), (LAND, 0.0, 0.0)], 255)
    flight.send("MISSION_CURRENT", seq=1, total=2)
    assert flight.read("flight.phase") == "landing"


def test_a_plan_that_is_complete_is_flown_no_more() -> None:
    flight = flying()
    send_plan(flight, flight.sender, PLAN, 255)
    encoder = Encoder(7, 1)  # pymavlink's MISSION_CURRENT is cut short: facts.md section 9
    flight.hear(encoder.encode("MISSION_CURRENT", seq=2, total=3, mission_state=3))
    assert flight.read("flight.phase") == "returning"
    flight.hear(encoder.encode("MISSION_CURRENT", seq=2, total=3, mission_state=5))
    assert flight.read("flight.phase") == "airborne"


def test_a_shorter_plan_drops_the_items_beyond_it() -> None:
    plan = Plan()
    for number in range(5):
        plan.add(number, WAYPOINT, 1.0, 1.0)
    plan.count(2)
    assert sorted(plan.items) == [0, 1]
    plan.go_to(0, 65535, 1)  # no plan
    assert not plan.items


def test_items_are_bounded() -> None:
    plan = Plan()
    for number in range(65536):
        plan.add(number, WAYPOINT, 1.0, 1.0)
    assert len(plan.items) == MOST_ITEMS
