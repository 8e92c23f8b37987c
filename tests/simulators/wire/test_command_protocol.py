"""Commands by pymavlink's own messages, and their acknowledgements.

Protocol: https://mavlink.io/en/services/command.html; names and numbers: pymavlink's enumerations.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymavlink.dialects.v20 import all as dialect

from simulators.wire import commands
from simulators.wire.commands import Command, CommandProtocol
from simulators.wire.packing import Sender, kind
from simulators.wire.schedule import Schedule
from tests.simulators.wire.plain_client import SYSTEM, PlainClient

TO = (SYSTEM, 1)
RATES = {"HEARTBEAT": 1.0, "ATTITUDE": 10.0, "HOME_POSITION": 0.0, "AVAILABLE_MODES": 0.0}
ARM = dialect.MAV_CMD_COMPONENT_ARM_DISARM
REPOSITION = dialect.MAV_CMD_DO_REPOSITION


class Bridge:
    """The protocol with a client at it; what the aircraft is ordered is kept."""

    def __init__(self, result: int = 0) -> None:
        self.taken: list[Command] = []
        self.result = result
        self.sender = Sender(SYSTEM, 1)
        self.schedule = Schedule(RATES)
        handlers = {ARM: self.take, REPOSITION: self.take, dialect.MAV_CMD_NAV_TAKEOFF: self.take}
        self.of = CommandProtocol(self.sender, self.schedule, handlers, {"AVAILABLE_MODES": self.modes})
        self.client = PlainClient()

    def take(self, command: Command) -> int:
        self.taken.append(command)
        return self.result

    def modes(self, command: Command) -> Iterable[bytes]:
        yield self.sender.frame(kind("AVAILABLE_MODES"), 0, 0, 3, int(command.p2), 0, b"HOLD")

    def say(self, message: str, *values: Any) -> list[Any]:
        received = self.client.received(message, *values, at_s=12.5)
        return self.client.read(list(self.of.handlers[received.number](received)))

    def long(self, number: int, *params: float, confirmation: int = 0) -> list[Any]:
        filled = (*params, *[0.0] * (7 - len(params)))
        ack, *rest = self.say("command_long", *TO, number, confirmation, *filled)
        assert (ack.get_type(), ack.command) == ("COMMAND_ACK", number)
        assert (ack.target_system, ack.target_component) == (255, 190)
        return [ack, *rest]

    def integer(self, number: int, frame: int, params: Iterable[float], x: int, y: int, z: float) -> int:
        ack, *_ = self.say("command_int", *TO, frame, number, 0, 0, *params, x, y, z)
        assert (ack.get_type(), ack.command) == ("COMMAND_ACK", number)
        return int(ack.result)


@pytest.mark.parametrize("result", range(6))
def test_a_command_is_handed_on_and_its_result_acknowledged(result: int) -> None:
    bridge = Bridge(result)
    [ack] = bridge.long(ARM, 1, 21196, math.nan, 4, 5, 6, 7, confirmation=2)
    assert ack.result == result
    assert ack.progress == (255 if result == dialect.MAV_RESULT_IN_PROGRESS else 0)
    [command] = bridge.taken
    params = (command.p1, command.p2, command.p3, command.p4, command.p5, command.p6, command.p7)
    assert params == pytest.approx((1, 21196, math.nan, 4, 5, 6, 7), nan_ok=True)
    assert (command.number, command.confirmation, command.frame, command.now_s) == (ARM, 2, None, 12.5)
    assert (command.from_system, command.from_component) == (255, 190)
    assert (command.latitude_deg, command.longitude_deg) == (None, None)  # this one has no place


def test_what_goes_on_is_acknowledged_again_by_the_aircraft() -> None:
    bridge = Bridge(dialect.MAV_RESULT_IN_PROGRESS)
    bridge.long(ARM)
    [command] = bridge.taken
    for result, progress, expected in ((5, 40, 40), (0, None, 0)):
        [ack] = bridge.client.read(bridge.of.acknowledge(command, result, progress))
        assert (ack.command, ack.result, ack.progress, ack.target_system) == (ARM, result, expected, 255)


def test_unknown_commands_are_unsupported() -> None:
    bridge = Bridge()
    assert bridge.long(dialect.MAV_CMD_DO_PARACHUTE)[0].result == dialect.MAV_RESULT_UNSUPPORTED
    assert bridge.long(65535, math.inf)[0].result == dialect.MAV_RESULT_UNSUPPORTED
    assert bridge.integer(65535, 6, STILL, 2**31 - 1, 5, math.inf) == dialect.MAV_RESULT_UNSUPPORTED


STILL = (0.0, 0.0, 0.0, 0.0)
NOT_GIVEN = 2**31 - 1


@pytest.mark.parametrize(
    ("frame", "x", "y", "fifth", "place"),
    [
        (6, 12500001, -314999999, 1.2500001, (1.2500001, -31.4999999)),
        (0, -900000000, 1800000000, -90, (-90, 180)),
        (6, NOT_GIVEN, NOT_GIVEN, math.nan, (None, None)),
        (1, 125000, 20000, 12.5, (None, None)),  # local: 1e-4 m
        (2, 7, 8, 7, (None, None)),
    ],
)
def test_integer_commands(
    frame: int, x: int, y: int, fifth: float, place: tuple[float | None, float | None]
) -> None:
    bridge = Bridge()
    assert bridge.integer(REPOSITION, frame, (8, 1, 0, math.nan), x, y, 45.5) == dialect.MAV_RESULT_ACCEPTED
    [command] = bridge.taken
    assert (command.latitude_deg, command.longitude_deg) == place
    assert (command.p1, command.p5, command.p7) == pytest.approx((8, fifth, 45.5), nan_ok=True)
    assert command.frame == frame


def test_places_of_long_commands() -> None:
    bridge = Bridge()
    assert bridge.long(REPOSITION, 8, 1, 0, math.nan, 1.25, -31.5, 60)[0].result == dialect.MAV_RESULT_ACCEPTED
    assert bridge.long(REPOSITION, 8, 1, 0, 0, math.nan, math.nan, 60)[0].result == dialect.MAV_RESULT_ACCEPTED
    places = [(command.latitude_deg, command.longitude_deg) for command in bridge.taken]
    assert places == [(1.25, -31.5), (None, None)]


def test_commands_taken_to_have_a_place_have_one_by_the_standard() -> None:
    for number in commands._PLACED:
        params = dialect.enums["MAV_CMD"][number].param
        assert "atitude" in params[5], number
        assert "ongitude" in params[6], number


@pytest.mark.parametrize("place", [(90.5, 0), (0, 181), (math.nan, 1), (1, math.nan), (math.inf, 0)])
def test_impossible_places_never_reach_the_aircraft(place: tuple[float, float]) -> None:
    bridge = Bridge()
    assert bridge.long(REPOSITION, 0, 0, 0, 0, *place)[0].result == dialect.MAV_RESULT_DENIED
    assert bridge.long(ARM, -math.inf)[0].result == dialect.MAV_RESULT_DENIED
    assert bridge.integer(REPOSITION, 3, STILL, 900000001, 0, 0) == dialect.MAV_RESULT_DENIED
    assert bridge.integer(REPOSITION, 3, STILL, NOT_GIVEN, 0, 0) == dialect.MAV_RESULT_DENIED
    assert bridge.taken == []


def test_intervals_are_set_and_told() -> None:
    bridge = Bridge()

    def interval_us(message_id: int) -> int:
        ack, told = bridge.long(dialect.MAV_CMD_GET_MESSAGE_INTERVAL, message_id)
        assert (ack.result, told.get_type(), told.message_id) == (0, "MESSAGE_INTERVAL", message_id)
        by_request = bridge.long(dialect.MAV_CMD_REQUEST_MESSAGE, 244, message_id)[1]
        assert (by_request.interval_us, by_request.message_id) == (told.interval_us, message_id)
        return int(told.interval_us)

    # MESSAGE_INTERVAL: "-1 indicates this stream is disabled, 0 indicates it is not available" (common.xml)
    assert [interval_us(one) for one in (30, 242, 230)] == [100_000, -1, 0]
    for wanted, got in ((200_000, 200_000), (1, 20_000), (-1, -1), (0, 100_000)):
        assert bridge.long(dialect.MAV_CMD_SET_MESSAGE_INTERVAL, 30, wanted)[0].result == 0
        assert interval_us(30) == got
    for params in ((30, -2), (30, math.nan), (230, 100_000), (30.5, 1000), (-1, 1000), (math.nan, 1)):
        answers = bridge.long(dialect.MAV_CMD_SET_MESSAGE_INTERVAL, *params)
        assert [one.result for one in answers] == [dialect.MAV_RESULT_DENIED]
    for none in (70000, -1, 0.5, math.nan):
        answers = bridge.long(dialect.MAV_CMD_GET_MESSAGE_INTERVAL, none)
        assert [one.result for one in answers] == [dialect.MAV_RESULT_DENIED]


def test_messages_asked_for() -> None:
    bridge = Bridge()
    bridge.schedule.due(0.0)
    [ack] = bridge.long(dialect.MAV_CMD_REQUEST_MESSAGE, 242)
    assert ack.result == dialect.MAV_RESULT_ACCEPTED
    assert "HOME_POSITION" in bridge.schedule.due(0.0)
    ack, modes = bridge.long(dialect.MAV_CMD_REQUEST_MESSAGE, 435, 2)  # the second mode
    assert (modes.get_type(), modes.mode_index, modes.mode_name) == ("AVAILABLE_MODES", 2, "HOLD")
    assert bridge.long(dialect.MAV_CMD_REQUEST_MESSAGE, 230)[0].result == dialect.MAV_RESULT_DENIED


FLOAT32 = st.floats(width=32)


@settings(deadline=None)  # a loaded machine is no fault
@given(
    st.sampled_from([ARM, REPOSITION, 22, 510, 511, 512, 9999]),
    st.lists(FLOAT32, min_size=7, max_size=7),
    st.integers(-(2**31), 2**31 - 1),
    st.integers(-(2**31), 2**31 - 1),
    st.integers(0, 255),
)
def test_whatever_comes_is_acknowledged_and_nothing_infinite_is_handed_on(
    number: int, params: list[float], x: int, y: int, frame: int
) -> None:
    bridge = Bridge()
    assert bridge.long(number, *params)
    bridge.integer(number, frame, params[:4], x, y, params[6])
    for command in bridge.taken:
        assert not any(math.isinf(one) for one in (command.p1, command.p2, command.p5, command.p6, command.p7))
        assert command.latitude_deg is None or abs(command.latitude_deg) <= 90
        assert (command.latitude_deg is None) == (command.longitude_deg is None)
    bridge.schedule.due(1.0)
