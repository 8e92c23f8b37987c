"""Plans sent up and read back by pymavlink's own messages.

Protocol: https://mavlink.io/en/services/mission.html; results and commands: pymavlink's enumerations.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymavlink.dialects.v20 import all as dialect

from simulators.wire.missions import MOST_ITEMS, Items, MissionProtocol
from simulators.wire.packing import Sender
from simulators.wire.plan import FENCE, PLAN, SAFE_POINTS, TYPES, PlanItem
from tests.simulators.wire.plain_client import SYSTEM, PlainClient

TO = (SYSTEM, 1)
Row = tuple[int, int, tuple[float, float, float, float], float, float, float]
"""Frame, command, parameters 1 to 4, latitude, longitude in degrees, height."""
STILL = (0.0, 0.0, 0.0, 0.0)
ROWS: list[Row] = [
    (3, dialect.MAV_CMD_NAV_TAKEOFF, STILL, 0, 0, 20),
    (2, dialect.MAV_CMD_DO_CHANGE_SPEED, (1, 8, -1, 0), 0, 0, 0),
    (6, dialect.MAV_CMD_NAV_WAYPOINT, (12, 3, 0, math.nan), 1.2500001, -31.4999999, 60),
    (3, dialect.MAV_CMD_NAV_LOITER_TIME, (30, 0, 0, 90), 1.251, -31.5, 45.5),
    (0, dialect.MAV_CMD_NAV_WAYPOINT, STILL, 1.252, -31.5, 850.25),
    (2, dialect.MAV_CMD_DO_GRIPPER, (1, 0, 0, 0), 0, 0, 0),
    (2, dialect.MAV_CMD_CONDITION_DELAY, (5, 0, 0, 0), 0, 0, 0),
    (3, dialect.MAV_CMD_NAV_RETURN_TO_LAUNCH, STILL, 0, 0, 0),
    (5, dialect.MAV_CMD_NAV_LAND, STILL, 1.25, -31.5, 800),
]


class Flight:
    """The protocol with a client at it."""

    def __init__(self, client: PlainClient | None = None) -> None:
        self.plans: list[tuple[int, Items]] = []
        self.currents: list[int] = []
        self.of = MissionProtocol(
            Sender(SYSTEM, 1), lambda kind, items: self.plans.append((kind, items)), self.currents.append
        )
        self.client = client or PlainClient()
        self.now_s = 0.0

    def say(self, message: str, *values: Any, client: PlainClient | None = None) -> list[Any]:
        who = client or self.client
        received = who.received(message, *values, at_s=self.now_s)
        return who.read(list(self.of.handlers[received.number](received)))

    def item(self, row: Row, sequence: int, mission_type: int = PLAN, *, integer: bool = True) -> list[Any]:
        frame, command, params, latitude_deg, longitude_deg, height = row
        x, y = (latitude_deg, longitude_deg)
        if integer:
            x, y = round(latitude_deg * 1e7), round(longitude_deg * 1e7)
        name = "mission_item_int" if integer else "mission_item"
        return self.say(name, *TO, sequence, frame, command, 0, 1, *params, x, y, height, mission_type)

    def upload(self, rows: list[Row], mission_type: int = PLAN, *, integer: bool = True) -> int:
        """Send all up as asked for; return the MAV_MISSION_RESULT."""
        answers = self.say("mission_count", *TO, len(rows), mission_type)
        for sequence, row in enumerate(rows):
            [request] = answers
            if request.get_type() == "MISSION_ACK":
                break
            assert (request.get_type(), request.seq, request.mission_type) == (
                "MISSION_REQUEST_INT", sequence, mission_type,
            )  # fmt: skip
            answers = self.item(row, sequence, mission_type, integer=integer)
        [ack] = answers
        assert (ack.get_type(), ack.target_system, ack.target_component) == ("MISSION_ACK", 255, 190)
        assert ack.mission_type == mission_type
        return int(ack.type)


def download(flight: Flight, mission_type: int = PLAN, request: str = "mission_request_int") -> list[Any]:
    [count] = flight.say("mission_request_list", *TO, mission_type)
    assert (count.target_system, count.target_component, count.mission_type) == (255, 190, mission_type)
    return [flight.say(request, *TO, sequence, mission_type)[0] for sequence in range(count.count)]


@pytest.mark.parametrize("request_name", ["mission_request_int", "mission_request"])
def test_what_is_sent_up_is_read_back(request_name: str) -> None:
    flight = Flight()
    flight.of.home_altitude_m = 800
    assert flight.upload(ROWS) == dialect.MAV_MISSION_ACCEPTED
    back = download(flight, request=request_name)
    assert len(back) == len(ROWS)
    for sequence, (row, item) in enumerate(zip(ROWS, back, strict=True)):
        frame, command, params, latitude_deg, longitude_deg, height = row
        assert (item.seq, item.frame, item.command, item.autocontinue) == (sequence, frame, command, 1)
        assert (item.x, item.y, item.z) == (round(latitude_deg * 1e7), round(longitude_deg * 1e7), height)
        got = (item.param1, item.param2, item.param3, item.param4)
        assert got == pytest.approx(params, nan_ok=True)
    [(kind, items)] = flight.plans
    assert kind == PLAN
    assert items is flight.of.items()
    assert (items[0].latitude_deg, items[0].height_m) == (None, 20)  # takes off where it stands
    assert (items[2].latitude_deg, items[2].longitude_deg) == (1.2500001, -31.4999999)
    assert items[4].height_m == 50.25  # given above sea level, home at 800 m
    assert items[8].height_m == 0


def test_the_older_item_with_floats_is_taken_too() -> None:
    flight = Flight()
    assert flight.upload(ROWS[:4], integer=False) == dialect.MAV_MISSION_ACCEPTED
    assert flight.of.items()[2].latitude_deg == pytest.approx(1.25, abs=1e-6)
    assert flight.of.items()[0].latitude_deg is None


def test_fences_and_safe_points_are_kept_apart_from_the_plan() -> None:
    flight = Flight()
    corner: Row = (3, dialect.MAV_CMD_NAV_FENCE_POLYGON_VERTEX_INCLUSION, (3, 0, 0, 0), 1.0, -31.0, 0)
    circle: Row = (3, dialect.MAV_CMD_NAV_FENCE_CIRCLE_EXCLUSION, (50, 0, 0, 0), 1.0, -31.0, 0)
    assert flight.upload([corner, corner, corner, circle], FENCE) == dialect.MAV_MISSION_ACCEPTED
    assert flight.upload([(3, 5100, STILL, 1.0, -31.0, 10)], SAFE_POINTS) == dialect.MAV_MISSION_ACCEPTED
    assert flight.upload(ROWS[:1]) == dialect.MAV_MISSION_ACCEPTED
    assert [len(flight.of.items(kind)) for kind in TYPES] == [1, 4, 1]
    assert [kind for kind, _ in flight.plans] == [FENCE, SAFE_POINTS, PLAN]
    assert [item.mission_type for item in download(flight, FENCE)] == [FENCE] * 4
    assert flight.upload([corner, corner, circle, corner], FENCE) == dialect.MAV_MISSION_INVALID
    assert flight.upload([circle, corner, corner], FENCE) == dialect.MAV_MISSION_INVALID
    assert len(flight.of.items(FENCE)) == 4


WRONG: list[tuple[Callable[[], Row], int]] = [
    (lambda: (3, 16, STILL, 90.1, 0, 10), dialect.MAV_MISSION_INVALID_PARAM5_X),
    (lambda: (3, 16, STILL, 1, 180.1, 10), dialect.MAV_MISSION_INVALID_PARAM6_Y),
    (lambda: (3, 16, STILL, 214.7483647, 1, 10), dialect.MAV_MISSION_INVALID_PARAM5_X),  # "not given"
    (lambda: (3, 16, STILL, 1, 214.7483647, 10), dialect.MAV_MISSION_INVALID_PARAM6_Y),
    (lambda: (3, 16, STILL, 1, 1, math.nan), dialect.MAV_MISSION_INVALID_PARAM7),
    (lambda: (3, 16, STILL, 1, 1, math.inf), dialect.MAV_MISSION_INVALID_PARAM7),
    (lambda: (3, 22, STILL, 1, 1, 20_000), dialect.MAV_MISSION_INVALID_PARAM7),
    (lambda: (3, 16, (math.nan, 0, 0, 0), 1, 1, 10), dialect.MAV_MISSION_INVALID_PARAM1),
    (lambda: (3, 19, (-1, 0, 0, 0), 1, 1, 10), dialect.MAV_MISSION_INVALID_PARAM1),
    (lambda: (2, 178, (1, math.nan, 0, 0), 0, 0, 0), dialect.MAV_MISSION_INVALID_PARAM2),
    (lambda: (2, 211, (1, 2, 0, 0), 0, 0, 0), dialect.MAV_MISSION_INVALID_PARAM2),
    (lambda: (3, 16, (0, 0, math.inf, 0), 1, 1, 10), dialect.MAV_MISSION_INVALID_PARAM3),
    (lambda: (3, 16, (0, 0, 0, -math.inf), 1, 1, 10), dialect.MAV_MISSION_INVALID_PARAM4),
    (lambda: (1, 16, STILL, 1, 1, 10), dialect.MAV_MISSION_UNSUPPORTED_FRAME),  # LOCAL_NED
    (lambda: (2, 16, STILL, 1, 1, 10), dialect.MAV_MISSION_UNSUPPORTED_FRAME),  # a waypoint needs a place
    (lambda: (3, dialect.MAV_CMD_NAV_SPLINE_WAYPOINT, STILL, 1, 1, 10), dialect.MAV_MISSION_UNSUPPORTED),
    (lambda: (3, 5100, STILL, 1, 1, 10), dialect.MAV_MISSION_UNSUPPORTED),  # no safe point in a plan
]


@pytest.mark.parametrize(("row", "result"), WRONG)
def test_what_cannot_be_flown_is_refused_and_the_old_plan_stays(row: Callable[[], Row], result: int) -> None:
    flight = Flight()
    assert flight.upload(ROWS[:3]) == dialect.MAV_MISSION_ACCEPTED
    before = flight.of.items()
    assert flight.upload([ROWS[0], row(), ROWS[2]]) == result
    assert flight.of.items() is before
    assert len(flight.plans) == 1
    assert flight.of.pending(100.0) == []


def test_float_items_without_a_place() -> None:
    flight = Flight()
    nan = math.nan
    assert flight.upload([(3, 16, STILL, nan, 1, 10)], integer=False) == dialect.MAV_MISSION_INVALID_PARAM5_X
    assert flight.upload([(3, 21, STILL, nan, nan, 0)], integer=False) == dialect.MAV_MISSION_ACCEPTED
    assert flight.upload([(3, 21, STILL, nan, 1, 0)], integer=False) == dialect.MAV_MISSION_INVALID_PARAM5_X


def test_lost_requests_are_sent_again_every_half_second_and_given_up_after_five() -> None:
    flight = Flight()
    flight.upload(ROWS[:2])
    flight.say("mission_count", *TO, 3, PLAN)
    flight.item(ROWS[0], 0)
    sent: list[tuple[float, str]] = []
    for step in range(1, 300):
        now_s = step * 0.02
        for message in flight.client.read(flight.of.pending(now_s)):
            sent.append((round(now_s, 2), message.get_type()))
            if message.get_type() == "MISSION_REQUEST_INT":
                assert message.seq == 1
            else:
                assert message.type == dialect.MAV_MISSION_OPERATION_CANCELLED
    assert sent == [
        (0.5, "MISSION_REQUEST_INT"), (1.0, "MISSION_REQUEST_INT"), (1.5, "MISSION_REQUEST_INT"),
        (2.0, "MISSION_REQUEST_INT"), (2.5, "MISSION_REQUEST_INT"), (3.0, "MISSION_ACK"),
    ]  # fmt: skip
    assert len(flight.of.items()) == 2


def test_an_answer_late_but_in_time_goes_on() -> None:
    flight = Flight()
    flight.say("mission_count", *TO, 2, PLAN)
    flight.now_s = 2.9
    for now_s in (0.5, 1.0, 1.5, 2.0, 2.5):
        assert len(flight.of.pending(now_s)) == 1
    [request] = flight.item(ROWS[0], 0)
    assert request.seq == 1
    assert flight.of.pending(3.3) == []
    assert len(flight.of.pending(3.4)) == 1
    [ack] = flight.item(ROWS[1], 1)
    assert ack.type == dialect.MAV_MISSION_ACCEPTED


def test_items_twice_or_too_early() -> None:
    flight = Flight()
    flight.say("mission_count", *TO, 3, PLAN)
    flight.item(ROWS[0], 0)
    assert flight.item(ROWS[0], 0) == []  # twice: no second request, or each would come twice from here on
    [request] = flight.item(ROWS[2], 2)
    assert (request.get_type(), request.seq) == ("MISSION_REQUEST_INT", 1)
    flight.item(ROWS[1], 1)
    [ack] = flight.item(ROWS[2], 2)
    assert ack.type == dialect.MAV_MISSION_ACCEPTED
    [again] = flight.item(ROWS[2], 2)  # the acknowledgement was lost
    assert again.type == dialect.MAV_MISSION_ACCEPTED
    [never] = flight.item(ROWS[1], 1)
    assert never.type == dialect.MAV_MISSION_ERROR
    assert len(flight.plans) == 1


def test_only_one_may_change_at_a_time() -> None:
    flight = Flight()
    other = PlainClient(254, 1)
    flight.say("mission_count", *TO, 2, PLAN)
    for name, values in (("mission_count", (*TO, 5, PLAN)), ("mission_clear_all", (*TO, PLAN))):
        [ack] = flight.say(name, *values, client=other)
        assert (ack.type, ack.target_system) == (dialect.MAV_MISSION_DENIED, 254)
    [count] = flight.say("mission_request_list", *TO, PLAN, client=other)
    assert count.count == 0
    assert flight.say("mission_ack", *TO, dialect.MAV_MISSION_OPERATION_CANCELLED, PLAN, client=other) == []
    assert flight.item(ROWS[0], 0)[0].seq == 1
    flight.say("mission_ack", *TO, dialect.MAV_MISSION_OPERATION_CANCELLED, PLAN)
    [request] = flight.say("mission_count", *TO, 5, PLAN, client=other)
    assert request.get_type() == "MISSION_REQUEST_INT"
    [again] = flight.say("mission_count", *TO, 7, PLAN, client=other)  # the same partner begins anew
    assert again.seq == 0


def test_bounds_and_types() -> None:
    flight = Flight()
    assert flight.upload([ROWS[1]] * MOST_ITEMS) == dialect.MAV_MISSION_ACCEPTED
    assert flight.say("mission_count", *TO, MOST_ITEMS + 1, PLAN)[0].type == dialect.MAV_MISSION_NO_SPACE
    assert flight.say("mission_count", *TO, 1, 7)[0].type == dialect.MAV_MISSION_UNSUPPORTED
    assert flight.say("mission_request_list", *TO, 7)[0].type == dialect.MAV_MISSION_UNSUPPORTED
    assert flight.say("mission_clear_all", *TO, 7)[0].type == dialect.MAV_MISSION_UNSUPPORTED
    for name in ("mission_request_partial_list", "mission_write_partial_list"):
        assert flight.say(name, *TO, 0, 1, PLAN)[0].type == dialect.MAV_MISSION_UNSUPPORTED
    [ack] = flight.say("mission_request_int", *TO, MOST_ITEMS, PLAN)
    assert ack.type == dialect.MAV_MISSION_INVALID_SEQUENCE
    assert flight.upload([]) == dialect.MAV_MISSION_ACCEPTED  # none: cleared
    assert flight.of.items() == ()
    with pytest.raises(KeyError):
        flight.of.put(7, ())


def test_clearing_one_or_all() -> None:
    flight = Flight()
    for kind, row in ((PLAN, ROWS[0]), (SAFE_POINTS, (3, 5100, STILL, 1.0, -31.0, 10.0))):
        assert flight.upload([row], kind) == dialect.MAV_MISSION_ACCEPTED
    assert flight.say("mission_clear_all", *TO, PLAN)[0].type == dialect.MAV_MISSION_ACCEPTED
    assert [len(flight.of.items(kind)) for kind in TYPES] == [0, 0, 1]
    assert flight.say("mission_clear_all", *TO, 255)[0].type == dialect.MAV_MISSION_ACCEPTED
    assert [len(flight.of.items(kind)) for kind in TYPES] == [0, 0, 0]


def test_the_item_to_fly_may_be_ordered_if_there_is_one() -> None:
    flight = Flight()
    flight.upload(ROWS[:3])
    assert flight.say("mission_set_current", *TO, 2) == []
    [ack] = flight.say("mission_set_current", *TO, 3)
    assert ack.type == dialect.MAV_MISSION_INVALID_SEQUENCE
    assert flight.currents == [2]


def test_items_above_sea_level_keep_their_altitude_when_home_moves() -> None:
    flight = Flight()
    flight.of.home_altitude_m = 800
    flight.upload([ROWS[2], ROWS[4]])
    flight.of.home_altitude_m = 810
    assert [item.height_m for item in flight.of.items()] == [60, 40.25]
    assert [item.z for item in download(flight)] == [60, 850.25]
    assert len(flight.plans) == 2  # the aircraft was told
    flight.of.home_altitude_m = 810
    assert len(flight.plans) == 2


@settings(deadline=None)  # a loaded machine is no fault
@given(
    st.lists(
        st.tuples(
            st.sampled_from([16, 19, 20, 21, 22, 112, 178, 211, 17, 5001, 5003, 5100]),
            st.integers(0, 255),
            st.lists(st.floats(width=32), min_size=4, max_size=4),
            st.integers(-(2**31), 2**31 - 1),
            st.integers(-(2**31), 2**31 - 1),
            st.floats(width=32),
            st.integers(0, 5),
        ),
        min_size=1,
        max_size=5,
    ),
    st.integers(0, 3),
)
def test_whatever_comes_only_whole_plans_in_bounds_are_held(rows: list[Any], mission_type: int) -> None:
    flight = Flight()
    flight.say("mission_count", *TO, len(rows), mission_type)
    for command, frame, params, x, y, z, sequence in rows:
        flight.say("mission_item_int", *TO, sequence, frame, command, 0, 1, *params, x, y, z, mission_type)
    for kind in TYPES:
        items = flight.of.items(kind)
        assert len(items) in (0, len(rows))
        for item in items:
            assert isinstance(item, PlanItem)
            assert item.latitude_deg is None or abs(item.latitude_deg) <= 90
            assert item.longitude_deg is None or abs(item.longitude_deg) <= 180
            assert math.isfinite(item.height_m + item.p1 + item.p2 + item.p3)
