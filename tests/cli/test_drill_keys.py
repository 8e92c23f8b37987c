"""A drill flown by a trainee at a terminal: the call comes, keys are pressed, it lands, the score tells it."""

from __future__ import annotations

import json
import os
import pty
import re
import select
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from watchkeeper.link.encode import Encoder

HALF_EMPTY = Path(__file__).with_name("half-empty.yaml")
CALL = re.compile(r"Caution\. Battery\. Low")


class Terminal:
    """The program at a pseudo-terminal."""

    def __init__(self, *arguments: str, command: str = "drill") -> None:
        self.fd, child = pty.openpty()
        program = [sys.executable, "-m", "watchkeeper.cli.main", command, *arguments]
        run = ["setsid", "--ctty", "--wait", *program]  # keys come from the terminal that a process belongs to
        self.process = subprocess.Popen(
            run, stdin=child, stdout=child, stderr=child)  # fmt: skip
        os.close(child)
        self.shown = ""

    def read(self) -> bool:
        """Take what is shown next. False at the end."""
        ready, _, _ = select.select([self.fd], [], [], 60)
        assert ready, f"nothing shown for a minute after: {self.shown[-300:]}"
        try:
            data = os.read(self.fd, 65536)
        except OSError:  # Linux tells so that the other end has gone
            return False
        self.shown += data.decode()
        return bool(data)

    def until(self, pattern: str | re.Pattern[str]) -> None:
        """Read until something is shown."""
        while not re.search(pattern, self.shown):
            assert self.read(), self.shown

    def press(self, key: str) -> None:
        os.write(self.fd, key.encode())

    def end(self) -> int:
        """Read to the end; return the exit status."""
        while self.read():
            pass
        os.close(self.fd)
        return self.process.wait(timeout=30)


def test_keys_are_left_alone_where_there_is_no_terminal(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "watchkeeper.cli.main", "drill", str(HALF_EMPTY), "--speed", "200", "--mute",
         "--record", str(tmp_path / "kept")],
        capture_output=True, text=True, timeout=120, check=True, input="rrr",
    )  # fmt: skip
    assert "keys:" not in done.stderr
    [score] = (tmp_path / "kept").rglob("score.json")
    told = json.loads(score.read_text())
    assert told["calls"]
    assert all(call["acted_after_s"] is None for call in told["calls"])


def test_caution_return_landing_score(tmp_path: Path) -> None:
    terminal = Terminal(str(HALF_EMPTY), "--speed", "20", "--mute", "--record", str(tmp_path / "kept"))
    terminal.until(r"keys: r return")
    terminal.until(CALL)
    terminal.press("a")
    terminal.until(r"acknowledged")
    terminal.press("x")  # no such key
    terminal.press("R")
    terminal.until(r"ordered: safe recovery")
    assert terminal.end() == 0
    assert "Exercise, exercise, exercise" in terminal.shown
    assert re.search(r"Disarmed", terminal.shown)
    assert re.search(r"at the end: landed, \d m from home, \d\d % left", terminal.shown)
    assert re.search(r"turned back 10 s after the first call: landed", terminal.shown)
    [kept] = (tmp_path / "kept").rglob("score.json")
    told = json.loads(kept.read_text())
    call = next(one for one in told["calls"] if one["rule"] == "battery-low")
    assert 0 < call["acknowledged_after_s"] < call["acted_after_s"]
    assert call["action"] == "safe recovery"
    assert told["ending"]["landed"] is True
    assert told["timely"]["charge_pct"] >= told["ending"]["charge_pct"] - 1.0


def test_the_pilot_is_called_and_confirms_by_keys() -> None:
    terminal = Terminal("calm", "--mute")
    terminal.until(r"keys: .*t test calls, c confirm as pilot")
    while "test calls to every role" not in terminal.shown:
        terminal.press("t")
        assert terminal.read()
    terminal.until(r"Test\. Watch to pilot, confirm that you hear\.")
    terminal.until(r"test call to the pilot given  \[by console\]")
    terminal.press("c")
    terminal.until(r"the pilot hears the watch  \[by pilot\]")
    terminal.press("\x03")
    assert terminal.end() == 0


def test_keys_reach_a_real_watch_too() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        sender.bind(("127.0.0.1", 0))
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        terminal = Terminal("--from", f"udp://127.0.0.1:{port}", "--mute", command="watch")
        terminal.until(r"keys: a acknowledge, t test calls, c confirm as pilot")
        terminal.press("c")
        terminal.until("no aircraft heard yet")
        encoder = Encoder(7, 1)
        while "not done" not in terminal.shown:
            sender.sendto(
                encoder.encode("HEARTBEAT", type=13, autopilot=3, mavlink_version=3), ("127.0.0.1", port)
            )
            terminal.press("c")
            assert terminal.read()
        terminal.until("confirm before take-off: not done, no test call has been given to this role")
        terminal.press("\x03")
        assert terminal.end() == 0


def test_a_script_obeys_no_key() -> None:
    terminal = Terminal("calm", "--speed", "50", "--mute")
    terminal.until(r"keys: r return")
    terminal.press("r")
    terminal.until(r"obeys nobody")
    terminal.press("\x03")
    assert terminal.end() == 0


def test_no_drill_is_served_where_an_aircraft_is_heard() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    beat = Encoder(7, 1).encode("HEARTBEAT", type=13, autopilot=3)
    command = [
        sys.executable,
        "-m",
        "watchkeeper.cli.main",
        "drill",
        "--serve",
        f"udp://127.0.0.1:{port}",
        "--mute",
    ]
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as real,
        subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True) as drill,
    ):
        while drill.poll() is None:
            real.sendto(beat, ("127.0.0.1", port))
            select.select([], [], [], 0.05)  # an aircraft's pace
        assert drill.stderr is not None
        told = drill.stderr.read()
    assert drill.returncode == 2
    assert told.count("\n") == 1
    assert f"telemetry of aircraft 7 comes in at port {port}" in told


@pytest.mark.parametrize(
    "url", ["tcp://127.0.0.1:0", "udp://127.0.0.1", "serial:///dev/x", "udp://192.0.2.1:14580"]
)
def test_bad_addresses_are_told_in_one_line(url: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "watchkeeper.cli.main", "drill", "--serve", url],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
