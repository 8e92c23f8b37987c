"""The aircraft's end of the link as a client meets it, and as an attacker does."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymavlink.dialects.v20 import all as dialect

from simulators.wire.commands import CommandProtocol
from simulators.wire.endpoint import HEARTBEAT, MANUAL_CONTROL, RC_CHANNELS_OVERRIDE, SET_MODE, Endpoint
from simulators.wire.guard import MOST_STREAMS
from simulators.wire.missions import MissionProtocol
from simulators.wire.packing import Sender
from simulators.wire.parameters import Parameter, ParameterProtocol, ParameterSet
from simulators.wire.received import Received
from simulators.wire.schedule import Schedule
from tests.simulators.wire.plain_client import SYSTEM, PlainClient
from watchkeeper.link.encode import Encoder, Signing, frame_v2
from watchkeeper.link.tables import MESSAGES

KEY = bytes(range(32))
YEAR_2026 = 34_715_520_000_000  # facts.md section 9
MINUTE = 6_000_000
BEAT = (6, 8, 0, 0, 4)


class Aircraft:
    """An endpoint with all its parts; what reaches the aircraft is kept."""

    def __init__(self, signing: Signing | None = None) -> None:
        self.heard: list[Received] = []
        sender = Sender(SYSTEM, 1, signing=signing)
        self.parameters = ParameterSet([Parameter(f"P{i}", i, 0, 100) for i in range(30)])
        self.schedule = Schedule({"HEARTBEAT": 1.0, "ATTITUDE": 10.0, "GLOBAL_POSITION_INT": 5.0})
        self.missions = MissionProtocol(sender)
        self.end = Endpoint(
            sender,
            ParameterProtocol(sender, self.parameters),
            self.missions,
            CommandProtocol(sender, self.schedule, {400: lambda _: 0}),
            self.schedule,
            dict.fromkeys((HEARTBEAT, SET_MODE, MANUAL_CONTROL, RC_CHANNELS_OVERRIDE), self.keep),
        )
        self.client = PlainClient()

    def keep(self, message: Received) -> list[bytes]:
        self.heard.append(message)
        return []

    def say(self, message: str, *values: Any, at_s: float = 0.0) -> list[Any]:
        return self.client.read(self.end.receive(self.client.encode(message, *values), at_s))


def test_a_client_reads_all_parameters_sets_one_and_sends_a_plan() -> None:
    aircraft = Aircraft()
    assert aircraft.say("param_request_list", SYSTEM, 1) == []
    names = {
        one.param_id for step in range(100) for one in aircraft.client.read(aircraft.end.pending(step * 0.02))
    }
    assert names == {f"P{i}" for i in range(30)}
    [value] = aircraft.say("param_set", SYSTEM, 1, b"P3", 8.0, 9)
    assert (value.param_value, aircraft.parameters["P3"]) == (8, 8)
    [request] = aircraft.say("mission_count", SYSTEM, 1, 1, 0)
    [again] = aircraft.client.read(aircraft.end.pending(0.5))
    assert (request.seq, again.seq) == (0, 0)
    [ack] = aircraft.say("mission_item_int", SYSTEM, 1, 0, 3, 20, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0)
    assert ack.type == dialect.MAV_MISSION_ACCEPTED
    [ack] = aircraft.say("command_long", SYSTEM, 1, 400, 0, 1, 0, 0, 0, 0, 0, 0)
    assert ack.result == dialect.MAV_RESULT_ACCEPTED


def test_hooks_get_what_the_client_said() -> None:
    aircraft = Aircraft()
    assert aircraft.say("heartbeat", *BEAT) == []
    assert aircraft.say("set_mode", SYSTEM, 1, 5) == []
    assert aircraft.say("manual_control", SYSTEM, 100, -200, 500, 0, 3, at_s=7.5) == []
    assert aircraft.say("rc_channels_override", SYSTEM, 1, *range(1001, 1009)) == []
    beat, mode, sticks, channels = aircraft.heard
    assert (beat.system, beat.component, beat.named()["type"]) == (255, 190, 6)
    assert mode.named()["custom_mode"] == 5
    assert (sticks.now_s, sticks.values[:5]) == (7.5, (100, -200, 500, 0, 3))
    assert channels.named()["chan8_raw"] == 1008


@pytest.mark.parametrize("whom", [(SYSTEM, 1), (0, 0), (SYSTEM, 0), (0, 1)])
def test_messages_for_it_or_for_all_are_taken(whom: tuple[int, int]) -> None:
    assert len(Aircraft().say("param_request_read", *whom, b"P1", -1)) == 1


@pytest.mark.parametrize("whom", [(SYSTEM + 1, 1), (SYSTEM, 2), (1, 1), (255, 0)])
def test_messages_for_others_are_not(whom: tuple[int, int]) -> None:
    aircraft = Aircraft()
    assert aircraft.say("param_request_read", *whom, b"P1", -1) == []
    assert aircraft.say("command_long", *whom, 400, 0, 1, 0, 0, 0, 0, 0, 0) == []
    assert aircraft.say("manual_control", whom[0], 1, 1, 1, 1, 1) == []
    assert aircraft.end.elsewhere == 2 + (whom[0] != SYSTEM)


def test_ping_and_time() -> None:
    aircraft = Aircraft()
    [pong] = aircraft.say("ping", 123456, 7, 0, 0)
    assert (pong.time_usec, pong.seq, pong.target_system, pong.target_component) == (123456, 7, 255, 190)
    assert aircraft.say("ping", 123456, 7, SYSTEM, 1) == []  # an answer
    [time] = aircraft.say("timesync", 0, 987654321, at_s=2.5)
    assert (time.tc1, time.ts1) == (2_500_000_000, 987654321)
    assert aircraft.say("timesync", 5, 987654321) == []


def test_streams_asked_for_in_the_old_way() -> None:
    aircraft = Aircraft()
    assert aircraft.say("request_data_stream", SYSTEM, 1, dialect.MAV_DATA_STREAM_EXTRA1, 25, 1) == []
    assert aircraft.schedule.rate("ATTITUDE") == 25
    aircraft.say("request_data_stream", SYSTEM, 1, dialect.MAV_DATA_STREAM_ALL, 4, 0)
    assert [aircraft.schedule.rate(one) for one in ("HEARTBEAT", "ATTITUDE")] == [1, 0]


def test_messages_of_its_own_and_of_no_interest_are_left() -> None:
    aircraft = Aircraft()
    own = Encoder(SYSTEM, 1)
    assert aircraft.end.receive(own.encode("PING"), 0.0) == []
    assert aircraft.say("attitude", 0, 0, 0, 0, 0, 0, 0) == []
    assert aircraft.end.unhandled == 1


def signer(timestamp: int = YEAR_2026, key: bytes = KEY, link: int = 3, system: int = 255) -> PlainClient:
    client = PlainClient(system)
    client.mav.signing.secret_key = key
    client.mav.signing.link_id = link
    client.mav.signing.timestamp = timestamp
    client.mav.signing.sign_outgoing = True
    return client


def guarded() -> Aircraft:
    return Aircraft(Signing(KEY, link=1, timestamp=YEAR_2026))


def test_with_a_key_only_signed_frames_are_taken_and_answers_are_signed() -> None:
    aircraft, client = guarded(), signer()
    [answer] = client.read(aircraft.end.receive(client.encode("ping", 1, 2, 0, 0), 0.0))
    assert answer.get_signed()
    for other in (PlainClient(), signer(key=bytes(32))):
        assert aircraft.end.receive(other.encode("ping", 1, 2, 0, 0), 0.0) == []
    assert aircraft.end.receive(Encoder(255, 190, version=1).encode("PING"), 0.0) == []
    assert aircraft.end.refused == 3


def test_radio_status_is_let_through_unsigned() -> None:
    aircraft = guarded()
    aircraft.end.receive(PlainClient(51, 68).encode("radio_status", 190, 180, 100, 40, 45, 7, 2), 0.0)
    assert (aircraft.end.refused, aircraft.end.unhandled) == (0, 1)


def test_no_frame_is_taken_twice_nor_after_a_later_one() -> None:
    aircraft, client = guarded(), signer()
    first, second = (client.encode("ping", n, 2, 0, 0) for n in range(2))
    assert len(aircraft.end.receive(second, 0.0)) == 1
    assert aircraft.end.receive(second, 0.0) == []
    assert aircraft.end.receive(first, 0.0) == []
    assert aircraft.end.refused == 2
    # another link of the same station counts for itself
    assert len(aircraft.end.receive(signer(YEAR_2026 - 5, link=4).encode("ping", 1, 2, 0, 0), 0.0)) == 1


@pytest.mark.parametrize(("behind", "taken"), [(MINUTE, True), (MINUTE + 1, False)])
def test_a_new_stream_may_be_a_minute_behind(behind: int, taken: bool) -> None:
    aircraft = guarded()
    assert bool(aircraft.end.receive(signer(YEAR_2026 - behind).encode("ping", 1, 2, 0, 0), 0.0)) == taken


def test_its_own_time_follows_the_latest_heard() -> None:
    signing = Signing(KEY, timestamp=YEAR_2026)
    aircraft = Aircraft(signing)
    aircraft.end.receive(signer(YEAR_2026 + 10 * MINUTE).encode("ping", 1, 2, 0, 0), 0.0)
    assert signing.timestamp == YEAR_2026 + 10 * MINUTE + 1
    assert aircraft.end.receive(signer(YEAR_2026, link=9).encode("ping", 1, 2, 0, 0), 0.0) == []


def test_streams_are_bounded() -> None:
    aircraft = guarded()
    taken = [
        bool(aircraft.end.receive(signer(system=system, link=link).encode("ping", 1, 2, 0, 0), 0.0))
        for system in (1, 2)
        for link in range(200)
    ]
    assert sum(taken) == MOST_STREAMS


TAKEN = [4, 11, 20, 21, 23, 37, 38, 39, 40, 41, 43, 44, 45, 47, 51, 66, 69, 70, 73, 75, 76, 111]
PARTS = st.one_of(st.binary(max_size=300), st.tuples(st.sampled_from(TAKEN), st.binary(max_size=60)))


@settings(deadline=None)  # a loaded machine is no fault
@given(st.lists(PARTS, max_size=12), st.booleans())
def test_no_bytes_whatever_raise(parts: list[bytes | tuple[int, bytes]], cut: bool) -> None:
    aircraft = Aircraft()
    for at, part in enumerate(parts):
        data = part if isinstance(part, bytes) else framed(*part)
        for piece in (data[:7], data[7:]) if cut else (data,):
            for answer in aircraft.end.receive(piece, at * 0.3):
                assert len(aircraft.client.read(answer)) == 1  # each answer is one good frame
        aircraft.client.read(aircraft.end.pending(at * 0.3 + 0.1))
        aircraft.schedule.due(at * 0.3)


def framed(number: int, payload: bytes) -> bytes:
    """Return a frame with a good checksum around any payload."""
    extra = bytes([MESSAGES[number].crc_extra])
    return frame_v2(payload or b"\0", 0, 255, 190, number.to_bytes(3, "little"), extra)
