"""The live status of real processes at a pseudo-terminal, seen by an emulator of one."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.edges.test_status_block import Screen

COLOURS = (b"\x1b[31m", b"\x1b[33m", b"\x1b[1;31m", b"\x1b[1;33m", b";31m", b";33m")


class Program:
    """The program at a terminal of its own."""

    def __init__(self, screen: Screen, tmp_path: Path, *arguments: str, **environment: str) -> None:
        self.screen = screen
        fixed = {"TERM": "xterm", "XDG_STATE_HOME": str(tmp_path), **environment}
        self.process = subprocess.Popen(
            ["setsid", "--ctty", "--wait", sys.executable, "-m", "watchkeeper.cli.main", *arguments],
            stdin=screen.inner, stdout=screen.inner, stderr=screen.inner,
            env={name: value for name, value in os.environ.items() if name != "NO_COLOR"} | fixed,
        )  # fmt: skip

    def ended(self) -> int:
        """Wait for the end, taking what is still written; return the status."""
        while self.process.poll() is None:
            self.screen.read(0.05)
        self.screen.rest()
        return self.process.returncode


@pytest.fixture
def screen() -> Iterator[Screen]:
    made = Screen(90, 30)
    yield made
    made.close()


@pytest.fixture
def program(screen: Screen, tmp_path: Path) -> Iterator[Program]:
    made = Program(screen, tmp_path, "drill", "four-faults", "--speed", "8", "--mute")
    yield made
    made.process.kill()
    made.process.wait()


def in_flight(it: Screen) -> bool:
    return it.has("EXERCISE") and it.has("airborne") and it.has("% left at landing")


def test_a_drill_shows_it_marked_resized_and_takes_it_away_at_ctrl_c(screen: Screen, program: Program) -> None:
    screen.until(in_flight)
    assert screen.at("EXERCISE") > screen.at("Exercise, exercise, exercise.")
    assert screen.at("keys: r return, l land, h hold") > screen.at("% left at landing")
    screen.until(lambda it: it.has("  CAUTION") or it.has("  WARNING"))
    screen.resize(40, 20)
    mark = len(screen.raw)
    screen.until(lambda it: b"EXERCISE" in it.raw[mark:] and sum("EXERCISE" in row for row in it.shown.rows) == 1)
    os.write(screen.outer, b"\x03")
    assert program.ended() == 0
    assert not screen.has("EXERCISE")
    assert not screen.has("% left at landing")
    assert screen.raw.count(b"\x1b[?7l") == screen.raw.count(b"\x1b[?7h")  # lines are wrapped again


def test_term_takes_it_away_too(screen: Screen, program: Program) -> None:
    screen.until(in_flight)
    program.process.terminate()
    assert program.ended() == 0
    assert not screen.has("EXERCISE")


def test_a_blocked_terminal_holds_up_nothing(screen: Screen, tmp_path: Path) -> None:
    program = Program(
        screen, tmp_path, "drill", "four-faults", "--speed", "20", "--mute", "--record", str(tmp_path / "k")
    )
    screen.until(in_flight)
    os.write(screen.outer, b"\x13")  # Ctrl-S: the terminal takes nothing any more
    [decisions] = (tmp_path / "k").rglob("decisions.jsonl")
    deadline_s = time.monotonic() + 240
    while "return-reserve" not in decisions.read_text():  # the last of the four faults
        assert time.monotonic() < deadline_s
        screen.read(0.2)
    assert not any("Return. Reserve." in row for row in screen.shown.rows)
    os.write(screen.outer, b"\x11")  # Ctrl-Q
    screen.until(lambda it: it.has("Return. Reserve.") and it.has("EXERCISE"))
    os.write(screen.outer, b"\x03")
    assert program.ended() == 0
    assert not screen.has("EXERCISE")


def test_without_colour(screen: Screen, tmp_path: Path) -> None:
    program = Program(screen, tmp_path, "drill", "four-faults", "--speed", "20", "--mute", NO_COLOR="1")
    screen.until(lambda it: it.has("  CAUTION"))
    assert not any(colour in screen.raw for colour in COLOURS)
    os.write(screen.outer, b"\x03")
    assert program.ended() == 0


@pytest.mark.parametrize("more", [["--json"], []])
def test_no_status_for_programs_and_on_dumb_terminals(screen: Screen, tmp_path: Path, more: list[str]) -> None:
    program = Program(
        screen, tmp_path, "drill", "calm", "--speed", "200", "--mute", *more, **({} if more else {"TERM": "dumb"})
    )
    screen.until(lambda it: it.has("drill calm"))
    assert program.ended() == 0
    assert b"\x1b[" not in screen.raw


def test_quiet_shows_nothing(screen: Screen, tmp_path: Path) -> None:
    program = Program(screen, tmp_path, "watch", "--quiet", "--mute", "--from", "udp://127.0.0.1:14987",
                      NOTIFY_SOCKET="")  # fmt: skip
    assert not screen.read(4.0)
    program.process.terminate()
    program.process.wait(30)
