"""Real recordings give what pymavlink gives: the same messages, and no loss from frames of unknown CRC_EXTRA."""

from __future__ import annotations

import math
import os
import random
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from watchkeeper.link.decode import named
from watchkeeper.link.framing import BAD_CHECKSUM, GOOD, Frame, Framer
from watchkeeper.link.recording import RecordingReader
from watchkeeper.link.sequence import SequenceTracker

if TYPE_CHECKING:
    from tests.conftest import RequireData

FLIGHTS = ["quad-3s-five-flights", "quad-radio-a", "quad-radio-b", "quad-radio-c", "quad-return-61m"]
FIVE = FLIGHTS[0]


def by_pymavlink(path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    for name, value in {**os.environ, "MAVLINK20": "1", "MAVLINK_DIALECT": "all"}.items():
        monkeypatch.setenv(name, value)  # mavutil sets its own as it is imported; undone after the test
    from pymavlink import mavutil  # noqa: PLC0415 (reads the environment as it is imported)

    log = mavutil.mavlink_connection(str(path), dialect="all")
    messages = []
    while (message := log.recv_match()) is not None:
        messages.append(message)
    log.close()
    return messages


def by_ours(path: Path) -> list[tuple[int, Frame]]:
    framer = Framer()
    return [
        (time_us, frame)
        for time_us, raw in RecordingReader().feed(path.read_bytes())
        for frame in framer.feed(raw)
    ]


def same(ours: Any, theirs: Any) -> bool:
    if isinstance(ours, float) and isinstance(theirs, float) and math.isnan(ours):
        return math.isnan(theirs)
    return bool(ours == theirs)


@pytest.mark.parametrize("flight", FLIGHTS)
def test_same_messages_as_pymavlink(
    flight: str, require_data: RequireData, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = require_data(f"flights/{flight}.tlog")
    theirs = by_pymavlink(path, monkeypatch)
    ours = by_ours(path)
    good = [(time_us, frame) for time_us, frame in ours if frame[6] == GOOD]
    whole = [message for message in theirs if message.get_type() != "BAD_DATA"]
    assert len(ours) == len(theirs)
    assert [(f[0], f[1], f[2], f[3]) for _, f in good] == [
        (m.get_srcSystem(), m.get_srcComponent(), m.get_seq(), m.get_msgId()) for m in whole
    ]
    for (time_us, frame), message in zip(good, whole, strict=True):
        assert abs(time_us / 1e6 - message._timestamp) < 1e-5
        if frame[2] % 8 == 0:  # the values of one in eight, to save time
            for name, value in named(frame[3], frame[4]).items():
                assert same(value, getattr(message, name, 0)), (message.get_type(), name)


def test_frames_of_unknown_crc_extra_count_but_are_no_loss(require_data: RequireData) -> None:
    # README of the recordings: 1 314 whole frames from system 255 fail CRC_EXTRA
    ours = by_ours(require_data(f"flights/{FIVE}.tlog"))
    statuses = Counter((frame[0], frame[6]) for _, frame in ours)
    assert statuses[255, BAD_CHECKSUM] == 1314
    assert sum(count for (_, status), count in statuses.items() if status != GOOD) == 1314
    trackers: dict[tuple[int, int], SequenceTracker] = {}
    for _, frame in ours:
        trackers.setdefault((frame[0], frame[1]), SequenceTracker()).receive(frame[2])
    station = trackers[255, 0]
    assert (station.received, station.lost, station.restarts) == (3074, 0, 0)
    # README: a reboot on the ground. The radio (51) sends two messages under one number.
    assert trackers[1, 1].restarts == 1
    assert (trackers[51, 68].duplicates, trackers[51, 68].received) == (1370, 2740)


@pytest.mark.parametrize("flight", FLIGHTS)
def test_chunks_do_not_matter(flight: str, require_data: RequireData) -> None:
    path = require_data(f"flights/{flight}.tlog")
    log = path.read_bytes()[:400_000]
    chance = random.Random(flight)
    reader, framer = RecordingReader(), Framer()
    frames = []
    at = 0
    while at < len(log):
        size = chance.choice([1, 5, 64, 4000])
        for time_us, raw in reader.feed(log[at : at + size]):
            middle = chance.randrange(len(raw) + 1)
            for part in (raw[:middle], raw[middle:]):
                frames += [(time_us, frame) for frame in framer.feed(part)]
        at += size
    assert frames == by_ours(path)[: len(frames)]
    assert len(frames) > 3000
    assert reader.skipped_bytes == framer.garbage_bytes == 0
