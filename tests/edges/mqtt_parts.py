"""What the tests of the MQTT outlet share: a real mosquitto, an independent subscriber, a recorder."""

from __future__ import annotations

import asyncio
import getpass
import json
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple
from uuid import uuid4

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from watchkeeper.alerts.events import AlertChange, Change, Happening, Level, Order, State
from watchkeeper.edges.clock import utc_text
from watchkeeper.edges.mqtt.outlet import Mqtt

START_US = 1_777_887_000_000_000


class Heard(NamedTuple):
    topic: str
    payload: bytes
    retain: bool
    qos: int

    def json(self) -> dict[str, Any]:
        found = json.loads(self.payload, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
        assert isinstance(found, dict)
        return found


class Broker:
    """A mosquitto of our own on a free loopback port."""

    def __init__(self, program: str, folder: Path, extra: str = "") -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        self._program = program
        self._config = folder / "mosquitto.conf"
        access = extra or "allow_anonymous true"
        lines = (f"listener {self.port} 127.0.0.1", "persistence false", f"user {getpass.getuser()}", access)
        self._config.write_text("\n".join(lines) + "\n")
        self._process: subprocess.Popen[bytes] | None = None
        self.url = f"mqtt://127.0.0.1:{self.port}"

    def start(self) -> None:
        command = [self._program, "-c", str(self._config)]
        self._process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        end_s = time.monotonic() + 10
        while True:
            try:
                socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
            except OSError:
                assert self._process.poll() is None
                assert time.monotonic() < end_s
            else:
                return

    def reload(self) -> None:
        """Have the broker read its access rules again."""
        assert self._process is not None
        self._process.send_signal(signal.SIGHUP)

    @contextmanager
    def halted(self) -> Iterator[None]:
        """Hold the broker's process up: its kernel takes bytes, nobody answers."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)
        try:
            yield
        finally:
            self._process.send_signal(signal.SIGCONT)

    def stop(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None


class Listener:
    """A subscriber that has nothing of the outlet's: bare paho in a thread of its own."""

    def __init__(self, port: int, user: str | None = None, password: str | None = None) -> None:
        self.heard: list[Heard] = []
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id=uuid4().hex)
        if user is not None:
            self._client.username_pw_set(user, password)
        ready = self._ready = asyncio.Event()
        news = self._news = asyncio.Event()
        loop = asyncio.get_running_loop()

        def hear(_client: object, _data: object, message: paho.MQTTMessage) -> None:
            self.heard.append(Heard(message.topic, bytes(message.payload), message.retain, message.qos))
            loop.call_soon_threadsafe(news.set)

        def subscribed(*_: object) -> None:
            loop.call_soon_threadsafe(ready.set)

        self._client.on_message = hear
        self._client.on_subscribe = subscribed
        self._client.connect("127.0.0.1", port)
        self._client.subscribe("#", 1)
        self._client.loop_start()

    async def ready(self) -> None:
        await asyncio.wait_for(self._ready.wait(), 10)

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        self._client.publish(topic, payload, 1, retain)

    async def until(self, wanted: Callable[[Heard], bool], patience_s: float = 15) -> Heard:
        async with asyncio.timeout(patience_s):
            while True:
                self._news.clear()
                for one in [*self.heard]:
                    if wanted(one):
                        return one
                await self._news.wait()

    async def on(self, topic: str, patience_s: float = 15, **values: Any) -> Heard:
        """Wait for a message of that topic with those values in it."""

        def wanted(one: Heard) -> bool:
            return (
                one.topic == topic
                and bool(one.payload)
                and all(one.json().get(key) == value for key, value in values.items())
            )

        return await self.until(wanted, patience_s)

    def states(self, topic: str = "watchkeeper/field-1/status") -> list[str]:
        """Return what was said in that topic, in order; "?" for what nobody understands."""
        said: list[str] = []
        for one in self.heard:
            if one.topic == topic:
                try:
                    said.append(one.json()["state"])
                except ValueError:
                    said.append("?")
        return said

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Told:
    """What an outlet said of itself, and what it was asked."""

    def __init__(self) -> None:
        self.reports: list[tuple[str, bool, str]] = []
        self.delivered: list[tuple[Happening, str, str]] = []
        self.orders: list[Order] = []
        self.says: Callable[[Order], Sequence[Happening]] = lambda _order: []
        self.now_us = START_US
        self.step_us = 0
        self.readings: Mapping[int, Mapping[str, float | str | bool | None]] = {}
        self.asked = 0
        """How often for readings."""
        self._news = asyncio.Event()

    async def until(self, wanted: Callable[[], bool]) -> None:
        async with asyncio.timeout(15):
            while not wanted():
                self._news.clear()
                await self._news.wait()

    def outlet(self, url: str, station: str = "field-1", **options: Any) -> Mqtt:
        return Mqtt(
            url,
            station=station,
            exercise=True,
            report=self._reported,
            delivered=self._delivered,
            on_order=self._ordered,
            clock=self._clock,
            readings=self._asked,
            **{"first_pause_s": 0.05, "readings_every_s": 0.05, "hold_s": 0.05} | options,
        )

    def _clock(self) -> int:
        self.now_us += self.step_us
        self._news.set()
        return self.now_us

    def _asked(self) -> Mapping[int, Mapping[str, float | str | bool | None]]:
        self.asked += 1
        return self.readings

    def _reported(self, part: str, ok: bool, text: str) -> None:
        self.reports.append((part, ok, text))
        self._news.set()

    def _delivered(self, item: Happening, outcome: str, detail: str) -> None:
        self.delivered.append((item, outcome, detail))
        self._news.set()

    def _ordered(self, order: Order) -> Sequence[Happening]:
        self.orders.append(order)
        return self.says(order)


class Running:
    """Runs an outlet for the length of a block."""

    def __init__(self, outlet: Mqtt) -> None:
        self._outlet = outlet

    async def __aenter__(self) -> asyncio.Task[None]:
        self.task = asyncio.create_task(self._outlet.run())
        return self.task

    async def __aexit__(self, *_: object) -> None:
        self.task.cancel()
        done, _waiting = await asyncio.wait([self.task], timeout=2)
        assert done
        assert self.task.cancelled()


def change(
    state: State = State.UNACKNOWLEDGED,
    what: Change = Change.RAISED,
    *,
    rule: str = "link-lost",
    aircraft: int | None = 42,
    spoken: bool = False,
    level: Level = Level.WARNING,
    by: str | None = None,
) -> AlertChange:
    return AlertChange(
        START_US, 1_500_000, aircraft, rule, level, what, state, "Warning. Link lost.", "link.age > 3 s",
        {"link.age": 3.25, "link.margin": float("nan"), "link.fading": True, "flight.mode": None},
        spoken=spoken, by=by,
    )  # fmt: skip


def order(listener: Listener, topic: str = "42/alert/link-lost", at_us: int = START_US, **keys: Any) -> str:
    """Send an order as a crew member's device would; return its id."""
    body = {
        "message_id": str(uuid4()),
        "action": "acknowledge",
        "role": "pilot",
        "by": "Ada",
        "at": utc_text(at_us),
    }
    body |= keys
    listener.publish(f"watchkeeper/field-1/{topic}/order", json.dumps(body).encode())
    return str(body["message_id"])


def late(broker: Broker) -> Listener:
    """Return a subscriber that comes late: what it hears with the retain flag is what the broker holds."""
    return Listener(broker.port)
