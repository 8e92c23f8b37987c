"""Terminal and console on real pipes and a real pseudo-terminal."""

from __future__ import annotations

import asyncio
import fcntl
import os
import pty
import threading
import time
from collections.abc import Iterator

import pytest

from watchkeeper.alerts.events import (
    AlertChange,
    Change,
    Happening,
    Level,
    Preparation,
    Refusal,
    RoutineCall,
    State,
    Step,
)
from watchkeeper.edges.console import Console, console_line
from watchkeeper.edges.terminal import MAX_LINES, LineWriter, Terminal, plain

NOW_US = 1_777_887_000_500_000


def alert(
    level: Level = Level.WARNING, change: Change = Change.RAISED, callout: str = "Warning. Link lost."
) -> AlertChange:
    by = "pilot" if change is Change.ACKNOWLEDGED else None
    reason = "link is back" if change is Change.CLEARED else "link.age > 3 s"
    state = State.UNACKNOWLEDGED
    return AlertChange(NOW_US, 0, 42, "link-lost", level, change, state, callout, reason, {}, by=by)


@pytest.fixture
def pipe() -> Iterator[tuple[int, int]]:
    reader, writer = os.pipe()
    yield reader, writer
    for fd in (reader, writer):
        try:
            os.close(fd)
        except OSError:
            continue


def read_lines(fd: int, count: int) -> list[str]:
    """Read until `count` whole lines, and no part of another, have come."""
    got = b""
    while got.count(b"\n") < count or not got.endswith(b"\n"):
        got += os.read(fd, 65_536)
    return got.decode().splitlines()


@pytest.mark.parametrize(
    ("happening", "line"),
    [
        (alert(), "09:30:00.5  WARNING   aircraft 42   Warning. Link lost."),
        (
            alert(Level.CAUTION, Change.CLEARED, "Caution. Link."),
            "09:30:00.5  CAUTION   aircraft 42   Caution. Link.  [over: link is back]",
        ),
        (
            alert(change=Change.ACKNOWLEDGED),
            "09:30:00.5  WARNING   aircraft 42   Warning. Link lost.  [acknowledged by pilot]",
        ),
        (RoutineCall(NOW_US, 0, 42, "x", "Taking off."), "09:30:00.5            aircraft 42   Taking off."),
        (
            Refusal(NOW_US, 0, None, None, "shelve", "in flight"),
            "09:30:00.5            watch         shelve all: not done, in flight",
        ),
        (
            Refusal(NOW_US, 0, 42, None, "confirm", "no test call"),
            "09:30:00.5            aircraft 42   confirm before take-off: not done, no test call",
        ),
        (
            Preparation(NOW_US, 0, 42, Step.CHECKED, "post", item="antennas\x1b down"),
            "09:30:00.5            aircraft 42   checked: antennas? down  [by post]",
        ),
        (
            Preparation(NOW_US, 0, 42, Step.NOT_GIVEN, "voice", "observer", reason="no sound device"),
            "09:30:00.5            aircraft 42   test call to the observer not given  [by voice: no sound device]",
        ),
        (
            Preparation(NOW_US, 0, 42, Step.CONFIRMED, "observer", "observer"),
            "09:30:00.5            aircraft 42   the observer hears the watch  [by observer]",
        ),
    ],
)
def test_lines_for_people(happening: Happening, line: str) -> None:
    assert console_line(happening) == line


def test_red_is_for_warnings_amber_for_cautions_and_no_colour_for_anything_else() -> None:
    # 14 CFR 25.1322(e)(1): red for warning, amber or yellow for caution, any other colour but these for advisory.
    # SGR 31 is red and 33 yellow (ECMA-48)
    for level in Level:
        line = console_line(alert(level), colour=True)
        assert ("\x1b[31m" in line) == (level is Level.WARNING)
        assert ("\x1b[33m" in line) == (level is Level.CAUTION)
        assert level.value.upper() in line
    assert "\x1b" not in console_line(alert(change=Change.CLEARED), colour=True)
    assert "\x1b" not in console_line(alert())


def test_nothing_from_outside_can_steer_the_terminal() -> None:
    line = console_line(alert(callout="a\x1b[2Jb\nc\rd\u202ee\ud800" + "x" * 10_000))
    assert line.isprintable()
    assert len(line) < 5000
    assert plain("Höhe 40 m") == "Höhe 40 m"


def test_colour_needs_a_terminal_and_no_no_color(monkeypatch: pytest.MonkeyPatch, pipe: tuple[int, int]) -> None:
    # https://no-color.org: NO_COLOR set and not empty turns colour off
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    inner, outer = pty.openpty()
    try:
        terminal = Terminal(outer, pipe[1])
        assert terminal.colours()
        assert not terminal.colours(error=True)
        monkeypatch.setenv("NO_COLOR", "1")
        assert not terminal.colours()
        terminal.close()
    finally:
        os.close(inner)
        os.close(outer)


def test_output_and_log_that_share_a_terminal_are_never_mixed(pipe: tuple[int, int]) -> None:
    reader, writer = pipe
    other = os.dup(writer)
    terminal = Terminal(writer, other)
    try:
        assert terminal.out is terminal.err

        def chatter() -> None:
            for n in range(300):
                terminal.log(f"log {n} {'l' * 200}")

        thread = threading.Thread(target=chatter)
        thread.start()
        for n in range(300):
            terminal.print(f"out {n} {'o' * 200}")
        lines = read_lines(reader, 600)
        thread.join()
    finally:
        terminal.close()
        os.close(other)
    assert sorted(lines) == sorted(
        [f"log {n} {'l' * 200}" for n in range(300)] + [f"out {n} {'o' * 200}" for n in range(300)]
    )
    assert [line for line in lines if line.startswith("out")] == [f"out {n} {'o' * 200}" for n in range(300)]


def test_a_pipe_that_nobody_reads_blocks_nobody_and_the_loss_is_told_later(pipe: tuple[int, int]) -> None:
    reader, writer = pipe
    fcntl.fcntl(writer, fcntl.F_SETPIPE_SZ, 4096)
    lines = LineWriter()
    outcomes: list[bool] = []
    began_s = time.monotonic()
    for n in range(MAX_LINES * 3):
        lines.put(writer, f"{n:05d} {'x' * 50}", outcomes.append)
    assert time.monotonic() - began_s < 2.0
    assert lines.dropped >= MAX_LINES
    assert outcomes.count(False) == lines.dropped
    last = f"{MAX_LINES * 3 - 1:05d} {'x' * 50}"
    shown = [""]
    while shown[-1] != last:  # the newest are kept
        shown += read_lines(reader, 1)
    lines.close(5.0)
    told = [int(line[1:].split()[0]) for line in shown if "lines not shown: the terminal did not take" in line]
    assert sum(told) == lines.dropped


def test_closing_does_not_wait_for_a_pipe_that_nobody_reads(pipe: tuple[int, int]) -> None:
    reader, writer = pipe
    lines = LineWriter()
    lines.put(writer, "x" * 200_000)
    began_s = time.monotonic()
    lines.close(0.05)
    assert time.monotonic() - began_s < 1.0
    os.close(reader)  # lets the thread go
    lines._thread.join(5)
    assert lines.gone(writer)


def test_a_terminal_somebody_made_non_blocking_still_gets_whole_lines(pipe: tuple[int, int]) -> None:
    reader, writer = pipe
    os.set_blocking(writer, False)
    lines = LineWriter()
    for _ in range(20):
        lines.put(writer, "y" * 20_000)
    assert read_lines(reader, 20) == ["y" * 20_000] * 20
    lines.close()


async def test_the_console_tells_what_was_shown_and_reports_a_reader_that_left(pipe: tuple[int, int]) -> None:
    reader, writer = pipe
    told: asyncio.Queue[tuple[object, ...]] = asyncio.Queue()
    terminal = Terminal(writer, 2)
    console = Console(terminal, lambda *said: told.put_nowait(said), lambda *said: told.put_nowait(said))
    task = asyncio.create_task(console.run())
    await asyncio.sleep(0)
    async with asyncio.timeout(5):
        console.put(alert())
        assert await told.get() == (alert(), "shown", "")
        os.close(reader)
        console.put(alert())
        both = [await told.get(), await told.get()]
        assert (alert(), "lost", "the terminal did not take it") in both
        assert ("console", False, "Terminal gone. Look at another outlet.") in both
    task.cancel()
    terminal.close()


async def test_a_blocked_terminal_is_reported_and_so_is_its_return(
    pipe: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("watchkeeper.edges.console.STUCK_AFTER_S", 0.05)
    monkeypatch.setattr("watchkeeper.edges.console._LOOK_EVERY_S", 0.01)
    reader, writer = pipe
    told: asyncio.Queue[tuple[str, bool, str]] = asyncio.Queue()
    terminal = Terminal(writer, 2)
    console = Console(terminal, lambda *said: told.put_nowait(said), lambda *_: None)
    task = asyncio.create_task(console.run())
    for _ in range(900):
        console.put(alert(callout="z" * 400))
    async with asyncio.timeout(5):
        assert await told.get() == ("console", False, "Terminal blocked. Look at another outlet.")
        await asyncio.to_thread(read_lines, reader, 900)
        assert (await told.get())[:2] == ("console", True)
    task.cancel()
    terminal.close()
