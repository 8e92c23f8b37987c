"""The page of a watch as it is run: a process of its own, telemetry by UDP, a browser's requests by TCP."""

from __future__ import annotations

import http.client
import json
import os
import pty
import select
import signal
import socket
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.cli.test_watch import running
from tests.conftest import ROOT
from watchkeeper.cli.main import main
from watchkeeper.page.keys import cookie_name, keys_file

PATIENCE_S = 30.0
LATEST_S = 0.3
"""From the alert to the page (the contract of the routes)."""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Looker:
    """Reads the stream of a page in a thread; keeps (wall time, event, data)."""

    def __init__(self, port: int, cookie: str = "") -> None:
        self._client = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
        self._client.request("GET", "/pictures", headers={"Cookie": cookie})
        self._answer = self._client.getresponse()
        self.events: list[tuple[float, str, Any]] = []
        self.ended = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        name = ""
        try:
            for line in self._answer:
                text = line.decode().rstrip("\n")
                if text.startswith("event: "):
                    name = text.removeprefix("event: ")
                elif text.startswith("data: "):
                    self.events.append((time.time(), name, json.loads(text.removeprefix("data: "))))
        except OSError:
            pass
        finally:
            self.ended.set()

    def first(self, fits: Callable[[dict[str, Any]], bool]) -> float | None:
        """Return when the first picture came that fits."""
        for at_s, name, data in [*self.events]:
            if name == "picture" and fits(data[0]):
                return at_s
        return None

    def close(self) -> None:
        self._thread.join(PATIENCE_S)
        self._answer.close()
        self._client.close()


def alert(picture: dict[str, Any], rule: str) -> dict[str, Any] | None:
    listed = [*picture["alerts"], *(one for craft in picture["aircraft"] for one in craft["alerts"])]
    return next((one for one in listed if one["rule"] == rule), None)


def shown(by: list[str], state: str) -> Callable[[dict[str, Any]], bool]:
    """Return whether a picture shows the lost position so."""

    def fits(picture: dict[str, Any]) -> bool:
        one = alert(picture, "position-lost")
        return one is not None and (one["acknowledged_by"], one["state"]) == (by, state)

    return fits


def order(port: int, cookie: str, **body: Any) -> dict[str, Any]:
    client = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
    headers = {"Content-Type": "application/json", "Cookie": cookie, "Origin": f"http://127.0.0.1:{port}"}
    try:
        client.request("POST", "/orders", json.dumps({"station": "station", **body}), headers)
        found: dict[str, Any] = json.load(client.getresponse())
    finally:
        client.close()
    return found


def keys_of(folder: Path, station: str = "station") -> dict[str, Any]:
    found: dict[str, Any] = json.loads(keys_file(folder / "watchkeeper", station).read_text())
    return found


def cookie(folder: Path, role: str) -> str:
    return f"{cookie_name('station')}={keys_of(folder)[role]}"


def test_an_alert_is_on_the_page_in_time_and_is_acknowledged_there(tmp_path: Path) -> None:
    port = free_port()
    record = tmp_path / "record"
    with running(tmp_path, "--page", f"127.0.0.1:{port}", "--record", str(record)) as watch:
        look = Looker(port, cookie(tmp_path, "pilot"))
        watch.fly(lambda: look.first(lambda one: bool(one["aircraft"])) is not None)
        assert look.events[0][1:] == ("role", {"role": "pilot", "can": look.events[0][2]["can"]})
        assert "acknowledge" in look.events[0][2]["can"]
        watch.plane.fix = 1
        watch.fly(lambda: look.first(lambda one: alert(one, "position-lost") is not None) is not None)
        shown_s = look.first(lambda one: alert(one, "position-lost") is not None)
        assert shown_s is not None

        told = {"aircraft": 7, "rule": "position-lost"}
        other = order(port, cookie(tmp_path, "observer"), action="acknowledge", **told)
        assert other == {"done": True}
        # only the pilot's quiets it (design, section 9)
        watch.fly(lambda: look.first(shown(["observer"], "unacknowledged")) is not None)

        assert order(port, cookie(tmp_path, "pilot"), action="acknowledge", **told) == {"done": True}
        again = order(port, cookie(tmp_path, "pilot"), action="acknowledge", **told)
        assert again == {"done": False, "reason": "nothing to acknowledge"}
        watch.fly(lambda: look.first(shown(["observer", "pilot"], "acknowledged")) is not None)

        watch.process.send_signal(signal.SIGINT)
        assert watch.process.wait(10) == 0
        assert look.ended.wait(PATIENCE_S)
        look.close()
        assert look.events[-1][2][0]["state"] == "stopped"  # a stop is no loss
    decided = [json.loads(line) for line in (record / "decisions.jsonl").read_text(encoding="utf-8").splitlines()]
    raised = next(one for one in decided if one.get("rule") == "position-lost" and one.get("change") == "raised")
    raised_s = datetime.fromisoformat(raised["time"]).timestamp()
    assert shown_s - raised_s < LATEST_S
    assert not list(record.rglob("*key*"))


def test_a_phone_is_known_again_after_the_watch_was_killed(tmp_path: Path) -> None:
    port = free_port()
    with running(tmp_path, "--page", f"127.0.0.1:{port}") as watch:
        first = keys_of(tmp_path)
        phone = cookie(tmp_path, "observer")
        file = keys_file(tmp_path / "watchkeeper", "station")
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
        watch.process.kill()
        watch.process.wait(10)
    with running(tmp_path, "--page", f"127.0.0.1:{port}") as watch:
        assert keys_of(tmp_path) == first
        look = Looker(port, phone)
        watch.fly(lambda: bool(look.events))
        assert look.events[0][2]["role"] == "observer"
        watch.process.kill()
        look.close()


def test_damaged_keys_are_told_and_made_anew_and_drills_have_their_own(tmp_path: Path) -> None:
    file = keys_file(tmp_path / "watchkeeper", "station")
    file.parent.mkdir(parents=True)
    file.write_bytes(b'{"format": 1, "pilot": "short"}')
    port = free_port()
    watch = Starting(tmp_path, "watch", "--page", f"127.0.0.1:{port}", "--from", f"udp://127.0.0.1:{free_port()}")
    with watch.going() as said:
        assert any(str(file) in line and "new keys" in line for line in said("listening to"))
    found = keys_of(tmp_path)
    assert len({found["pilot"], found["observer"], found["post"]}) == 3
    with Starting(tmp_path, "drill", "calm", "--page", f"127.0.0.1:{port}").going() as said:
        said("drill calm")
    assert keys_of(tmp_path) == found
    assert keys_of(tmp_path, "drill-station")["pilot"] not in found.values()


class Starting:
    """The program, started; with `terminal`, at a terminal."""

    def __init__(self, folder: Path, *words: str, terminal: bool = False) -> None:
        self._words = words
        self._folder = folder
        self._terminal = terminal

    @contextmanager
    def going(self) -> Iterator[Callable[[str], list[str]]]:
        """Give a function that returns what is said up to a line with these words."""
        out, child = pty.openpty() if self._terminal else os.pipe()
        process = subprocess.Popen(
            [sys.executable, "-m", "watchkeeper.cli.main", *self._words, "--mute"],
            cwd=ROOT,
            env={**os.environ, "XDG_STATE_HOME": str(self._folder), "TERM": "dumb"},
            stdin=subprocess.DEVNULL,
            stdout=child,
            stderr=child,
        )
        os.close(child)

        def until(words: str) -> list[str]:
            data = b""
            end_s = time.monotonic() + PATIENCE_S
            while words.encode() not in data:
                ready, _, _ = select.select([out], [], [], max(0.0, end_s - time.monotonic()))
                assert ready, data.decode()
                part = os.read(out, 65536)
                assert part, data.decode()
                data += part
            return data.decode().splitlines()

        try:
            yield until
        finally:
            process.kill()
            process.wait(10)
            os.close(out)


def test_keys_and_a_code_are_shown_at_a_terminal_and_nowhere_else(tmp_path: Path) -> None:
    port = free_port()
    words = ("watch", "--page", f"0.0.0.0:{port}", "--from", f"udp://127.0.0.1:{free_port()}")
    with Starting(tmp_path, *words, terminal=True).going() as said:
        shown = said("listening to")
    keys = keys_of(tmp_path)
    for role in ("pilot", "observer", "post"):
        assert any(f"/?key={keys[role]}" in line and role in line for line in shown), role
    assert sum("█" in line for line in shown) > 10
    assert any("open to the network" in line for line in shown)
    with Starting(tmp_path, *words).going() as said:
        logged = "\n".join(said("listening to"))
    assert "open to the network" in logged
    assert "page-keys" in logged
    assert not any(str(key) in logged for key in keys.values() if isinstance(key, str))
    assert "█" not in logged


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["watch", "--page", "127.0.0.1"], "--page: not HOST:PORT; write HOST:PORT, for example 127.0.0.1:8080"),
        (["watch", "--page", "127.0.0.1:0"], "--page: port 0 is none"),
        (["watch", "--page", "192.0.2.7:8080"], "--page: no page at 192.0.2.7:8080: this machine has no such"),
        (["watch", "--page", "127.0.0.1:{taken}"], "--page: 127.0.0.1:{taken} is in use; end the other program"),
        (["drill", "calm", "--page", "127.0.0.1:{taken}"], "--page: 127.0.0.1:{taken} is in use"),
        (["watch", "--page", "[::1]:{taken6}"], "--page: [::1]:{taken6} is in use"),
        (["watch", "--page", "no.such.name.invalid:8080"], "--page: no page at no.such.name.invalid:8080: "),
        (["drill", "calm", "--speed", "max", "--page", "127.0.0.1:8080"], "--page at --speed max"),
        (["watch", "--config", "{config}"], "{config}:1:1: 'page': "),
    ],
)
def test_what_cannot_be_served_is_one_line_and_status_2(
    words: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    config = tmp_path / "watch.toml"
    config.write_text("page = 8080\n")
    with socket.socket() as four, socket.socket(socket.AF_INET6) as six:
        four.bind(("127.0.0.1", 0))
        four.listen()
        six.bind(("::1", 0))
        six.listen()
        filled = {"taken": four.getsockname()[1], "taken6": six.getsockname()[1], "config": config}
        source = ["--from", f"udp://127.0.0.1:{free_port()}"] if words[0] == "watch" else []
        assert main([*(word.format(**filled) for word in words), *source, "--mute"]) == 2
    found = capfd.readouterr()
    assert found.err.startswith(said.format(**filled)), found.err
    assert len(found.err.splitlines()) == 1
    assert found.out == ""
