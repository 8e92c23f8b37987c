"""Who listens to a broker that comes and goes: bare paho subscribers that come back, and a drill as it is run."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import uuid4

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from tests.conftest import ROOT

PATIENCE_S = 60.0
LAUNCH = """
import sys
from watchkeeper.cli import outfit
from watchkeeper.cli.main import main
from watchkeeper.edges.mqtt.outlet import Mqtt
ours = dict(only_3_1_1={older}, hold_s=3.0, first_pause_s=0.2)
outfit.Mqtt = lambda *given, **named: Mqtt(*given, **(named | ours))
sys.exit(main(sys.argv[1:]))
"""
"""The program itself, in one version of the protocol, and with less patience than in the field."""


@dataclass(frozen=True)
class Speaks:
    """A version of the protocol, of watch and subscribers."""

    name: str
    older: bool

    @property
    def version(self) -> MQTTProtocolVersion:
        return MQTTProtocolVersion.MQTTv311 if self.older else MQTTProtocolVersion.MQTTv5


class Subscriber:
    """Is there all along: comes back within half a second when the broker does. `session`: one that lasts."""

    def __init__(self, port: int, speaks: Speaks, *, session: bool) -> None:
        self.heard: list[tuple[str, dict[str, Any] | None, bool]] = []
        """Topic, payload (None: emptied), whether it was retained."""
        self._news = threading.Condition()
        self.connected = 0
        self._ready = 0
        client_id = uuid4().hex[:20]
        if speaks.older:
            self._client = paho.Client(
                CallbackAPIVersion.VERSION2, client_id, clean_session=not session, protocol=speaks.version
            )
        else:
            self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id, protocol=speaks.version)
        self._client.reconnect_delay_set(0.25, 0.5)  # type: ignore[arg-type]  # seconds; fractions do
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        options: dict[str, Any] = {}
        if session and not speaks.older:
            lasting = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            lasting.SessionExpiryInterval = 3600
            options = {"clean_start": False, "properties": lasting}
        self._client.connect("127.0.0.1", port, keepalive=5, **options)
        self._client.loop_start()
        self.until(lambda: self._ready > 0)

    def _on_connect(self, client: paho.Client, *_: object) -> None:
        self.connected += 1
        client.subscribe("#", 1)

    def _on_subscribe(self, *_: object) -> None:
        with self._news:
            self._ready += 1
            self._news.notify_all()

    def _on_message(self, _client: object, _data: object, message: paho.MQTTMessage) -> None:
        payload = json.loads(message.payload) if message.payload else None
        with self._news:
            self.heard.append((message.topic, payload, bool(message.retain)))
            self._news.notify_all()

    def until(self, wanted: Callable[[], bool], within_s: float = PATIENCE_S) -> None:
        with self._news:
            assert self._news.wait_for(wanted, within_s), "waited in vain"

    def until_event(self, **values: Any) -> None:
        """Wait for an event with these values."""
        self.until(lambda: any(values.items() <= event.items() for event in self.events()))

    def until_status(self, state: str, times: int = 1) -> None:
        self.until(
            lambda: (
                sum(t.endswith("/status") and (p or {}).get("state") == state for t, p, _ in self.heard) >= times
            )
        )

    def events(self) -> list[dict[str, Any]]:
        """Return every event once, as it was first heard."""
        seen: dict[str, dict[str, Any]] = {}
        for topic, payload, _ in [*self.heard]:
            if topic.endswith("/event") and payload is not None:
                seen.setdefault(payload["message_id"], payload)
        return [*seen.values()]

    def doubled(self) -> int:
        """Return how many events came more than once."""
        return sum(topic.endswith("/event") for topic, _, _ in self.heard) - len(self.events())

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def retained(port: int, speaks: Speaks) -> dict[str, str]:
    """Return topic and state of everything that a broker holds, as somebody sees it who comes late."""
    late = Subscriber(port, speaks, session=False)
    late.until(lambda: any(topic.endswith("/status") and kept for topic, _, kept in late.heard))
    late._client.publish("end", b"{}", 1)  # after all that was retained: order is kept for each subscriber
    late.until(lambda: any(topic == "end" for topic, _, _ in late.heard))
    late.close()
    return {topic: payload["state"] for topic, payload, kept in late.heard if kept and payload is not None}


class Drill:
    """A drill that sends messages, as a process of its own."""

    def __init__(self, folder: Path, url: str, speaks: Speaks, speed: float) -> None:
        self._logs = folder / "watchkeeper"
        self._before = sum(map(_lines, self._logs.glob("*/decisions.jsonl")))
        command = [sys.executable, "-c", LAUNCH.format(older=speaks.older), "drill", "four-faults"]
        self.process = subprocess.Popen(
            [*command, "--speed", str(speed), "--mqtt", url, "--station", "field-1", "--mute", "--json"],
            cwd=ROOT, env={**os.environ, "XDG_STATE_HOME": str(folder)}, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        self._lines: list[dict[str, Any]] = []
        self._news = threading.Condition()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            with self._news:
                self._lines.append(json.loads(line))
                self._news.notify_all()

    def until(self, **values: Any) -> float:
        """Wait until the drill prints such a change; return its time, in seconds of the drill."""
        found: list[float] = []

        def there() -> bool:
            found[:] = [one["elapsed_s"] for one in self._lines if values.items() <= one.items()]
            return bool(found)

        with self._news:
            assert self._news.wait_for(there, PATIENCE_S), f"the drill never said {values}"
        return found[0]

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.end()

    def stop(self) -> None:
        self.process.terminate()
        self.end()

    def end(self) -> None:
        self.process.wait(PATIENCE_S)
        self._reader.join(5)
        assert self.process.stdout is not None
        self.process.stdout.close()

    def decisions(self) -> list[dict[str, Any]]:
        """Return what the watch log says was decided, changes of alerts only."""
        (log,) = self._logs.glob("*/decisions.jsonl")  # by the scenario's time, so every drill adds to it
        lines = log.read_text().rpartition("\n")[0].splitlines()[self._before :]
        return [one for one in map(json.loads, lines) if one["kind"] == "alert"]


def _lines(path: Path) -> int:
    return path.read_text().count("\n")


KEYS = ("time", "elapsed_s", "aircraft", "rule", "level", "change", "state", "callout", "by")


def changes(found: Sequence[dict[str, Any]]) -> dict[tuple[Any, Any], list[tuple[Any, ...]]]:
    """Return, by alert, what became of it, in order."""
    by_alert: dict[tuple[Any, Any], list[tuple[Any, ...]]] = {}
    for one in found:
        if "change" in one:
            by_alert.setdefault((one["aircraft"], one["rule"]), []).append(tuple(one[key] for key in KEYS))
    return by_alert


def left_in(folder: Path) -> list[dict[str, Any]]:
    """Return the events that wait in the outbox of a drill that has ended, read by hand."""
    (path,) = (folder / "watchkeeper").glob("outbox-*.exercise.jsonl")
    waiting: dict[int, dict[str, Any]] = {}
    for line in map(json.loads, path.read_text().splitlines()):
        if "event" in line:
            waiting[line["put"]] = line["event"]
        for number in line.get("done", []):
            waiting.pop(number, None)
    return [*waiting.values()]
