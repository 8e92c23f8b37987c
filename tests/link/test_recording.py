"""Telemetry logs: times as pymavlink writes them (facts.md section 9), damage, wrong times."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.link.encode import Encoder
from watchkeeper.link.framing import V1, V2
from watchkeeper.link.recording import DAY_US, RecordingReader, record

START_US = 0x00061B46FEFE4000  # 2024-06-20T00:00Z (facts.md section 9)
SECOND_US = 1_000_000
FUTURE_US = 0xFFFF_FFFF_FFFF_FFF0
Records = list[tuple[int, bytes]]


def frames(count: int, version: int = 2) -> list[bytes]:
    encoder = Encoder(42, 1, version)
    return [encoder.encode("HEARTBEAT", type=13, custom_mode=n) for n in range(count)]


def read(log: bytes, size: int = 1 << 20) -> tuple[Records, RecordingReader]:
    reader = RecordingReader()
    records = [one for at in range(0, len(log), size) for one in reader.feed(log[at : at + size])]
    return records, reader


def stamped(time_us: int, raw: bytes) -> bytes:
    return time_us.to_bytes(8, "big") + raw


def good_log(count: int) -> tuple[Records, bytes]:
    records = [(START_US + n * SECOND_US, raw) for n, raw in enumerate(frames(count))]
    return records, b"".join(record(*one) for one in records)


def test_the_published_time() -> None:
    raw = frames(1)[0]
    assert record(1_718_841_600_000_000, raw) == bytes.fromhex("00061b46fefe4000") + raw


@pytest.mark.parametrize("version", [1, 2])
@pytest.mark.parametrize("size", [1, 7, 1 << 20])
def test_records_come_as_they_were_written(version: int, size: int) -> None:
    records = [(START_US + n * SECOND_US, raw) for n, raw in enumerate(frames(50, version))]
    got, reader = read(b"".join(record(*one) for one in records), size)
    assert got == records
    assert reader.end() == reader.skipped_bytes == reader.wrong_times == 0


def test_several_frames_of_one_time() -> None:
    one, two, three = frames(3)
    short = Encoder(1, 1, version=1).encode("EXTENDED_SYS_STATE")  # 10 bytes, shorter than the head of a record
    got, reader = read(record(START_US, one + two) + record(START_US + 5, three + short))
    assert got == [(START_US, one), (START_US, two), (START_US + 5, three), (START_US + 5, short)]
    assert reader.end() == 0


def test_a_record_cut_off_at_the_end_is_dropped_and_counted() -> None:
    records, log = good_log(5)
    got, reader = read(log[:-3])
    assert got == records[:4]
    assert reader.end() == len(log) // 5 - 3


def test_steps_back_of_the_clock_are_given_as_they_stand() -> None:
    one, two, three = frames(3)
    times = [START_US, START_US - 5 * SECOND_US, START_US - 4 * SECOND_US]
    got, _ = read(b"".join(record(t, raw) for t, raw in zip(times, [one, two, three], strict=True)))
    assert [time_us for time_us, _ in got] == times


@pytest.mark.parametrize("wrong_us", [0, FUTURE_US, START_US + 400 * DAY_US, 12_345])
@pytest.mark.parametrize("size", [1, 13, 1 << 20])
def test_one_wrong_time_takes_the_one_before(wrong_us: int, size: int) -> None:
    records, _ = good_log(6)
    expected = records.copy()
    expected[3] = (records[2][0], records[3][1])
    log = b"".join(stamped(wrong_us if n == 3 else t, raw) for n, (t, raw) in enumerate(records))
    got, reader = read(log, size)
    assert got == expected
    assert (reader.wrong_times, reader.skipped_bytes, reader.end()) == (1, 0, 0)


@pytest.mark.parametrize("wrong_us", [0, FUTURE_US])
def test_a_wrong_first_time_takes_the_next(wrong_us: int) -> None:
    (_, one), (second_us, two) = good_log(2)[0]
    got, reader = read(stamped(wrong_us, one) + record(second_us, two), 1)
    assert got == [(second_us, one), (second_us, two)]
    assert reader.wrong_times == 1


def test_a_log_without_a_clock_stays_at_0() -> None:
    raws = frames(4)
    got, reader = read(b"".join(stamped(0, raw) for raw in raws))
    assert got == [(0, raw) for raw in raws]
    assert reader.end() == 0


def test_damage_in_a_log_without_a_clock() -> None:
    raws = frames(4)
    got, reader = read(b"".join(stamped(0, raw) + b"\xff" * 5 * (n == 1) for n, raw in enumerate(raws)))
    assert got == [(0, raw) for raw in raws]
    assert reader.skipped_bytes == 5


def test_a_clock_that_is_set_during_the_log_is_followed() -> None:
    # A computer without a battery for its clock begins in 1970 until it hears the time.
    raws = frames(6)
    times = [SECOND_US, 2 * SECOND_US, 3 * SECOND_US, START_US, START_US + SECOND_US, START_US + 2 * SECOND_US]
    got, reader = read(b"".join(record(t, raw) for t, raw in zip(times, raws, strict=True)), 1)
    assert [time_us for time_us, _ in got] == times
    assert reader.wrong_times == 0


@pytest.mark.parametrize(
    "noise", [b"\xff" * 33, bytes(40), b"\xfd\xfe" * 20, bytes(3), b"\x00\x05" * 9 + b"\xfe\x00"]
)
@pytest.mark.parametrize("size", [1, 1 << 20])
def test_bytes_between_records_are_passed_over_and_counted(noise: bytes, size: int) -> None:
    records, log = good_log(6)
    third = len(log) // 6 * 3
    got, reader = read(log[:third] + noise + log[third:], size)
    assert [one for one in got if one in records] == records
    # A false beginning in the noise may be given out as a frame: its checksum is seen later.
    given = sum(len(raw) for _, raw in got if raw not in frames(6))
    assert reader.skipped_bytes + given == len(noise)


@pytest.mark.parametrize("lost", [1, 8, 9, 20, 29, 30])
def test_bytes_missing_from_a_log_cost_the_records_they_hit(lost: int) -> None:
    records, log = good_log(8)
    size = len(log) // 8
    at = 3 * size + 4
    got, _ = read(log[:at] + log[at + lost :])
    assert got[:3] == records[:3]
    assert got[-3:] == records[-3:]


@given(st.integers(0, 1 << 32), st.integers(1, 40))
def test_chunks_do_not_matter_whatever_the_damage(seed: int, size: int) -> None:
    chance = random.Random(seed)
    log = bytearray(good_log(12)[1])
    for _ in range(chance.randrange(6)):
        at = chance.randrange(len(log))
        kind = chance.randrange(4)
        if kind == 0:
            log[at] = chance.choice([0, V1, V2, chance.randrange(256)])
        elif kind == 1:
            del log[at : at + chance.randrange(40)]
        elif kind == 2:
            log[at:at] = chance.randbytes(chance.randrange(40))
        else:
            log[at:at] = bytes(chance.choices([0, 6, V1, V2], k=20))
    whole, reader = read(bytes(log))
    pieces, other = read(bytes(log), size)
    assert pieces == whole
    assert (other.skipped_bytes, other.wrong_times, other.end()) == (
        reader.skipped_bytes, reader.wrong_times, reader.end(),
    )  # fmt: skip


@pytest.mark.parametrize("time_us", [-1, 1 << 52])
def test_a_time_that_no_reader_takes_is_not_written(time_us: int) -> None:
    with pytest.raises(ValueError, match="out of range"):
        record(time_us, frames(1)[0])
