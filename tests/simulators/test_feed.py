"""Feeding a watch over real sockets."""

from __future__ import annotations

import asyncio
import math
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from simulators.feed import parse_speed, parse_target, play
from simulators.scenario import find, load_scripted
from simulators.scenario_file import Sent
from simulators.scripted.__main__ import main
from simulators.scripted.flight import ScriptedFlight
from watchkeeper.errors import BadInputError

ROOT = Path(__file__).resolve().parents[2]
SHORT = """
scenario: short
about: stands on the ground
start: "2026-05-12T12:00:00Z"
duration_s: 2
system: 143
home: [1.25, -31.5]
bearing_deg: 10
battery: {charge_pct: 90}
values: {height_m: [[0, 0]], distance_m: [[0, 0]], power_kw: [[0, 0.05]], armed: [[0, false]],
         mode: [[0, position_hold]], landed: [[0, ground]]}
"""


def listener() -> socket.socket:
    """Return a bound socket that waits at most ten seconds for a datagram."""
    heard = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    heard.bind(("127.0.0.1", 0))
    heard.settimeout(10)
    return heard


def test_every_frame_arrives_as_one_datagram_in_order(tmp_path: Path) -> None:
    path = tmp_path / "short.yaml"
    path.write_text(SHORT)
    frames = list(ScriptedFlight(load_scripted(path)).frames())
    with listener() as heard:
        host, port = heard.getsockname()
        sent = asyncio.run(play(frames, host, port, math.inf))
        assert sent == len(frames)
        assert [heard.recv(300) for _ in frames] == [frame.data for frame in frames]


def test_frames_are_not_sent_before_they_are_due() -> None:
    frames = [Sent(0.0, 1, b"first"), Sent(1.0, 1, b"second"), Sent(2.0, 1, b"third")]
    with listener() as heard:
        host, port = heard.getsockname()
        began_s = time.monotonic()
        asyncio.run(play(frames, host, port, 20.0))
        # the loop's clock may wake it one tick early
        assert time.monotonic() - began_s >= 2.0 / 20 - time.get_clock_info("monotonic").resolution - 1e-3


def test_nobody_listening_is_no_failure() -> None:
    with listener() as heard:
        host, port = heard.getsockname()
    frames = [Sent(0.0, 1, bytes([i])) for i in range(100)]
    assert asyncio.run(play(frames, host, port, math.inf)) == 100


def test_the_module_feeds_a_listening_socket(tmp_path: Path) -> None:
    path = tmp_path / "short.yaml"
    path.write_text(SHORT)
    frames = list(ScriptedFlight(load_scripted(path), 5).frames())
    with listener() as heard:
        to = f"127.0.0.1:{heard.getsockname()[1]}"
        done = subprocess.run(
            [sys.executable, "-m", "simulators.scripted", str(path), "--to", to, "--speed", "max", "--seed", "5"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        assert done.stderr == f"{len(frames)} frames sent\n"
        assert [heard.recv(300) for _ in frames] == [frame.data for frame in frames]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["clam"], "no scenario 'clam'; did you mean 'calm'?"),
        (["calm", "--to", "14570"], "'14570' is not HOST:PORT; write it like 127.0.0.1:14570"),
        (["calm", "--to", "127.0.0.1:0"], "'127.0.0.1:0' is not HOST:PORT; write it like 127.0.0.1:14570"),
        (["calm", "--to", "192.0.2.7:14570"], "'192.0.2.7' is another machine; name 127.0.0.1, or allow it"),
        (["calm", "--speed", "0"], "'0' is no speed; write a number above 0, or max"),
    ],
)
def test_bad_usage_is_one_line_and_status_2(
    arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    err = capsys.readouterr().err
    assert err.startswith(says)
    assert err.count("\n") == 1


def test_help_names_the_scenarios(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--help"])
    assert ended.value.code == 0
    assert "calm, four-faults" in " ".join(capsys.readouterr().out.split())


def test_targets_and_speeds() -> None:
    assert parse_target("[::1]:14570") == ("::1", 14570)
    assert parse_target("localhost:1") == ("localhost", 1)
    assert parse_target("192.0.2.7:14570", beyond=True) == ("192.0.2.7", 14570)
    assert parse_speed("max") == math.inf
    assert parse_speed("2.5") == 2.5
    for bad in ("inf", "nan", "-1", "fast", ""):
        with pytest.raises(BadInputError):
            parse_speed(bad)


def test_shipped_scenarios_are_found_by_name_and_by_path() -> None:
    assert load_scripted(find("calm")).name == load_scripted(find(str(find("calm")))).name == "calm"
