"""The ledger on a real disk: all or nothing, two at a time, and nothing wrong with it harms the watch."""

from __future__ import annotations

import asyncio
import errno
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import cast

import pytest

from tests.conftest import ROOT
from tests.estimate.test_battery_by_label import FILE, Carrier, cell, land
from tests.recordings import lines, shipped
from tests.test_engine import T0
from watchkeeper.aircraft.ledger import read_ledger
from watchkeeper.alerts.events import AlertChange, Change, Happening, Level
from watchkeeper.cli.inputs import (
    find_kept,
    find_kept_ledger,
    find_ledger,
    keep_files,
    kept_files,
    load_crew_files,
)
from watchkeeper.cli.outfit import MISFIT, UNUSABLE, Outfit, _open_ledger
from watchkeeper.daemon import Watch
from watchkeeper.edges import ledger_file
from watchkeeper.edges.clock import utc_text
from watchkeeper.edges.ledger_file import UNLABELLED, UNREADABLE, LedgerKeeper, read_ledger_file, update
from watchkeeper.edges.outlets import Hub
from watchkeeper.edges.records.folder import open_recording
from watchkeeper.edges.records.recorder import Recorder
from watchkeeper.edges.terminal import Terminal
from watchkeeper.engine import Engine
from watchkeeper.errors import BadInputError
from watchkeeper.estimate.packs.packseen import Flown, PackSeen

TEXT = "ledger: ridge\npacks:\n  A1: {cycles: 61, capacity: 21.2 Ah}  # by hand\n  A2: {cycles: 60}\n"
DAY = "2026-11-03"
FLIGHT = Flown((PackSeen("A1", 0.7), PackSeen("A2", 0.6)))
WRITTEN = TEXT.replace("cycles: 61, capacity: 21.2 Ah", f"cycles: 61.7, capacity: 21.2 Ah, seen: {DAY}").replace(
    "cycles: 60", f"cycles: 60.6, seen: {DAY}"
)
Reports = list[tuple[str, bool, str]]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "packs.yaml"
    path.write_text(TEXT)
    return path


def keep(path: Path, *flown: Flown) -> Reports:
    """Run a keeper that is closed at once; return its reports."""
    reports: Reports = []
    keeper = LedgerKeeper(path, lambda *report: reports.append(report), lambda: DAY)
    for one in flown:
        keeper.put([one])
    keeper.close(timeout_s=20)
    assert not keeper._thread.is_alive()
    return reports


def names(folder: Path) -> list[str]:
    return sorted(one.name for one in folder.iterdir())


def test_a_flight_is_written_and_all_else_stays(path: Path) -> None:
    path.chmod(0o640)
    assert keep(path, FLIGHT) == []
    assert path.read_text() == WRITTEN
    assert names(path.parent) == ["packs.yaml"]
    assert path.stat().st_mode & 0o777 == 0o640


def test_a_link_stays_one(path: Path, tmp_path: Path) -> None:
    link = tmp_path / "sorties" / "packs.yaml"
    link.parent.mkdir()
    link.symlink_to(path)
    assert keep(link, FLIGHT) == []
    assert link.is_symlink()
    assert path.read_text() == WRITTEN


def test_without_a_flight_nothing_is_written(path: Path) -> None:
    before = path.stat()
    assert keep(path) == []
    assert (path.stat().st_mtime_ns, path.stat().st_ino) == (before.st_mtime_ns, before.st_ino)


def test_a_label_that_is_not_there_is_said_and_not_added(path: Path) -> None:
    assert keep(path, Flown((PackSeen("A1", 0.7), PackSeen("B7", 0.5)))) == [
        ("ledger", False, "Pack B7 is not in the pack ledger.")
    ]
    packs = read_ledger(path.read_text(), "p").packs
    assert [*packs] == ["A1", "A2"]
    assert packs["A1"].cycles == 61.7


def test_packs_that_nobody_has_named_are_said_and_not_booked(path: Path) -> None:
    assert keep(path, Flown((), unlabelled=True)) == [("ledger", False, UNLABELLED)]
    assert path.read_text() == TEXT


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff\xfe\x00binary\x00",
        b"packs: [",
        b"packs: {A1: {cycles: -4}}",
        b"packs: {A1: {cyles: 4}}",
        b"packs: {A1: {}, A1: {}}",
        b'packs: {"A1\\n": {}}',
        b"#" * 1_000_001,
    ],
    ids=["empty", "binary", "cut off", "negative", "unknown key", "twice", "newline", "huge"],
)
def test_a_broken_one_is_said_and_left_as_it_is(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    with pytest.raises(BadInputError):
        read_ledger_file(path)
    assert keep(path, FLIGHT) == [("ledger", False, UNREADABLE)]
    assert path.read_bytes() == content
    assert names(path.parent) == ["packs.yaml"]


def test_one_that_has_vanished_is_not_begun_anew(path: Path) -> None:
    path.unlink()
    assert keep(path, FLIGHT) == [("ledger", False, UNREADABLE)]
    assert names(path.parent) == []
    with pytest.raises(BadInputError, match="no such pack ledger"):
        read_ledger_file(path)


def test_its_folder_has_vanished(path: Path) -> None:
    assert keep(path.parent / "gone" / "packs.yaml", FLIGHT) == [
        ("ledger", False, "Pack ledger not written. No such file or directory.")
    ]


def test_what_is_no_file_is_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "packs.yaml"
    os.mkfifo(pipe)
    assert keep(pipe, FLIGHT) == [("ledger", False, UNREADABLE)]
    folder = tmp_path / "folder.yaml"
    folder.mkdir()
    assert keep(folder, FLIGHT) == [("ledger", False, UNREADABLE)]


@pytest.mark.parametrize("step", ["open", "fsync", "replace"])
def test_a_full_or_read_only_disk_leaves_the_old_one(
    path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """Tests run as any user, root too, whom no rights stop: the calls themselves fail, as each disk lets them."""
    full, kept = (errno.ENOSPC, "No space left on device"), (errno.EROFS, "Read-only file system")
    code, words = kept if step == "open" else full
    true_open = os.open

    def refuse(*_: object, **__: object) -> None:
        raise OSError(code, words)

    def opened(name: str | Path, flags: int, *rest: int) -> int:
        if flags & os.O_CREAT:
            refuse()
        return true_open(name, flags, *rest)

    if step == "open":
        monkeypatch.setattr(os, "open", opened)
    elif step == "fsync":
        monkeypatch.setattr(os, "fsync", refuse)
    else:
        monkeypatch.setattr(Path, "replace", refuse)
    assert keep(path, FLIGHT) == [("ledger", False, f"Pack ledger not written. {words}.")]
    assert path.read_text() == TEXT
    assert names(path.parent) == ["packs.yaml"]


def test_it_is_on_the_disk_before_it_bears_the_name(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[str, int]] = []
    true_fsync = os.fsync

    def noted(fd: int) -> None:
        seen.append((path.read_text(), os.fstat(fd).st_size))
        true_fsync(fd)

    monkeypatch.setattr(os, "fsync", noted)
    update(path, FLIGHT.packs, DAY)
    assert seen[0] == (TEXT, len(WRITTEN))
    assert [text for text, _ in seen] == [TEXT, WRITTEN]  # then the folder, in which the name stands


async def test_what_could_not_be_written_waits_and_its_end_is_said(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reports: asyncio.Queue[tuple[str, bool, str]] = asyncio.Queue()
    keeper = LedgerKeeper(path, lambda *report: reports.put_nowait(report), lambda: DAY)
    with monkeypatch.context() as full:
        full.setattr(os, "fsync", _no_space)
        keeper.put([FLIGHT])
        assert await reports.get() == ("ledger", False, "Pack ledger not written. No space left on device.")
        assert _read(path) == TEXT
    keeper.put([Flown((PackSeen("A1", 0.3),))])
    assert await reports.get() == ("ledger", True, "pack ledger written again")
    packs = read_ledger(_read(path), "p").packs
    assert (packs["A1"].cycles, packs["A2"].cycles) == (62.0, 60.6)
    await asyncio.to_thread(keeper.close, 20)
    assert reports.empty()
    assert read_ledger(_read(path), "p").packs == packs  # once


def _read(path: Path) -> str:
    return path.read_text()


def _no_space(*_: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_write_that_hangs_does_not_hold_the_watch(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hang = threading.Event()
    monkeypatch.setattr(os, "fsync", lambda _: hang.wait(20))
    keeper = LedgerKeeper(path, lambda *_: None, lambda: DAY)
    keeper.put([FLIGHT])
    keeper.put([FLIGHT])
    keeper.close(timeout_s=0.01)
    assert keeper._thread.is_alive()
    assert path.read_text() == TEXT
    hang.set()
    keeper._thread.join(20)


OFTEN = """
import sys
from pathlib import Path
from watchkeeper.edges.ledger_file import update
from watchkeeper.estimate.packs.packseen import PackSeen
for _ in range(20):
    update(Path(sys.argv[1]), [PackSeen(sys.argv[2], 0.5)], "2026-11-03")
"""


def test_two_watches_at_once_lose_nothing(path: Path) -> None:
    watches = [
        subprocess.Popen([sys.executable, "-c", OFTEN, str(path), label], cwd=ROOT) for label in ("A1", "A1", "A2")
    ]
    assert [one.wait(60) for one in watches] == [0, 0, 0]
    packs = read_ledger(path.read_text(), "p").packs
    assert (packs["A1"].cycles, packs["A2"].cycles) == (61 + 2 * 20 * 0.5, 60 + 20 * 0.5)
    assert names(path.parent) == ["packs.yaml"]


def test_a_watch_that_holds_the_lock_for_ever_is_said(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ledger_file, "LOCK_S", 0.1)
    with ledger_file._locked(path.parent):
        assert keep(path, FLIGHT) == [("ledger", False, "Pack ledger not written. In use by another watch.")]
    assert path.read_text() == TEXT
    assert keep(path, FLIGHT) == []


KILLED = """
import os, signal, sys
from pathlib import Path
from watchkeeper.edges import ledger_file
from watchkeeper.estimate.packs.packseen import PackSeen
at = sys.argv[2]
def end(*_): os.kill(os.getpid(), signal.SIGKILL)
if at == "before it is on the disk": os.fsync = end
elif at == "before it bears the name": Path.replace = end
else:
    replace = Path.replace
    def named(self, to):
        replace(self, to)
        end()
    Path.replace = named
ledger_file.update(Path(sys.argv[1]), [PackSeen("A1", 0.7), PackSeen("A2", 0.6)], "2026-11-03")
"""


@pytest.mark.parametrize(
    ("at", "left"),
    [("before it is on the disk", TEXT), ("before it bears the name", TEXT), ("after", WRITTEN)],
)
def test_killed_in_a_write_either_the_old_or_the_new_one_is_there(path: Path, at: str, left: str) -> None:
    ended = subprocess.run([sys.executable, "-c", KILLED, str(path), at], cwd=ROOT, check=False)
    assert ended.returncode == -signal.SIGKILL
    assert path.read_text() == left
    assert keep(path, FLIGHT) == []  # neither lock nor what is left over stands in the way
    assert names(path.parent) == ["packs.yaml"]


# --- the running watch -----


class StandingClock:
    """Tells the time it is set to."""

    def __init__(self) -> None:
        self.us = round(T0 * 1e6)

    def now_us(self) -> int:
        self.us += 1
        return self.us


class Said:
    """Keeps what the watch decides."""

    def __init__(self) -> None:
        self.happenings: list[Happening] = []

    def hand(self, happenings: Sequence[Happening]) -> None:
        self.happenings += happenings

    async def run(self) -> None:
        await asyncio.Event().wait()


async def flown_watch(folder: Path, *, exercise: bool) -> tuple[Said, list[str]]:
    """Let a watch with this folder's crew files hear and record a short flight; return what it said and told."""
    path, record = folder / "s.yaml", folder / "recording"
    files, sortie = load_crew_files([], path)
    found = find_ledger(sortie, path, files)
    clock, told = StandingClock(), Told()
    watch = Watch(Engine(shipped(), files, sortie, found.ledger), clock, tell=told.log)
    said = Said()
    watch.hub = cast("Hub", said)
    outfit = Outfit(rules=shipped(), station="x", exercise=exercise, ledger=found)
    _open_ledger(outfit, watch, cast("Terminal", told))
    start_us = clock.now_us()
    record.mkdir()
    watch.recorder = Recorder(record, watch.report, start_us)
    keep_files(record, kept_files([], path, [], found.text))

    async def hear() -> None:
        plane = Carrier()
        for second in range(95):
            land(plane, landed=not 30 <= second < 85)
            clock.us = round((T0 + 1 + second) * 1e6)
            watch.received("udp://a", plane.frames(second) + plane.battery(), clock.us / 1e6)
        watch.stop()

    watch.start(start_us)
    await watch.run([hear], describe=False)
    return said, told.lines


class Told:
    """Keeps lines for people."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def log(self, line: str) -> None:
        self.lines.append(line)


def crew_files(folder: Path, ledger: str | None = TEXT) -> Path:
    (folder / "a.yaml").write_text(FILE)
    (folder / "s.yaml").write_text("aircraft: a.yaml\nledger: packs.yaml\nfitted: [A1, A2]\n")
    path = folder / "packs.yaml"
    if ledger is not None:
        path.write_text(ledger)
    return path


def replayed(folder: Path) -> list[str]:
    """Return the lines that a replay of the recording decides, with the crew's files kept in it."""
    record = folder / "recording"
    aircraft, sortie_path, _ = find_kept(record)
    files, sortie = load_crew_files(aircraft, sortie_path)
    found = find_ledger(sortie, sortie_path, files, kept=find_kept_ledger(record))
    engine = Engine(shipped(), files, sortie, found.ledger)
    return [line for event in open_recording(record).events() for line in lines(event.into(engine))]


async def test_a_watch_books_its_flight_and_its_replay_decides_the_same(tmp_path: Path) -> None:
    path = crew_files(tmp_path)
    said, told = await flown_watch(tmp_path, exercise=False)
    assert told == []
    packs = read_ledger(_read(path), "p").packs
    drawn_ah = sum(s.current_a for s in cell()[:86]) / 3600
    # equivalent full cycles of 22 Ah; two decimals in the file
    assert packs["A1"].cycles == pytest.approx(61 + drawn_ah / 22, abs=0.006)
    assert packs["A2"].cycles == pytest.approx(60 + drawn_ah / 22, abs=0.006)
    assert packs["A1"].seen == utc_text(round(T0 * 1e6))[:10]
    assert "# by hand" in _read(path)
    assert said.happenings
    assert replayed(tmp_path) == lines(said.happenings)  # with the ledger as it was before the flight


async def test_an_exercise_never_changes_the_crews_ledger(tmp_path: Path) -> None:
    path = crew_files(tmp_path)
    said, _ = await flown_watch(tmp_path, exercise=True)
    assert said.happenings
    assert _read(path) == TEXT


@pytest.mark.parametrize(
    ("ledger", "words"),
    [(None, UNUSABLE), ("packs: [", UNUSABLE), ("packs: {A1: {}}", MISFIT)],
    ids=["none", "broken", "without A2"],
)
async def test_a_ledger_that_is_no_use_is_announced_and_harms_nothing(
    tmp_path: Path, ledger: str | None, words: str
) -> None:
    crew_files(tmp_path, ledger)
    said, told = await flown_watch(tmp_path, exercise=False)
    raised = [one for one in said.happenings if isinstance(one, AlertChange) and one.rule == "watch-ledger"]
    assert (raised[0].change, raised[0].level, raised[0].callout) == (
        Change.RAISED,
        Level.ADVISORY,
        f"Advisory. Watch. {words}",
    )
    assert "packs.yaml" in told[0] or "s.yaml" in told[0]
    assert replayed(tmp_path) == lines(said.happenings)
