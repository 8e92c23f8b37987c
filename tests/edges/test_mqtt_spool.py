"""Messages that outlast the watch, on real files: written before they are sent, whatever the disk does."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from tests.conftest import ROOT
from tests.edges.mqtt_parts import START_US
from tests.edges.spool_parts import TOPICS, WRITER, Desk, event
from watchkeeper.alerts.events import AlertChange, Change, Happening, Refusal, RoutineCall, State
from watchkeeper.edges.mqtt import spool as mqtt_spool
from watchkeeper.edges.mqtt.outbox import Waiting
from watchkeeper.edges.mqtt.spool import AGAIN
from watchkeeper.edges.mqtt.spool_file import lock_beside, spool_file
from watchkeeper.edges.mqtt.spool_lines import Kept


def test_put_returns_when_the_file_has_it_and_what_is_done_is_gone(desk: Desk) -> None:
    spool = desk.open()
    assert spool.collect() == Kept()
    first, second = event("a"), event("b")
    spool.put(first)
    assert desk.left() == [first.payload]
    spool.put(second)
    assert spool.safe(second)
    spool.done([first])
    spool.close(5)
    assert desk.left() == [second.payload]
    assert desk.path.stat().st_mode & 0o077 == 0
    assert desk.reports == []


def test_everything_comes_back_as_it_was_in_order(desk: Desk) -> None:
    spool = desk.open()
    said = RoutineCall(START_US, 0, 42, "armed", "Armed.", {"battery.voltage": 22.5})
    refusal = Refusal(START_US + 1, 0, None, "x", "shelve", "not in flight", "pilot")
    messages = [
        event("a"),
        Waiting(TOPICS.under(42, "callout"), WRITER.callout(said, START_US).to_json(), 0,
                START_US + 30_000_000, said, "callout"),
        Waiting(TOPICS.under(None, "event"), WRITER.refusal(refusal, START_US).to_json(), 1, item=refusal),
        event("b"),
    ]  # fmt: skip
    for one in messages:
        spool.put(one)
    spool.close(5)
    kept = desk.open().collect()
    assert kept is not None
    for before, after in zip(messages, kept.waiting, strict=True):
        names = ("topic", "payload", "urgency", "valid_until_us", "kind", "alert", "stands")
        assert [getattr(before, name) for name in names] == [getattr(after, name) for name in names]
    items: list[Happening | None] = [one.item for one in kept.waiting]
    assert items[1:3] == [said, refusal]
    assert isinstance(items[0], AlertChange)
    assert (items[0].time_us, items[0].rule, items[0].change) == (START_US, "a", Change.RAISED)


def test_what_stood_is_known_though_its_events_were_answered(desk: Desk) -> None:
    spool = desk.open()
    for one in (raised := event("a"), over := event("b"), end := event("b", State.NORMAL)):
        spool.put(one)
    spool.done([raised, over, end])
    spool.close(5)
    for _ in range(2):  # once from the journal, once from the file that was written anew
        spool = desk.open()
        kept = spool.collect()
        assert kept is not None
        assert kept.waiting == []
        assert [*kept.standing] == [TOPICS.state(42, "a")]
        spool.close(5)
    assert json.loads(desk.path.read_bytes().splitlines()[1])["stands"]["rule"] == "a"


def test_the_file_stays_small_however_much_goes_through(desk: Desk) -> None:
    spool = desk.open()
    largest = 0
    for number in range(4000):
        one = event(f"rule-{number % 7}", State.NORMAL)
        spool.put(one)
        spool.done([one])
        if number % 100 == 0:
            largest = max(largest, desk.path.stat().st_size)
    assert 500_000 < largest < 1_300_000  # written anew at a megabyte; without that 2.5 megabytes
    spool.close(5)
    assert desk.left() == []


def test_two_watches_do_not_share_a_file(desk: Desk) -> None:
    first = desk.open()
    old = event("old")
    first.put(old)
    second = desk.open()
    assert desk.reports == [(False, "Messages kept in memory only. Another watch has this outbox.")]
    assert second.collect() is None
    new = event("new")
    second.put(new)
    assert second.safe(new)  # it goes out all the same
    assert not second.sound()
    assert desk.left() == [old.payload]
    first.close(5)  # and when the first has ended, its messages are the second's
    desk.until(lambda: len(desk.reports) == 2)
    kept = second.collect()
    assert kept is not None
    assert [one.payload for one in kept.waiting] == [old.payload]
    assert desk.left() == [old.payload, new.payload]
    assert desk.reports[1] == (True, AGAIN)


HOLDER = """
import sys
from pathlib import Path
from watchkeeper.edges.mqtt.spool_file import lock_beside
lock_beside(Path(sys.argv[1]))
print(flush=True)
sys.stdin.read()
"""


def test_a_lock_ends_with_its_process(desk: Desk) -> None:
    desk.folder.mkdir()
    holder = subprocess.Popen(
        [sys.executable, "-c",
         HOLDER, str(desk.path)],
        cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip
    with holder:
        assert holder.stdout is not None
        holder.stdout.readline()
        with pytest.raises(BlockingIOError):
            lock_beside(desk.path)
        holder.send_signal(signal.SIGKILL)
        holder.wait(10)
    os.close(lock_beside(desk.path))


def test_a_full_disk_is_said_and_its_end_too(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    spool = desk.open()
    spool.put(event("before"))
    real, full = os.write, True

    def write(fd: int, data: bytes) -> int:
        if full and threading.current_thread().name == "mqtt-spool":
            real(fd, data[:20])  # half a line gets through
            raise OSError(28, "No space left on device")
        return real(fd, data)

    monkeypatch.setattr(os, "write", write)
    monkeypatch.setattr(mqtt_spool, "write_whole", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left")))
    one = event("one")
    spool.put(one)
    desk.until(lambda: bool(desk.reports))
    assert desk.reports == [(False, "Messages kept in memory only. No space left on device.")]
    assert spool.safe(one)
    assert not spool.sound()
    assert [json.loads(payload)["rule"] for payload in desk.left()] == ["before"]  # half a line is none
    full = False
    monkeypatch.undo()
    monkeypatch.setattr(mqtt_spool, "_CALM_S", 0.0)
    desk.until(lambda: len(desk.reports) == 2)
    assert desk.reports[1] == (True, AGAIN)
    assert [json.loads(payload)["rule"] for payload in desk.left()] == ["before", "one"]


def test_a_disk_that_hangs_holds_nobody_up(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    spool = desk.open()
    spool.put(event("before"))
    hanging, go_on, real = threading.Event(), threading.Event(), os.write

    def hang(fd: int, data: bytes) -> int:
        if threading.current_thread().name == "mqtt-spool":
            hanging.set()
            go_on.wait(30)
        return real(fd, data)

    monkeypatch.setattr(os, "write", hang)
    monkeypatch.setattr(mqtt_spool, "HAND_OVER_S", 0.05)
    one = event("one")
    spool.put(one)
    assert hanging.wait(5)
    assert not spool.safe(one)  # not yet: the operating system does not have it
    monkeypatch.setattr(mqtt_spool, "SLOW_S", 0.0)
    later = [event(f"rule-{number}") for number in range(1000)]
    assert spool.safe(one)
    assert desk.reports == [(False, "Messages kept in memory only. Disk slow.")]
    for message in later:
        spool.put(message)  # would be 50 s if each waited
    monkeypatch.setattr(mqtt_spool, "SLOW_S", 60.0)
    monkeypatch.setattr(mqtt_spool, "_CALM_S", 0.0)
    go_on.set()
    desk.until(lambda: len(desk.reports) == 2)
    spool.close(5)
    assert len(desk.left()) == 1002


def test_a_folder_that_cannot_be_is_said_and_nothing_else_suffers(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("a file, where a folder should be")
    desk = Desk(tmp_path / "state")
    spool = desk.open()
    one = event()
    spool.put(one)
    assert spool.safe(one)
    desk.close()
    assert [ok for ok, _ in desk.reports] == [False]


def test_a_file_that_is_deleted_is_written_anew(desk: Desk) -> None:
    spool = desk.open()
    first, second = event("a"), event("b")
    spool.put(first)
    desk.path.unlink()
    spool.put(second)
    assert desk.left() == [first.payload, second.payload]


def test_names_of_stations_are_fit_for_files_and_never_the_same(tmp_path: Path) -> None:
    stations = ["ridge", "ridge.real", "../x", "a b", "é" * 60, "\\\x01"]
    names = {spool_file(tmp_path, one, exercise=exercise) for one in stations for exercise in (True, False)}
    assert len(names) == 12
    for path in names:
        assert path.parent == tmp_path
        assert len(path.name) < 240
