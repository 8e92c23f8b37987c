"""The whole watch as it is run: telemetry in by UDP, alerts out, nothing sent back."""

from __future__ import annotations

import json
import os
import queue
import signal
import socket
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.conftest import ROOT, RequireProgram
from tests.edges.mqtt_parts import Broker
from tests.test_engine import Plane
from watchkeeper.cli.main import main

PATIENCE_S = 20.0


class Running:
    """A `watchkeeper watch` of our own, and a sender of telemetry that also listens for anything sent back."""

    def __init__(self, folder: Path, *options: str) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        self.process = subprocess.Popen(
            [
                *(sys.executable, "-m", "watchkeeper.cli.main", "watch", "--mute"),
                *("--from", f"udp://127.0.0.1:{self.port}", *options),
            ],
            cwd=ROOT,
            env={**os.environ, "XDG_STATE_HOME": str(folder)},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.said: queue.Queue[str] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self.sender = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.sender.bind(("127.0.0.1", 0))
        self.sender.settimeout(0.1)
        self.plane = Plane()
        self.sent_s = 0.0
        self.line("listening to")

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.put(line.rstrip("\n"))

    def line(self, part: str) -> str:
        """Wait for a line with these words."""
        end_s = time.monotonic() + PATIENCE_S
        while True:
            line = self.said.get(timeout=max(0.01, end_s - time.monotonic()))
            if part in line:
                return line

    def fly(self, until: Callable[[], bool]) -> None:
        """Send telemetry ten times a second until something has come about; not one byte may come back."""
        end_s = time.monotonic() + PATIENCE_S
        while not until():
            assert time.monotonic() < end_s, "waited too long"
            self.sender.sendto(self.plane.frames(self.sent_s), ("127.0.0.1", self.port))
            self.sent_s += 0.1
            with pytest.raises(TimeoutError):
                self.sender.recv(1)

    def saw(self, part: str) -> Callable[[], bool]:
        """Return whether a line with these words has come."""

        def seen() -> bool:
            while not self.said.empty():
                if part in self.said.get_nowait():
                    return True
            return False

        return seen

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(10)
        self._reader.join(10)
        assert self.process.stdout is not None
        self.process.stdout.close()
        self.sender.close()


@contextmanager
def running(folder: Path, *options: str) -> Iterator[Running]:
    watch = Running(folder, *options)
    try:
        yield watch
    finally:
        watch.close()


def test_a_watch_warns_sends_nothing_and_its_record_replays_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = tmp_path / "record"
    with running(tmp_path, "--record", str(record)) as watch:
        watch.plane.fix = 1
        watch.fly(watch.saw("WARNING   aircraft 7    Warning. Position. Lost."))
        watch.plane.fix = 3
        watch.fly(watch.saw("[over]"))
        watch.process.send_signal(signal.SIGINT)
        assert watch.process.wait(5) == 0
    assert main(["replay", str(record), "--json"]) == 0
    replayed = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    decided = [json.loads(line) for line in (record / "decisions.jsonl").read_text(encoding="utf-8").splitlines()]
    alerts = [{key: line[key] for key in replayed[0]} for line in decided if line["kind"] == "alert"]
    assert [{**line, "exercise": True} for line in alerts] == replayed
    assert {line["exercise"] for line in alerts} == {False}
    delivered = (record / "deliveries.jsonl").read_text(encoding="utf-8")
    assert '"outlet":"console","outcome":"shown"' in delivered


def test_who_is_heard_is_told_on_demand(tmp_path: Path) -> None:
    with running(tmp_path) as watch:
        watch.fly(lambda: watch.sent_s > 1)
        watch.process.send_signal(signal.SIGUSR1)
        assert "Aircraft 7" in watch.line("Aircraft 7")


def test_killed_the_broker_tells_that_it_is_lost(tmp_path: Path, require_program: RequireProgram) -> None:
    broker = Broker(require_program("mosquitto"), tmp_path)
    broker.start()
    heard: queue.Queue[tuple[str, str]] = queue.Queue()
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _c, _u, message: heard.put((message.topic, message.payload.decode()))
    client.connect("127.0.0.1", broker.port)
    client.subscribe("watchkeeper/ridge/#", qos=1)
    client.loop_start()
    try:
        with running(tmp_path, "--mqtt", broker.url, "--station", "ridge") as watch:
            watch.plane.fix = 1
            events: list[dict[str, object]] = []

            def raised() -> bool:
                while not heard.empty():
                    topic, payload = heard.get_nowait()
                    if topic == "watchkeeper/ridge/7/event":
                        events.append(json.loads(payload))
                return any(event["rule"] == "position-lost" for event in events)

            watch.fly(raised)
            assert events[0]["exercise"] is False
            watch.process.send_signal(signal.SIGKILL)
            while True:
                topic, payload = heard.get(timeout=PATIENCE_S)
                if topic == "watchkeeper/ridge/status" and json.loads(payload)["state"] == "lost":
                    break
    finally:
        client.loop_stop()
        client.disconnect()
        broker.stop()


def test_an_unreachable_broker_is_said_once_and_the_watch_goes_on(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        closed = int(free.getsockname()[1])
    with running(tmp_path, "--mqtt", f"mqtt://127.0.0.1:{closed}") as watch:
        watch.fly(watch.saw("Broker not reached"))
        watch.plane.fix = 1
        watch.fly(watch.saw("Warning. Position. Lost."))


def test_a_drill_takes_orders_by_the_clock_on_the_wall(tmp_path: Path, require_program: RequireProgram) -> None:
    broker = Broker(require_program("mosquitto"), tmp_path)
    broker.start()
    heard: queue.Queue[dict[str, object]] = queue.Queue()
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _c, _u, message: heard.put(json.loads(message.payload))
    client.connect("127.0.0.1", broker.port)
    client.subscribe("watchkeeper/drill-ridge/143/event", qos=1)
    client.loop_start()
    drill = subprocess.Popen(
        [
            *(sys.executable, "-m", "watchkeeper.cli.main", "drill", "--speed", "60", "--mute"),
            *("--mqtt", broker.url, "--station", "ridge"),
        ],
        cwd=ROOT,
        env={**os.environ, "XDG_STATE_HOME": str(tmp_path)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        event: dict[str, object] = {}
        while event.get("change") != "raised":
            event = heard.get(timeout=PATIENCE_S)
        order = {
            "message_id": str(uuid.uuid4()),
            "action": "acknowledge",
            "role": "observer",
            "at": datetime.now(UTC).isoformat(),
        }
        client.publish(f"watchkeeper/drill-ridge/143/alert/{event['rule']}/order", json.dumps(order), qos=1)
        while event.get("in_reply_to") != order["message_id"]:
            event = heard.get(timeout=PATIENCE_S)
        # it may have ended meanwhile, at sixty times real time; it must not be refused for its time
        assert event.get("change") == "acknowledged" or event.get("refused") == "nothing to acknowledge"
    finally:
        drill.kill()
        drill.wait(10)
        client.loop_stop()
        client.disconnect()
        broker.stop()
