"""Framing: what comes out depends on the bytes alone, and nothing that comes in is raised."""

from __future__ import annotations

import random
from collections.abc import Iterable

import pytest
from fastcrc import crc16
from hypothesis import example, given
from hypothesis import strategies as st

from watchkeeper.link.decode import named, unpack
from watchkeeper.link.encode import Encoder, Signing
from watchkeeper.link.framing import BAD_CHECKSUM, GOOD, LONGEST, UNKNOWN, V1, V2, Frame, Framer
from watchkeeper.link.recording import RecordingReader
from watchkeeper.link.sequence import SequenceTracker
from watchkeeper.link.tables import MESSAGES

HEARTBEAT = bytes.fromhex("fd090000000101000000050000000d03d10403bb92")  # facts.md section 9
HEARTBEAT_1 = bytes.fromhex("fe0900010100050000000d03d104032151")
SIGNED = bytes.fromhex("fd090100000101000000050000000d03d104035c6a000100000000001dea10a94bd0")
NUMBERS = list(MESSAGES)


def raw_frame(
    number: int, payload: bytes, *, version: int = 2, sequence: int = 0, extra: int | None = None
) -> bytes:
    """Return a frame of system 9 by hand, as the serialization guide has it."""
    if extra is None:
        extra = MESSAGES[number].crc_extra
    if version == 1:
        body = bytes([len(payload), sequence, 9, 1, number]) + payload
    else:
        body = bytes([len(payload), 0, 0, sequence, 9, 1]) + number.to_bytes(3, "little") + payload
    crc = crc16.mcrf4xx(body + bytes([extra]))
    return bytes([V1 if version == 1 else V2]) + body + crc.to_bytes(2, "little")


BAD = raw_frame(33, bytes(range(28)), extra=1)
UNKNOWN_FRAME = raw_frame(0x7FFFFF, b"\1\2\3", extra=1)


def fed(pieces: Iterable[bytes]) -> tuple[list[Frame], tuple[int, int, int]]:
    framer = Framer()
    frames = [frame for piece in pieces for frame in framer.feed(piece)]
    return frames, (framer.garbage_bytes, framer.bad_checksum, framer.unknown)


def cut(data: bytes, chance: random.Random) -> list[bytes]:
    pieces = []
    while data:
        size = chance.choice([1, 2, 7, 17, 40, 300])
        pieces.append(data[:size])
        data = data[size:]
    return pieces


PIECES = st.one_of(
    st.sampled_from(
        [HEARTBEAT, HEARTBEAT_1, SIGNED, BAD, UNKNOWN_FRAME, HEARTBEAT[:9], SIGNED[5:], b"\xfd", b"\xfe"]
    ),
    st.binary(max_size=40),
    st.lists(st.sampled_from([0xFD, 0xFE, 0, 1, 9, 255]), max_size=12).map(bytes),
)


@given(st.lists(PIECES, max_size=12).map(b"".join), st.integers(0, 1 << 32))
@example(HEARTBEAT[:-1], 0)
@example(BAD, 0)
@example(BAD + HEARTBEAT, 0)
@example(b"\xfe\xff" + HEARTBEAT * 20, 0)
def test_chunks_do_not_matter(data: bytes, seed: int) -> None:
    whole = fed([data])
    assert fed(data[i : i + 1] for i in range(len(data))) == whole
    assert fed(cut(data, random.Random(seed))) == whole
    assert fed([b"", data, b""]) == whole


@given(st.lists(PIECES, max_size=12).map(b"".join))
def test_a_frame_comes_with_the_same_byte_however_the_bytes_before_it_came(data: bytes) -> None:
    # The engine stamps a frame with the time of the call that completed it.
    framer = Framer()
    by_byte = [len(framer.feed(data[i : i + 1])) for i in range(len(data))]
    for end in range(len(data) + 1):
        assert len(fed([data[:end]])[0]) == sum(by_byte[:end])


@pytest.mark.parametrize(("raw", "component"), [(HEARTBEAT, 1), (HEARTBEAT_1, 1), (SIGNED, 1)])
def test_one_whole_frame(raw: bytes, component: int) -> None:
    [frame], counts = fed([raw])
    payload = bytes.fromhex("050000000d03d10403")
    assert frame == (1, component, 0, 0, payload, raw, GOOD)
    assert counts == (0, 0, 0)


def test_interleaved_systems_versions_and_garbage() -> None:
    encoders = [Encoder(1, 1), Encoder(2, 1, version=1), Encoder(255, 190, signing=Signing(bytes(32)))]
    chance = random.Random(3)
    sent: list[bytes] = []
    stream = b""
    garbage = 0
    for _ in range(600):
        raw = chance.choice(encoders).encode("HEARTBEAT", custom_mode=chance.randrange(1 << 32))
        noise = bytes(chance.choices(range(0xFD), k=chance.choice([0, 0, 5])))
        garbage += len(noise)
        sent.append(raw)
        stream += noise + raw
    frames, counts = fed(cut(stream, chance))
    assert [frame[5] for frame in frames] == sent
    assert counts == (garbage, 0, 0)


def test_a_frame_cut_short_costs_only_itself() -> None:
    frames, _ = fed([HEARTBEAT[:-4] + HEARTBEAT_1 + HEARTBEAT * 2])
    assert [frame[5] for frame in frames] == [HEARTBEAT_1, HEARTBEAT, HEARTBEAT]


def test_a_wrong_checksum_counts_as_whole_where_another_frame_follows() -> None:
    # Its sequence number must count (README of the recordings: else 43 % loss).
    frames, counts = fed([BAD, HEARTBEAT])
    assert [(frame[0], frame[3], frame[6]) for frame in frames] == [(9, 33, BAD_CHECKSUM), (1, 0, GOOD)]
    assert counts == (0, 1, 0)


def test_an_unknown_message_counts_as_whole_where_another_frame_follows() -> None:
    frames, counts = fed([UNKNOWN_FRAME, HEARTBEAT_1])
    assert [(frame[0], frame[3], frame[6]) for frame in frames] == [(9, 0x7FFFFF, UNKNOWN), (1, 0, GOOD)]
    assert counts == (0, 0, 1)


def test_a_wrong_checksum_is_held_until_the_next_byte() -> None:
    framer = Framer()
    assert framer.feed(BAD) == []
    [frame] = framer.feed(HEARTBEAT[:1])
    assert frame[5:] == (BAD, BAD_CHECKSUM)
    [frame] = framer.feed(HEARTBEAT[1:])
    assert frame[5:] == (HEARTBEAT, GOOD)


def test_a_wrong_checksum_before_anything_else_is_no_frame() -> None:
    frames, counts = fed([BAD + b"\x00" + HEARTBEAT])
    assert [frame[5] for frame in frames] == [HEARTBEAT]
    assert counts == (len(BAD) + 1, 0, 0)


def test_a_damaged_length_does_not_swallow_the_frames_behind_it() -> None:
    # The damaged length ends just where another frame begins, which makes it look true.
    longer = bytearray(HEARTBEAT)
    longer[1] += len(HEARTBEAT)
    frames, counts = fed([bytes(longer) + HEARTBEAT * 3])
    assert [frame[5] for frame in frames] == [HEARTBEAT] * 3
    assert counts == (len(longer), 0, 0)


@pytest.mark.parametrize("flags", [0x02, 0x03, 0x80, 0xFF])
def test_an_unknown_incompatibility_flag_is_discarded(flags: int) -> None:
    # Serialization guide: a receiver must discard a packet whose incompat_flags it does not understand.
    body = bytes([9, flags, 0, 0, 1, 1, 0, 0, 0]) + bytes.fromhex("050000000d03d10403")
    raw = b"\xfd" + body + crc16.mcrf4xx(body + bytes([50])).to_bytes(2, "little")
    frames, counts = fed([raw, HEARTBEAT])
    assert [frame[5] for frame in frames] == [HEARTBEAT]
    assert counts == (len(raw), 0, 0)


def test_an_unknown_compatibility_flag_is_taken() -> None:
    body = bytes([9, 0, 0xFF, 0, 1, 1, 0, 0, 0]) + bytes.fromhex("050000000d03d10403")
    raw = b"\xfd" + body + crc16.mcrf4xx(body + bytes([50])).to_bytes(2, "little")
    assert [frame[6] for frame in fed([raw])[0]] == [GOOD]


@pytest.mark.parametrize("false", [b"\xfd", b"\xfe", b"\xfd\xff\x01", b"\xfe\xff", b"\xfd\xff\x00" + bytes(60)])
def test_a_false_beginning_holds_back_no_more_than_the_longest_frame(false: bytes) -> None:
    framer = Framer()
    framer.feed(false)
    held = len(false)
    while not framer.feed(HEARTBEAT):
        held += len(HEARTBEAT)
    assert held <= LONGEST


def test_the_buffer_is_bounded() -> None:
    chance = random.Random(5)
    framer = Framer()
    for _ in range(300):
        framer.feed(bytes(chance.choices([0xFD, 0xFE, 0, 1, 255, 9], k=700)))
        assert len(framer._buffer) <= LONGEST


def test_a_large_call_is_taken_whole() -> None:
    frames, counts = fed([HEARTBEAT * 100_000])
    assert len(frames) == 100_000
    assert counts == (0, 0, 0)


def test_signed_and_damaged() -> None:
    damaged = bytearray(SIGNED)
    damaged[12] ^= 1
    frames, counts = fed([bytes(damaged) + SIGNED])
    assert [frame[6] for frame in frames] == [BAD_CHECKSUM, GOOD]
    assert counts == (0, 1, 0)


def _mutated(chance: random.Random) -> bytes:
    kind = chance.randrange(5)
    if kind == 0:
        return chance.randbytes(chance.randrange(60))
    if kind == 1:
        return bytes(chance.choices([0xFD, 0xFE, 0, 1, 9, 255], k=chance.randrange(60)))
    number = chance.choice(NUMBERS)
    version = 1 if number < 256 and chance.random() < 0.5 else 2
    raw = bytearray(raw_frame(number, chance.randbytes(chance.randrange(1, 256)), version=version))
    stamp = chance.choice([b"", bytes(8), chance.randbytes(8), (1_700_000_000_000_000).to_bytes(8, "big")])
    if kind == 2:
        return stamp + raw  # right by its checksum, of any length and content
    for _ in range(chance.randrange(1, 4)):
        raw[chance.randrange(len(raw))] = chance.randrange(256)
    if kind == 3:
        del raw[chance.randrange(len(raw)) :]
    return stamp + raw


def test_100_000_random_and_mutated_inputs_raise_nothing() -> None:
    chance = random.Random(2026)
    framer, reader, tracker = Framer(), RecordingReader(), SequenceTracker()
    good = records = 0
    for _ in range(100_000):
        data = _mutated(chance)
        for frame in framer.feed(data):
            tracker.receive(frame[2])
            if frame[3] in MESSAGES:
                good += frame[6] == GOOD
                unpack(frame[3], frame[4])
                named(frame[3], frame[4])
        records += len(reader.feed(data))
        assert len(framer._buffer) <= LONGEST
        assert reader.end() <= LONGEST + 16
    assert good > 10_000
    assert records > 1_000
