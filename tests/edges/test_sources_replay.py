"""Streams that were cut: torn frames are not glued, live equals replay, and nothing in the code could write."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.conftest import ROOT
from tests.edges.source_parts import Device, Gathered, Peer, heartbeats, running
from tests.edges.test_live_and_replay import LiveWatch, flight, replay
from watchkeeper.alerts.events import AlertChange
from watchkeeper.edges.clock import Clock
from watchkeeper.edges.records.folder import open_recording
from watchkeeper.edges.records.wrapping import log_records, unwrapped
from watchkeeper.edges.sources.urls import make_source, parse_source
from watchkeeper.engine import Engine
from watchkeeper.link.encode import Encoder
from watchkeeper.link.framing import GOOD, Framer
from watchkeeper.link.recording import RecordingReader
from watchkeeper.resources import shipped_rules
from watchkeeper.rules.load import RuleSet, load_packs


@pytest.fixture(scope="module")
def rules() -> RuleSet:
    return load_packs(
        [(str(path), path.read_text(encoding="utf-8")) for path in sorted(shipped_rules().glob("*.yaml"))]
    )


def test_what_comes_after_a_cut_does_not_go_on_with_what_came_before() -> None:
    frames = heartbeats(2)
    torn = bytes([0xFE, len(frames[0]) + len(frames[1]) // 2])  # claims more than the first frame
    framer = Framer()
    framer.feed(torn)
    held = framer.feed(frames[0])
    assert held == []  # the first frame waits for the end of what was torn
    framer = Framer()
    framer.feed(torn)
    framer.cut()
    assert framer.garbage_bytes == len(torn)
    assert [frame[6] for frame in framer.feed(frames[0])] == [GOOD]


def test_a_call_without_bytes_is_a_cut(rules: RuleSet) -> None:
    frame = b"".join(heartbeats(5))
    torn = bytes([0xFE, 200])
    engine = Engine(rules)
    engine.receive("a", torn, 1.0)
    engine.receive("b", torn, 1.0)
    engine.receive("a", b"", 1.1)
    engine.receive("a", frame, 1.2)
    assert engine.systems() == [42]
    engine = Engine(rules)
    engine.receive("b", torn, 1.0)
    engine.receive("a", b"", 1.1)  # another source's cut is none of its business
    engine.receive("b", frame, 1.2)
    assert engine.systems() == []


def test_a_log_keeps_a_cut() -> None:
    kept = b"".join(log_records(b"", 5_000_000, Encoder(0, 0)))
    assert [(us, unwrapped(raw)) for us, raw in RecordingReader().feed(kept)] == [(5_000_000, b"")]


class Fed:
    """Gives a watch what a source delivers, a fiftieth of a second apart."""

    def __init__(self, watch: LiveWatch) -> None:
        self.watch = watch
        self.got = Gathered()

    def received(self, source: str, data: bytes, now_s: float) -> None:
        self.watch.at(self.watch.now_us + 20_000)
        self.watch.receive(source, data)
        self.got.received(source, data, now_s)


def pieces(telemetry: Iterator[bytes], count: int) -> Iterator[bytes]:
    """Yield telemetry in pieces that end within frames, the last one within a frame as well."""
    whole = b"".join(next(telemetry) for _ in range(count))[:-5]
    for at in range(0, len(whole), 37):
        yield whole[at : at + 37]


def lost_and_found(watch: LiveWatch) -> list[tuple[str, str]]:
    return [
        (one.rule, one.change.value)
        for one in watch.happenings
        if isinstance(one, AlertChange) and one.rule == "link-lost"
    ]


def check(rules: RuleSet, watch: LiveWatch, folder: Path, name: str) -> None:
    watch.stop()
    assert lost_and_found(watch)[:2] == [("link-lost", "raised"), ("link-lost", "cleared")]
    recording = open_recording(folder)
    assert recording.sources == [name]
    assert sum(event.source == name and not event.data for event in recording.events()) == 3
    assert replay(rules, folder) == watch.lines


async def test_live_equals_replay_over_tcp(
    rules: RuleSet, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("watchkeeper.edges.sources.stream_health.FIRST_PAUSE_S", 0.0)
    fed, telemetry, peer = Fed(LiveWatch(rules, tmp_path)), flight(42), Peer()
    url = parse_source(f"tcp://127.0.0.1:{peer.port}")
    async with running(make_source(url, Clock(), fed.received, fed.got.report)):
        for part in range(4):
            with await peer.accept() as connection:
                for piece in pieces(telemetry, 30):
                    connection.sendall(piece)
                    have = len(fed.got.data) + len(piece)
                    await fed.got.when(lambda have=have: len(fed.got.data) >= have)  # type: ignore[misc]
                if part == 3:
                    break
            await fed.got.when(lambda part=part: fed.got.cuts == part + 1)  # type: ignore[misc]
            fed.watch.at(fed.watch.now_us + 6_000_000 * part)
    peer.close()
    check(rules, fed.watch, tmp_path, url.text)


async def test_live_equals_replay_over_a_serial_port(
    rules: RuleSet, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("watchkeeper.edges.sources.stream_health.FIRST_PAUSE_S", 0.0)
    monkeypatch.setattr("watchkeeper.edges.sources.stream_health.LONGEST_PAUSE_S", 0.01)
    (folder := tmp_path / "record").mkdir()
    device = Device(tmp_path / "radio")
    fed, telemetry = Fed(LiveWatch(rules, folder)), flight(42)
    url = parse_source(f"serial://{device.link}")
    device.plug()
    async with running(make_source(url, Clock(), fed.received, fed.got.report)):
        for part in range(4):
            await device.taken()
            for piece in pieces(telemetry, 30):
                await device.send(piece)
                have = len(fed.got.data) + len(piece)
                await fed.got.when(lambda have=have: len(fed.got.data) >= have)  # type: ignore[misc]
            if part == 3:
                break
            device.unplug()
            await fed.got.when(lambda part=part: fed.got.cuts == part + 1)  # type: ignore[misc]
            fed.watch.at(fed.watch.now_us + 6_000_000 * part)
            device.plug()
    device.unplug()
    check(rules, fed.watch, folder, url.text)


def test_no_source_calls_anything_that_writes() -> None:
    writes = {
        "write", "writelines", "write_eof", "send", "sendall", "sendto", "sendmsg", "sendfile", "send_break",
        "sock_sendall", "sock_sendto", "sock_sendfile", "shutdown", "flush", "dtr", "rts", "setDTR", "setRTS",
    }  # fmt: skip
    edges = ROOT / "watchkeeper" / "edges"
    paths = [edges / "aside.py", *sorted((edges / "sources").glob("*.py"))]
    assert len(paths) == 11
    for path in paths:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        used = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
        assert not used & writes, path.name
