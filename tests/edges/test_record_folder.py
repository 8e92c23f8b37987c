"""What is recorded is what is replayed: every byte of every call, at its time, in its order."""

from __future__ import annotations

import asyncio
import json
import os
import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.conftest import RequireData
from watchkeeper.alerts.events import Happening, Level, Order
from watchkeeper.edges.records.folder import Event, Recording, open_recording
from watchkeeper.edges.records.recorder import MAX_WAITING_BYTES, Recorder, prepare_folder
from watchkeeper.edges.records.wrapping import WRAPPED, log_records, whole_frames
from watchkeeper.errors import BadInputError
from watchkeeper.link.encode import Encoder
from watchkeeper.link.framing import GOOD, Frame, Framer
from watchkeeper.link.recording import RecordingReader, record

START_US = 1_777_887_000_000_000


def no_report(part: str, ok: bool, text: str) -> None:
    raise AssertionError((part, ok, text))


def heartbeat(n: int = 0, system: int = 42, version: int = 2) -> bytes:
    return Encoder(system, 1, version).encode("HEARTBEAT", custom_mode=n, type=2, autopilot=3)


def damaged(n: int = 0) -> bytes:
    return heartbeat(n)[:-1] + bytes([heartbeat(n)[-1] ^ 0xFF])


def foreign(n: int) -> bytes:
    """Return a whole MAVLink 2 frame of a message that nobody knows."""
    return bytes([0xFD, 3, 0, 0, n & 0xFF, 9, 1, 0xF0, 0xFF, 0x7E, 1, 2, n & 0xFF, 0xAA, 0xBB])


class FramesSeen:
    """Stands for the engine: keeps which frames come out of which source at which time."""

    def __init__(self) -> None:
        self.seen: list[tuple[float, str, Frame | Order | None]] = []
        self._framers: dict[str, Framer] = {}

    def receive(self, source: str, data: bytes, now_s: float) -> list[Happening]:
        framer = self._framers.setdefault(source, Framer())
        self.seen += [(now_s, source, frame) for frame in framer.feed(data)]
        return []

    def order(self, order: Order, now_s: float) -> list[Happening]:
        self.seen.append((now_s, "", order))
        return []

    def tick(self, now_s: float) -> list[Happening]:
        self.seen.append((now_s, "", None))
        return []


def replayed(recording: Recording) -> FramesSeen:
    player = FramesSeen()
    for event in recording.events():
        event.into(player)
    return player


def hostile_call(chance: random.Random) -> bytes:
    """Return what one datagram may hold: whole frames, cut, damaged, foreign, noise, our own wrapper."""
    n = chance.randrange(256)
    kinds = [
        heartbeat(n),
        heartbeat(n, version=1),
        heartbeat(n) + heartbeat(n + 1),
        heartbeat(n)[: chance.randrange(1, 20)],
        heartbeat(n)[chance.randrange(1, 20) :],
        damaged(n),
        damaged(n) + heartbeat(n),
        damaged(n) + b"\xfe\x09",
        foreign(n),
        foreign(n) + foreign(n),
        chance.randbytes(chance.randrange(1, 400)),
        b"\xfe" * chance.randrange(1, 40),
        b"\xfd\x00\x00" * chance.randrange(1, 40),
        Encoder(0, 0).encode("TUNNEL", payload_type=WRAPPED, payload_length=2, payload=[1, 2]),
        Encoder(7, 1).encode("TUNNEL", payload_type=WRAPPED, payload_length=2, payload=[1, 2]),
        bytes(chance.randrange(1, 20)),
    ]
    return chance.choice(kinds)


@pytest.mark.parametrize("seed", range(20))
def test_a_replay_gives_the_same_frames_at_the_same_times_as_the_live_watch(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    live = FramesSeen()
    now_us = START_US + chance.randrange(1_000_000)
    recorder = Recorder(tmp_path, no_report, now_us)
    live.tick(now_us / 1e6)
    for _ in range(400):
        now_us += chance.randrange(1, 200_000)
        kind = chance.random()
        if kind < 0.05:
            order = Order("acknowledge", "return-now", 42, "pilot", minutes=chance.random(), level=Level.WARNING)
            live.order(order, now_us / 1e6)
            recorder.ordered(order, now_us)
        else:
            source = chance.choice(["udp://127.0.0.1:14570", "udp://127.0.0.1:14570#2", "udp://[::1]:14571"])
            data = hostile_call(chance)
            live.receive(source, data, now_us / 1e6)
            recorder.received(source, data, now_us)
    now_us += 1
    live.tick(now_us / 1e6)
    recorder.close(now_us)
    recording = open_recording(tmp_path)
    assert replayed(recording).seen == live.seen
    assert recording.remarks() == []
    assert {frame[6] for _, _, frame in live.seen if isinstance(frame, tuple)} == {0, 1, 2}


@given(st.binary(min_size=1, max_size=600), st.integers(min_value=0, max_value=(1 << 52) - 1))
def test_every_byte_of_a_call_survives_in_its_log(data: bytes, time_us: int) -> None:
    reader = RecordingReader()
    log = b"".join(log_records(data, time_us, Encoder(0, 0))) + record(time_us, heartbeat())
    records = reader.feed(log)
    assert reader.skipped_bytes == reader.end() == 0
    assert {us for us, _ in records} == {time_us}
    frames = whole_frames(data)
    if frames is not None:
        assert b"".join(frames) == data
        assert [raw for _, raw in records[:-1]] == frames
    else:
        framer = Framer()
        assert all(framer.feed(raw)[0][6] == GOOD for _, raw in records)


def test_an_ordinary_reader_finds_ordinary_frames(tmp_path: Path) -> None:
    # the format: 8 bytes of big-endian microseconds, then the frame
    recorder = Recorder(tmp_path, no_report, START_US)
    recorder.received("a", heartbeat(1) + heartbeat(2), START_US + 5)
    recorder.close(START_US + 6)
    stamp = (START_US + 5).to_bytes(8, "big")
    assert (tmp_path / "source-1.tlog").read_bytes() == stamp + heartbeat(1) + stamp + heartbeat(2)


def test_the_folder_says_what_it_holds(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path, no_report, START_US, station="ridge")
    recorder.received("udp://127.0.0.1:14570", heartbeat(), START_US + 1)
    recorder.received("udp://127.0.0.1:14570", heartbeat(), START_US + 1_000_000)
    recorder.ticked(START_US + 1_500_000)  # within a second of the last entry: not worth a line
    recorder.ticked(START_US + 2_000_000)
    recorder.close(START_US + 2_500_000)
    about = json.loads((tmp_path / "sources.json").read_text())
    assert about["station"] == "ridge"
    assert about["started"] == "2026-05-04T09:30:00.000000Z"
    assert about["sources"] == [
        {
            "name": "udp://127.0.0.1:14570",
            "file": "source-1.tlog",
            "first": "2026-05-04T09:30:00.000001Z",
            "last": "2026-05-04T09:30:01.000000Z",
            "calls": 2,
            "bytes": 2 * len(heartbeat()),
            "dropped_calls": 0,
        }
    ]
    actions = [json.loads(line) for line in (tmp_path / "actions.jsonl").read_text().splitlines()]
    assert actions == [
        {"time_us": START_US, "action": "start"},
        {"time_us": START_US + 2_000_000, "action": "tick"},
        {"time_us": START_US + 2_500_000, "action": "stop"},
    ]


def test_an_empty_or_absent_folder_is_used_and_a_full_one_gets_a_folder_within(tmp_path: Path) -> None:
    folder = tmp_path / "a" / "b"
    assert prepare_folder(folder, START_US) == folder
    assert prepare_folder(folder, START_US) == folder
    (folder / "actions.jsonl").write_text("")
    assert prepare_folder(folder, START_US) == folder / "20260504T093000Z"
    assert prepare_folder(folder, START_US) == folder / "20260504T093000Z-2"


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadInputError, match="cannot record here: Not a directory; name a folder"):
        prepare_folder(tmp_path / "file" / "folder", START_US)


async def test_a_full_disk_is_reported_once_holds_nobody_up_and_tears_nothing(tmp_path: Path) -> None:
    # /dev/full refuses every write as a full disk does (full(4))
    reports: asyncio.Queue[tuple[str, bool, str]] = asyncio.Queue()
    disk = tmp_path / "source-1.tlog"
    disk.symlink_to("/dev/full")
    recorder = Recorder(tmp_path, lambda *said: reports.put_nowait(said), START_US, calm_s=0.0)
    recorder.received("a", heartbeat(1), START_US + 1)
    async with asyncio.timeout(5):
        part, ok, text = await reports.get()
    assert (part, ok) == ("record", False)
    assert "No space left on device" in text
    recorder.received("a", heartbeat(2), START_US + 2)
    (tmp_path / "beside").symlink_to(tmp_path / "roomy")
    (tmp_path / "beside").replace(disk)  # the disk has room again
    async with asyncio.timeout(5):
        assert (await reports.get())[:2] == ("record", True)
    recorder.close(START_US + 3)
    assert (tmp_path / "roomy").read_bytes() == record(START_US + 1, heartbeat(1)) + record(
        START_US + 2, heartbeat(2)
    )


async def test_a_disk_that_hangs_holds_nobody_up_and_what_is_dropped_is_counted(tmp_path: Path) -> None:
    # opening a FIFO that nobody reads hangs as a dead network disk does (fifo(7))
    reports: asyncio.Queue[tuple[str, bool, str]] = asyncio.Queue()
    os.mkfifo(tmp_path / "source-1.tlog")
    recorder = Recorder(tmp_path, lambda *said: reports.put_nowait(said), START_US)
    loop = asyncio.get_running_loop()
    began_s = loop.time()
    piece = bytes(65_000)
    for n in range(MAX_WAITING_BYTES // len(piece) * 2 + 2):
        recorder.received("a", piece, START_US + n)
    assert loop.time() - began_s < 1.0
    async with asyncio.timeout(5):
        assert (await reports.get())[:2] == ("record", False)
    assert recorder._waiting_bytes <= MAX_WAITING_BYTES
    recorder.close(START_US + 99, timeout_s=0.05)
    reader = os.open(tmp_path / "source-1.tlog", os.O_RDONLY | os.O_NONBLOCK)  # lets the hanging thread go
    (tmp_path / "source-1.tlog").unlink()  # what it opens anew is a file
    os.close(reader)
    recorder._thread.join(5)
    assert not recorder._thread.is_alive()


def test_a_single_log_keeps_its_times_steps_back_included(tmp_path: Path) -> None:
    log = tmp_path / "x.tlog"
    log.write_bytes(record(50, heartbeat(1)) + record(10, heartbeat(2)) + record(20, heartbeat(3)))
    assert [*open_recording(log).events()] == [
        Event(50, "recording", heartbeat(1)),
        Event(10, "recording", heartbeat(2)),
        Event(20, "recording", heartbeat(3)),
    ]


def test_logs_are_merged_by_time_then_source_and_a_step_back_does_not_tear_them_apart(tmp_path: Path) -> None:
    a = [(50, 1), (60, 2), (10, 3), (30, 4)]  # steps back by 50: goes on at 60, then 80
    b = [(50, 5), (61, 6), (70, 7)]
    for name, rows in (("one.tlog", b), ("two.tlog", a)):
        (tmp_path / name).write_bytes(b"".join(record(us, heartbeat(n)) for us, n in rows))
    sources = [{"name": "a", "file": "two.tlog"}, {"name": "b", "file": "one.tlog"}]
    (tmp_path / "sources.json").write_text(json.dumps({"sources": sources}))
    (tmp_path / "actions.jsonl").write_text('{"time_us":50,"action":"tick"}\n')
    told = [(event.time_us, event.source, event.data) for event in open_recording(tmp_path).events()]
    assert told == [
        (50, "a", heartbeat(1)),
        (50, "b", heartbeat(5)),
        (50, None, b""),
        (60, "a", heartbeat(2)),
        (60, "a", heartbeat(3)),
        (61, "b", heartbeat(6)),
        (70, "b", heartbeat(7)),
        (80, "a", heartbeat(4)),
    ]


def test_damage_is_passed_over_and_counted(tmp_path: Path) -> None:
    log = record(10, heartbeat(1)) + b"\xff" * 33 + record(20, heartbeat(2)) + record(30, heartbeat(3))[:-4]
    (tmp_path / "source-1.tlog").write_bytes(log)
    (tmp_path / "sources.json").write_text("{" * 5000)
    lines = [
        '{"time_us":15,"action":"tick"}',
        "nonsense",
        '{"time_us":-1,"action":"tick"}',
        "[" * 70_000,
        '{"time_us"',
    ]
    (tmp_path / "actions.jsonl").write_text("\n".join(lines))
    recording = open_recording(tmp_path)
    events = [*recording.events()]
    assert [(event.time_us, event.source) for event in events] == [
        (10, "source-1"),
        (15, None),
        (20, "source-1"),
    ]
    assert recording.skipped_bytes == {"source-1": 33}
    assert recording.cut_off == ["source-1"]
    assert recording.skipped_lines == 4
    assert any("sources.json: damaged" in remark for remark in recording.remarks())
    assert any("damaged bytes passed over" in remark for remark in recording.remarks())


@pytest.mark.parametrize("name", ["../secret.tlog", "/etc/passwd", "", ".", "..", "a/b.tlog", "x\0y", "a\nb"])
def test_a_folder_cannot_name_files_elsewhere(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    for place in (tmp_path / "secret.tlog", folder / "fine.tlog"):
        place.write_bytes(record(1, heartbeat()))
    sources = [{"name": "evil", "file": name}, {"name": "good", "file": "fine.tlog"}]
    (folder / "sources.json").write_text(json.dumps({"sources": sources}))
    recording = open_recording(folder)
    assert recording.sources == ["good"]
    assert [event.source for event in recording.events()] == ["good"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (None, "no such recording; name a telemetry log, or a folder of --record"),
        (b"", "is empty; name a telemetry log with frames in it"),
        (b"just some text, no telemetry in it at all\n" * 50, "is not a telemetry log"),
        (bytes(100_000), "is not a telemetry log"),
    ],
)
def test_what_is_no_recording_is_said(tmp_path: Path, content: bytes | None, says: str) -> None:
    path = tmp_path / "x"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(BadInputError) as caught:
        open_recording(path)
    assert str(caught.value).startswith(f"{path}: {says}")


def test_an_empty_folder_is_no_recording_and_one_within_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadInputError, match="holds no recording; name a telemetry log"):
        open_recording(tmp_path)
    within = prepare_folder(tmp_path / "later", START_US)
    Recorder(within, no_report, START_US).close(START_US + 1)
    with pytest.raises(BadInputError, match="name the folder within: later"):
        open_recording(tmp_path)
    assert [event.time_us for event in open_recording(within).events()] == [START_US, START_US + 1]


def test_a_real_recording_is_read_whole(require_data: RequireData) -> None:
    # 1 314 whole frames of system 255 with a checksum that does not fit (facts of the recording)
    recording = open_recording(require_data("flights/quad-3s-five-flights.tlog"))
    player = replayed(recording)
    damaged_frames = [frame for _, _, frame in player.seen if isinstance(frame, tuple) and frame[6] != GOOD]
    assert len([frame for frame in damaged_frames if frame[0] == 255]) == 1314
    assert recording.remarks() == ["recording: ends within a frame"]  # 19 bytes of its last record are there
