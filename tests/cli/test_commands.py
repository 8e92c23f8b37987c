"""The commands as people and programs use them."""

from __future__ import annotations

import csv
import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from simulators.scenario import find, load_scripted
from tests.conftest import ROOT, RequireData
from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.cli.main import main

KEYS = [
    "time",
    "elapsed_s",
    "exercise",
    "aircraft",
    "rule",
    "level",
    "change",
    "state",
    "callout",
    "reason",
    "evidence",
]
CHANGES = {
    "raised", "escalated", "repeated", "stale", "fresh", "acknowledged", "cleared", "shelved", "unshelved",
    "suppressed", "unsuppressed", "reset",
}  # fmt: skip
STATES = {
    "normal", "unacknowledged", "acknowledged", "returned-unacknowledged", "latched-unacknowledged",
    "latched-acknowledged", "shelved", "suppressed", "out-of-service",
}  # fmt: skip


def free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def lines(capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_the_drill_calls_each_fault_by_its_deadline(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["drill", "--speed", "max", "--json"]) == 0
    found = lines(capsys)
    expected = load_scripted(find("four-faults")).expect
    assert {e.rule for e in expected} == {"return-reserve", "link-trend", "satellite-loss", "voltage-sag"}
    for one in expected:
        raised = [line["elapsed_s"] for line in found if (line["rule"], line["change"]) == (one.rule, "raised")]
        assert raised, one.rule
        assert one.begins <= raised[0] <= one.by, one.rule
    for line in found:
        assert list(line) == KEYS
        assert line["exercise"] is True
        assert line["change"] in CHANGES
        assert line["state"] in STATES
        assert line["time"].endswith("Z")


def test_a_calm_drill_raises_nothing_above_advisory(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["drill", "calm", "--speed", "max", "--json"]) == 0
    assert [line for line in lines(capsys) if line["level"] != "advisory"] == []


def test_a_drill_repeats_by_its_seed(capsys: pytest.CaptureFixture[str]) -> None:
    outputs = []
    for seed in ("3", "3", "4"):
        assert main(["drill", "--speed", "max", "--json", "--seed", seed]) == 0
        outputs.append(capsys.readouterr().out)
    assert outputs[0] == outputs[1]
    assert outputs[0] != outputs[2]


def test_the_record_of_a_drill_replays_to_the_same_lines(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scenario = load_scripted(find("four-faults"))
    assert main(["drill", "--speed", "max", "--json", "--record", str(tmp_path / "r")]) == 0
    drilled = capsys.readouterr().out
    assert main(["replay", str(tmp_path / "r"), "--json"]) == 0  # the crew's files are kept with the record
    assert capsys.readouterr().out == drilled
    score = json.loads((tmp_path / "r" / "score.json").read_text(encoding="utf-8"))
    assert {row["rule"] for row in score["expected"] if row["called_s"] is not None} == {
        e.rule for e in scenario.expect
    }


def test_replay_stops_where_it_is_told(require_data: RequireData, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(require_data("flights/quad-radio-a.tlog"))
    assert main(["replay", path, "--json", "--until", "140"]) == 0
    until = capsys.readouterr().out.splitlines()
    assert main(["replay", path, "--json"]) == 0
    whole = capsys.readouterr().out.splitlines()
    assert until == [line for line in whole if json.loads(line)["elapsed_s"] <= 140]
    assert 0 < len(until) < len(whole)


def test_the_table_of_readings_has_a_row_a_second(
    require_data: RequireData, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "readings.csv"
    path = str(require_data("flights/quad-radio-c.tlog"))
    assert main(["replay", path, "--json", "--readings", str(out)]) == 0
    with_table = capsys.readouterr().out
    assert main(["replay", path, "--json"]) == 0
    assert capsys.readouterr().out == with_table  # looking does not change what is decided
    rows = list(csv.reader(out.read_text(encoding="utf-8").splitlines()))
    assert rows[0][:3] == ["elapsed_s", "aircraft", "flight.phase"]
    assert "battery.voltage [V]" in rows[0]
    assert len(rows[0]) == len(CATALOGUE) + 2
    seconds = [float(row[0]) for row in rows[1:]]
    assert seconds == [seconds[0] + i for i in range(len(seconds))]
    column = rows[0].index("position.height [m]")
    assert max(float(row[column]) for row in rows[1:] if row[column]) == pytest.approx(100, abs=2)
    voltage = rows[0].index("battery.cell_voltage [V]")
    assert {row[voltage] for row in rows[1:]} == {""}  # not measured: blank, not zero


def test_help_is_there_for_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    for command in ([], ["watch"], ["replay"], ["drill"], ["rules"], ["rules", "check"]):
        with pytest.raises(SystemExit) as left:
            main([*command, "--help"])
        assert left.value.code == 0
        assert "usage: watchkeeper" in capsys.readouterr().out
    with pytest.raises(SystemExit):
        main(["--help"])
    assert "not certified" in " ".join(capsys.readouterr().out.split())


def test_rules_list_shows_readings_phases_and_rules(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "list"]) == 0
    said = capsys.readouterr().out
    for word in ("return.turn_back_in", "in_flight", "link-lost", "maximum age"):
        assert word in said


def test_the_shipped_packs_pass_their_own_checks(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "check"]) == 0
    assert main(["rules", "test"]) == 0
    assert "none failed" in capsys.readouterr().out


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_while_it_loads_ends_it_without_a_word(number: signal.Signals) -> None:
    """A library that is half loaded may make anything of the interruption."""
    code = (
        "import importlib, os, signal\n"
        "from watchkeeper.cli.main import main\n"
        f"signal.signal({int(number)}, signal.SIG_DFL)\n"  # whoever runs this test may ignore it
        "def load(name):\n"
        f"    os.kill(os.getpid(), {int(number)})\n"
        "    raise AttributeError(name)\n"
        "importlib.import_module = load\n"
        "main(['watch', '--mute'])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, timeout=60, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


def test_a_command_loads_no_other() -> None:
    """What a drill or a board needs is not to hold up a watch, nor to break it."""
    code = (
        "import sys\n"
        "from watchkeeper.cli.main import build_parser\n"
        "build_parser(['watch'])\n"
        "print({name.split('.')[0] for name in sys.modules} & {'simulators', 'aiohttp', 'lameenc', 'segno'})"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, timeout=60, check=True)
    assert done.stdout.strip() == b"set()"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_watch_ends_within_a_second(number: signal.Signals, tmp_path: Path) -> None:
    watch = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "watchkeeper.cli.main",
            "watch",
            "--mute",
            "--from",
            f"udp://127.0.0.1:{free_port()}",
        ],
        cwd=ROOT,
        env={**os.environ, "XDG_STATE_HOME": str(tmp_path)},
        stderr=subprocess.PIPE,
        text=True,
    )
    assert watch.stderr is not None
    assert "listening" in watch.stderr.readline()
    begun = time.monotonic()
    watch.send_signal(number)
    _, rest = watch.communicate(timeout=10)
    assert time.monotonic() - begun < 1.5
    assert watch.returncode == 0, rest
    assert "Traceback" not in rest
