"""Frames of the simulated aircraft, with pymavlink as receiver and as a second sender."""

from __future__ import annotations

import math
import random
import struct
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymavlink.dialects.v20 import all as dialect

from simulators.wire.packing import Kind, Sender, kind
from watchkeeper.link.encode import Signing
from watchkeeper.link.tables import MESSAGES

KEY = bytes(range(32))
YEAR_2026 = 34_715_520_000_000  # facts.md section 9
NUMBERS = sorted(set(dialect.mavlink_map) - {42})  # MISSION_CURRENT is longer in our tables; it has its own test


def read(frame: bytes) -> Any:
    """Return the message that pymavlink reads."""
    [message] = dialect.MAVLink(None).parse_buffer(frame)
    return message


def repacked(message: Any, sender: Sender, signing: Signing | None = None) -> bytes:
    """Return the message as pymavlink itself would send it from where it came."""
    mav = dialect.MAVLink(None, srcSystem=sender.system, srcComponent=sender.component)
    mav.seq = message.get_seq()
    if signing is not None:
        mav.signing.secret_key = signing.key
        mav.signing.link_id = signing.link
        mav.signing.timestamp = signing.timestamp
        mav.signing.sign_outgoing = True
    fields = [getattr(message, name) for name in type(message).fieldnames]
    again = type(message)(*[value.encode() if isinstance(value, str) else value for value in fields])
    return bytes(again.pack(mav))


def random_values(of: Kind, chance: random.Random) -> tuple[Any, ...]:
    """Return values of every kind of size; text without NUL, numbers without NaN, some trailing zeros."""
    zeros = chance.choice([0, 0, 1, 2, 5, of.full_length])
    payload = bytes(chance.choices(range(1, 127), k=of.full_length))
    return of.message.struct.unpack((payload[: max(0, of.full_length - zeros)]).ljust(of.full_length, b"\0"))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_pymavlink_reads_every_field_of_every_message_and_packs_the_same_bytes(seed: int) -> None:
    chance = random.Random(seed)
    sender = Sender(143, 1)
    for number in NUMBERS:
        of = Kind(MESSAGES[number])
        values = random_values(of, chance)
        sequence = sender.sequence
        frame = sender.frame(of, *values)
        message = read(frame)
        assert (message.get_msgId(), message.get_srcSystem(), message.get_srcComponent()) == (number, 143, 1)
        assert message.get_seq() == sequence
        at = 0
        for field in of.message.fields:
            taken = list(values[at : at + field.values])
            at += field.values
            got = getattr(message, field.name)
            if field.type == "char":
                assert got == taken[0].split(b"\0")[0].decode(), (of, field)
            else:
                assert got == (taken if field.array else taken[0]), (of, field)
        assert repacked(message, sender) == frame, of


def test_the_fields_of_mission_current_that_pymavlink_knows() -> None:
    frame = Sender(143, 1).frame(kind("MISSION_CURRENT"), 3, 7, 3, 1, 0, 0, 0)
    message = read(frame)
    assert (message.seq, message.total, message.mission_state, message.mission_mode) == (3, 7, 3, 1)
    assert repacked(message, Sender(143, 1)) == frame


def test_vectors() -> None:
    # facts.md section 9
    beat = (5, 13, 3, 209, 4, 3)
    sender = Sender(1, 1)
    assert sender.frame(kind("HEARTBEAT"), *beat).hex() == "fd090000000101000000050000000d03d10403bb92"
    assert Sender(1, 1).frame(kind("EXTENDED_SYS_STATE"), 0, 0).hex() == "fd010000000101f5000000ac20"
    signed = Sender(1, 1, signing=Signing(KEY, link=0, timestamp=1)).frame(kind("HEARTBEAT"), *beat)
    assert signed.hex() == "fd090100000101000000050000000d03d104035c6a000100000000001dea10a94bd0"


@settings(deadline=None)  # a loaded machine is no fault
@given(
    st.integers(-(2**31), 2**31 - 1),
    st.lists(st.integers(-(2**15), 2**15 - 1), min_size=3, max_size=3),
    st.integers(0, 2**16 - 1),
)
def test_zeros_at_the_end_are_cut_as_pymavlink_cuts_them(place: int, speeds: list[int], heading: int) -> None:
    sender = Sender(7, 1)
    frame = sender.frame(kind("GLOBAL_POSITION_INT"), 0, place, 0, place, 0, *speeds, heading)
    assert repacked(read(frame), sender) == frame


def test_signed_frames_are_those_of_pymavlink_and_it_accepts_them() -> None:
    signing = Signing(KEY, link=5, timestamp=YEAR_2026)
    sender = Sender(143, 1, signing=signing)
    receiver = dialect.MAVLink(None)
    receiver.signing.secret_key = KEY
    receiver.signing.timestamp = YEAR_2026 - 1
    for turn in range(3):
        stamp = signing.timestamp
        frame = sender.frame(kind("ATTITUDE"), turn, 0.5, -0.25, 3.0, 0.0, 0.0, 0.125)
        [message] = receiver.parse_buffer(frame)
        assert message.get_signed()
        assert repacked(message, sender, Signing(KEY, 5, stamp)) == frame
        assert signing.timestamp == stamp + 1


def test_the_sequence_counts_to_255_and_on_from_zero() -> None:
    sender = Sender(143, 1)
    sequences = [read(sender.frame(kind("TIMESYNC"), 1, 2)).get_seq() for _ in range(258)]
    assert sequences == [*range(256), 0, 1]


def test_values_that_do_not_fit_use_up_no_sequence_number() -> None:
    sender = Sender(143, 1)
    with pytest.raises(struct.error):
        sender.frame(kind("HEARTBEAT"), 0, 256, 0, 0, 0, 3)
    with pytest.raises(struct.error):
        sender.frame(kind("HEARTBEAT"), 0, 1)
    assert sender.sequence == 0
    with pytest.raises(KeyError):
        kind("NO_SUCH_MESSAGE")


def test_not_a_number_goes_through() -> None:
    assert math.isnan(read(Sender(1, 1).frame(kind("WIND_COV"), 1, *[math.nan] * 8)).wind_x)


def test_each_message_is_made_ready_once() -> None:
    assert kind("ATTITUDE") is kind("ATTITUDE")
    assert (kind("ATTITUDE").id, kind("ATTITUDE").full_length, kind("ATTITUDE").extra) == (30, 28, bytes([39]))
