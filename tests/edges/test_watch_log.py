"""The watch log on real files, a full disk, and a disk that hangs."""

from __future__ import annotations

import asyncio
import json
import os
from pathlib import Path

import pytest

from watchkeeper.alerts.events import AlertChange, Change, Happening, Level, RoutineCall, State
from watchkeeper.edges.records.watch_log import HAND_OVER_S, MAX_WAITING_BYTES, WatchLog, default_folder

NOW_US = 1_777_887_000_000_000
Reports = asyncio.Queue[tuple[str, bool, str]]


def alert(n: int = 0, callout: str = "Warning. Link lost.") -> AlertChange:
    return AlertChange(
        NOW_US + n, n, 42, "link-lost", Level.WARNING, Change.RAISED, State.UNACKNOWLEDGED, callout, "x"
    )


def open_log(folder: Path, reports: Reports | None = None) -> WatchLog:
    def report(part: str, ok: bool, text: str) -> None:
        assert reports is not None, (part, ok, text)
        reports.put_nowait((part, ok, text))

    return WatchLog(folder, report, lambda: NOW_US + 7)


def lines(path: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in path.read_text().splitlines()]


def test_a_decision_has_reached_the_system_when_the_call_returns(tmp_path: Path) -> None:
    log = open_log(tmp_path / "new" / "folder")
    happenings: list[Happening] = [alert(1), RoutineCall(NOW_US, 2, 42, "take-off", "Taking off.")]
    log.decided(happenings)
    assert [line["rule"] for line in lines(log.folder / "decisions.jsonl")] == ["link-lost", "take-off"]
    log.close()


def test_deliveries_say_who_when_and_with_what_outcome(tmp_path: Path) -> None:
    log = open_log(tmp_path)
    log.delivered("voice", alert(), "spoken")
    log.delivered("mqtt", RoutineCall(NOW_US, 2, None, "x", "Words."), "failed", "broker gone")
    log.close()
    first, second = lines(tmp_path / "deliveries.jsonl")
    assert first == {
        "time": "2026-05-04T09:30:00.000007Z",
        "outlet": "voice",
        "outcome": "spoken",
        "detail": "",
        "decided": "2026-05-04T09:30:00.000000Z",
        "aircraft": 42,
        "rule": "link-lost",
        "change": "raised",
    }
    assert (second["outlet"], second["detail"], second["change"]) == ("mqtt", "broker gone", None)


async def test_a_full_disk_is_announced_once_and_nothing_is_lost_when_it_has_room_again(tmp_path: Path) -> None:
    # /dev/full refuses every write as a full disk does (full(4))
    reports = Reports()
    file = tmp_path / "decisions.jsonl"
    file.symlink_to("/dev/full")
    log = open_log(tmp_path, reports)
    log.decided([alert(1)])
    async with asyncio.timeout(5):
        part, ok, _ = await reports.get()
    assert (part, ok) == ("log", False)
    loop = asyncio.get_running_loop()
    began_s = loop.time()
    for n in range(2, 200):
        log.decided([alert(n)])
    assert loop.time() - began_s < 1.0  # known trouble: no more waiting, or this would have taken ten seconds
    (tmp_path / "beside").symlink_to(tmp_path / "roomy")
    (tmp_path / "beside").replace(file)
    async with asyncio.timeout(10):
        assert await reports.get() == ("log", True, "log written again")
    log.close()
    assert [line["elapsed_s"] for line in lines(file)] == [n / 1e6 for n in range(1, 200)]
    assert reports.empty()


async def test_a_disk_that_hangs_holds_speech_up_no_longer_than_stated(tmp_path: Path) -> None:
    # opening a FIFO that nobody reads hangs as a dead network disk does (fifo(7))
    reports = Reports()
    file = tmp_path / "decisions.jsonl"
    os.mkfifo(file)
    log = open_log(tmp_path, reports)
    loop = asyncio.get_running_loop()
    began_s = loop.time()
    log.decided([alert(1)])
    assert HAND_OVER_S * 0.9 <= loop.time() - began_s < HAND_OVER_S + 0.5
    async with asyncio.timeout(5):
        assert await reports.get() == ("log", False, "Log not written in time. Check the disk.")
    long = "x" * 60_000
    for n in range(MAX_WAITING_BYTES // len(long) + 20):
        log.decided([alert(n, long)])
    assert log._waiting_bytes <= MAX_WAITING_BYTES
    assert log._lost[0] > 0
    log.close(timeout_s=0.05)
    reader = os.open(file, os.O_RDONLY | os.O_NONBLOCK)  # lets the hanging thread go; what it opens anew is a file
    file.unlink()
    os.close(reader)
    for thread in log._threads:
        thread.join(5)
        assert not thread.is_alive()


async def test_a_gap_in_the_log_is_told_in_the_log(tmp_path: Path) -> None:
    log = open_log(tmp_path)
    log._lost[0] = 3  # as after a hang
    log.decided([alert(4)])
    log.close()
    told = lines(tmp_path / "decisions.jsonl")
    assert told[0] == {"lost_lines": 3}
    assert told[1]["rule"] == "link-lost"


async def test_a_home_that_cannot_be_written_is_announced_and_the_watch_goes_on(tmp_path: Path) -> None:
    reports = Reports()
    (tmp_path / "home").write_text("a file, where a folder should be")
    log = open_log(tmp_path / "home" / "watchkeeper", reports)
    log.decided([alert()])
    async with asyncio.timeout(5):
        part, ok, _ = await reports.get()
    assert (part, ok) == ("log", False)
    log.close()


def test_the_default_folder_is_that_of_the_xdg_specification(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    # XDG Base Directory Specification 0.8: $XDG_STATE_HOME, default $HOME/.local/state; relative paths are invalid
    monkeypatch.setenv("HOME", str(tmp_path))
    at_home = tmp_path / ".local" / "state" / "watchkeeper" / "20260504T093000Z"
    for value in ("", "relative/folder"):
        monkeypatch.setenv("XDG_STATE_HOME", value)
        assert default_folder(NOW_US) == at_home
    monkeypatch.setenv("XDG_STATE_HOME", "/state")
    assert default_folder(NOW_US) == Path("/state/watchkeeper/20260504T093000Z")
