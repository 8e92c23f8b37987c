"""A real watch, killed in mid-flight and started again: it goes on with what it had learned."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from simulators.feed import play
from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.scenario import find, load
from tests.cli.test_watch import running
from tests.conftest import ROOT
from tests.test_engine import Plane
from watchkeeper import __version__
from watchkeeper.cli.main import main
from watchkeeper.link.recording import record


def _flown(name: str) -> FlownScenario:
    scenario = load(find(name))
    assert isinstance(scenario, FlownScenario)
    return scenario


SCENARIO = _flown("quiet-delivery")
SYSTEM = SCENARIO.written.system
FLOWN_S = 60.0
"""It has taken off and cruises; the watch is started only then."""
RULE = """
pack: told
about: Tells what the watch takes the charge for.
rules:
  - id: charge-told
    level: advisory
    when: battery.charge_left < 101 %
    during: [in_flight]
    say: "Charge. {battery.charge_left:.1}."
    repeat: 5 s
    why: our own
    cases:
      - {given: {flight.phase: airborne, battery.charge_left: 50 %}, expect: met}
      - {given: {flight.phase: airborne, battery.charge_left: 102 %}, expect: not met}
"""


@contextmanager
def flight() -> Iterator[int]:
    """Send a simulated flight from FLOWN_S on, as time goes, to the port given out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    over = threading.Event()

    def frames() -> Iterator[Any]:
        for sent in FlownDrill(SCENARIO, 1).frames():
            if over.is_set():
                return
            if sent.time_s >= FLOWN_S:
                yield sent._replace(time_s=sent.time_s - FLOWN_S)

    sender = threading.Thread(target=lambda: asyncio.run(play(frames(), "127.0.0.1", port)), daemon=True)
    sender.start()
    try:
        yield port
    finally:
        over.set()
        sender.join(10)


@pytest.fixture
def options(tmp_path: Path) -> list[str]:
    (tmp_path / "told.yaml").write_text(RULE)
    return [*("--rules", str(tmp_path / "told.yaml")), *("--aircraft", str(SCENARIO.aircraft))]


def kept(folder: Path) -> dict[int, dict[str, Any]]:
    """Return what is on the disk, by aircraft."""
    path = folder / "watchkeeper" / "learned-station.json"
    listed = json.loads(path.read_text(encoding="utf-8"))["aircraft"] if path.exists() else []
    return {one["system"]: one for one in listed}


def replayed(folder: Path, capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    """Return the lines of alerts that a replay gives."""
    assert main(["replay", str(folder), "--json"]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_killed_in_flight_it_goes_on_and_its_record_replays_the_same(
    tmp_path: Path, options: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    with flight() as port:
        options += ["--from", f"udp://127.0.0.1:{port}"]
        with running(tmp_path, "--record", str(first), *options) as watch:
            watch.fly(lambda: SYSTEM in kept(tmp_path))
            watch.process.send_signal(signal.SIGKILL)
            watch.process.wait(5)
        before = kept(tmp_path)[SYSTEM]
        with running(tmp_path, "--record", str(second), *options) as watch:
            watch.fly(lambda: kept(tmp_path)[SYSTEM] != before)
            watch.process.send_signal(signal.SIGUSR1)
            watch.line(f"Aircraft {SYSTEM}: goes on with what was learned until")
            watch.process.send_signal(signal.SIGINT)
            assert watch.process.wait(5) == 0
    after = kept(tmp_path)[SYSTEM]
    assert after["saved_us"] > before["saved_us"]
    assert after["learned"].keys() == before["learned"].keys() != set()

    lines = replayed(second, capsys)
    decided = [json.loads(line) for line in (second / "decisions.jsonl").read_text(encoding="utf-8").splitlines()]
    alerts = [{key: line[key] for key in lines[0]} for line in decided if line["kind"] == "alert"]
    assert [{**line, "exercise": True} for line in alerts] == lines
    assert {line["rule"] for line in lines} >= {"charge-told"}

    actions = second / "actions.jsonl"
    given = actions.read_text(encoding="utf-8").splitlines(keepends=True)
    resumed = [json.loads(line) for line in given if '"resume"' in line]
    assert before in [line["kept"] for line in resumed]
    actions.write_text("".join(line for line in given if '"resume"' not in line), encoding="utf-8")
    assert replayed(second, capsys) != lines  # it hangs on what was kept


@pytest.mark.parametrize("trouble", ["broken", "stale", "unwritable"])
def test_trouble_with_the_file_is_said_and_the_watch_goes_on(tmp_path: Path, trouble: str) -> None:
    folder = tmp_path / "kept"
    configuration = tmp_path / "watch.toml"
    configuration.write_text('learned = "kept"\nstation = "ridge"\n')
    if trouble == "unwritable":
        folder.write_text("a file, where a folder should be")
    else:
        folder.mkdir()
        old = {"system": 7, "saved_us": 1, "heard_us": 1, "phase": "airborne", "learned": {}}
        head = {"format": 1 if trouble == "stale" else 99, "watchkeeper": __version__}
        (folder / "learned-ridge.json").write_text(json.dumps({**head, "aircraft": [old]}))
    said = {
        "broken": "learned state not read",
        "stale": "Aircraft 7: what was kept of it is not used: too old.",
        "unwritable": "Learned state not kept.",
    }
    with running(tmp_path, "--config", str(configuration)) as watch:
        if trouble == "stale":
            watch.fly(lambda: watch.sent_s > 1)
            watch.process.send_signal(signal.SIGUSR1)
            watch.line(said[trouble])
        else:
            watch.fly(watch.saw(said[trouble]))
        watch.plane.fix = 1
        watch.fly(watch.saw("Warning. Position. Lost."))
        watch.process.send_signal(signal.SIGINT)
        assert watch.process.wait(5) == 0
    if trouble != "unwritable":  # what is learned now is kept at the stop
        assert json.loads((folder / "learned-ridge.json").read_text())["aircraft"][0]["saved_us"] > 1


def test_what_is_only_an_exercise_touches_nothing(tmp_path: Path) -> None:
    log = tmp_path / "flown.tlog"
    plane = Plane()
    log.write_bytes(b"".join(record(1_777_000_000_000_000 + n * 250_000, plane.frames(n / 4)) for n in range(8)))
    state = tmp_path / "watchkeeper" / "learned-station.json"
    state.parent.mkdir()
    state.write_text("as it was")
    watch = subprocess.Popen(
        [sys.executable, "-m", "watchkeeper.cli.main", "watch", "--mute", "--from", log.as_uri()],
        cwd=ROOT,
        env={**os.environ, "XDG_STATE_HOME": str(tmp_path)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert watch.stdout is not None
    for line in watch.stdout:
        assert "learned" not in line
        if "Recording has ended" in line:
            watch.send_signal(signal.SIGINT)
    watch.stdout.close()
    assert watch.wait(5) == 0
    assert state.read_text() == "as it was"
