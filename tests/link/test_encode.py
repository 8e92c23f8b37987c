"""Encoding against vectors, and against pymavlink as the receiver."""

from __future__ import annotations

import random
import struct
from typing import Any

import pytest
from pymavlink.dialects.v20 import all as dialect

from watchkeeper.link.encode import Encoder, Signing
from watchkeeper.link.framing import GOOD, Framer
from watchkeeper.link.tables import MESSAGES

HEARTBEAT = {
    "type": 13, "autopilot": 3, "base_mode": 209, "custom_mode": 5, "system_status": 4, "mavlink_version": 3,
}  # fmt: skip
RADIO = {"rssi": 190, "remrssi": 180, "txbuf": 100, "noise": 40, "remnoise": 45, "rxerrors": 7, "fixed": 2}
KEY = bytes(range(32))
# facts.md section 9, vectors (sequence 0, system 1, component 1)
VECTORS = [
    (1, None, "HEARTBEAT", HEARTBEAT, "fe0900010100050000000d03d104032151"),
    (2, None, "HEARTBEAT", HEARTBEAT, "fd090000000101000000050000000d03d10403bb92"),
    (2, None, "RADIO_STATUS", RADIO, "fd0900000001016d000007000200beb464282de6a3"),
    (2, None, "EXTENDED_SYS_STATE", {}, "fd010000000101f5000000ac20"),
    (
        2,
        Signing(KEY, link=0, timestamp=1),
        "HEARTBEAT",
        HEARTBEAT,
        "fd090100000101000000050000000d03d104035c6a000100000000001dea10a94bd0",
    ),
]


@pytest.mark.parametrize(("version", "signing", "name", "fields", "expected"), VECTORS)
def test_vectors(version: int, signing: Signing | None, name: str, fields: dict[str, Any], expected: str) -> None:
    frame = Encoder(1, 1, version, signing).encode(name, **fields)
    assert frame.hex() == expected
    [found] = Framer().feed(bytes.fromhex(expected))
    assert found[:3] == (1, 1, 0)
    assert found[5:] == (frame, GOOD)


def test_each_frame_counts_on_and_the_signing_time_too() -> None:
    signing = Signing(KEY, link=3, timestamp=34_715_520_000_000)  # 2026-01-01 (facts.md section 9)
    encoder = Encoder(42, 1, signing=signing)
    encoder.sequence = 255
    first, second = encoder.encode(0), encoder.encode("HEARTBEAT")
    assert (first[4], second[4], encoder.sequence) == (255, 0, 1)
    stamps = [int.from_bytes(frame[-12:-6], "little") for frame in (first, second)]
    assert stamps == [34_715_520_000_000, 34_715_520_000_001]
    assert first[-13] == 3


@pytest.mark.parametrize("version", [1, 2])
def test_pymavlink_reads_every_message_of_its_own_back(version: int) -> None:
    chance = random.Random(version)
    encoder = Encoder(42, 191, version)
    receiver = dialect.MAVLink(None)
    for number, definition in dialect.mavlink_map.items():
        message = MESSAGES[number]
        if (version == 1 and number > 255) or number == 42:
            continue  # MISSION_CURRENT is longer in our tables
        values = message.struct.unpack(bytes(chance.choices(range(1, 127), k=message.full_length)))
        fields: dict[str, Any] = {}
        at = 0
        for field in message.fields:
            taken = values[at : at + field.values]
            at += field.values
            fields[field.name] = list(taken) if field.array and field.type != "char" else taken[0]
        sequence = encoder.sequence
        [read] = receiver.parse_buffer(encoder.encode(number, **fields))
        assert (read.get_msgId(), read.get_seq(), read.get_srcSystem()) == (number, sequence, 42)
        assert read.get_srcComponent() == 191
        base = message.base_length if version == 1 else message.full_length
        at = 0
        for field in message.fields:
            at += field.size
            if at > base:
                break  # version 1 carries no extensions
            got = getattr(read, field.name)
            sent = fields[field.name]
            assert got == (sent.decode() if isinstance(sent, bytes) else sent), (definition.msgname, field.name)


def test_pymavlink_accepts_our_signature() -> None:
    encoder = Encoder(1, 1, signing=Signing(KEY, link=7, timestamp=34_715_520_000_000))
    receiver = dialect.MAVLink(None)
    receiver.signing.secret_key = KEY
    receiver.signing.timestamp = 34_715_520_000_000 - 1
    [read] = receiver.parse_buffer(encoder.encode("HEARTBEAT", **HEARTBEAT))
    assert read.get_signed()
    wrong = dialect.MAVLink(None)
    wrong.signing.secret_key = bytes(32)
    wrong.signing.timestamp = 34_715_520_000_000 - 1
    with pytest.raises(dialect.MAVError):
        wrong.parse_buffer(encoder.encode("HEARTBEAT", **HEARTBEAT))


def test_fields_not_given_are_zero_and_short_arrays_are_filled() -> None:
    frame = Encoder(1, 1).encode("BATTERY_STATUS", voltages=[4200], id=2)
    _, _, _, number, payload, _, _ = Framer().feed(frame)[0]
    values = MESSAGES[number].struct.unpack(payload.ljust(54, b"\0"))
    assert sum(values) == 4202


def test_what_cannot_be_encoded_is_refused_and_takes_no_sequence_number() -> None:
    encoder = Encoder(1, 1, version=1)
    with pytest.raises(KeyError):
        encoder.encode("NO_SUCH_MESSAGE")
    with pytest.raises(KeyError, match="altitude"):
        encoder.encode("HEARTBEAT", altitude=1)
    with pytest.raises(ValueError, match="MAVLink 1"):
        encoder.encode("CURRENT_MODE")
    with pytest.raises(struct.error):
        encoder.encode("HEARTBEAT", type=256)
    assert encoder.sequence == 0
