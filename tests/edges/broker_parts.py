"""What the tests of the embedded broker share: its process, and independent clients."""

from __future__ import annotations

import json
import queue
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from watchkeeper.edges.broker.embedded import worker_command
from watchkeeper.edges.voice.synthesiser import worker_environment

PATIENCE_S = 30.0


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


class Got(NamedTuple):
    topic: str
    payload: bytes
    retain: bool
    qos: int


class Client:
    """A client that has nothing of ours: bare paho in a thread of its own, speaking 3.1.1."""

    def __init__(
        self,
        port: int,
        name: str = "",
        *,
        host: str = "127.0.0.1",
        will: tuple[str, bytes] | None = None,
        login: tuple[str, str] | None = None,
        keep_alive_s: int = 60,
        subscribe: str | None = None,
        protocol: MQTTProtocolVersion = MQTTProtocolVersion.MQTTv311,
    ) -> None:
        self.got: queue.Queue[Got] = queue.Queue()
        self.codes: queue.Queue[int] = queue.Queue()
        self.ended: queue.Queue[str] = queue.Queue()
        self._subscribed: queue.Queue[int] = queue.Queue()
        self._client = client = paho.Client(CallbackAPIVersion.VERSION2, name, protocol=protocol)
        client.on_connect = lambda _c, _d, _f, code, _p: self.codes.put(int(code.value))
        client.on_message = lambda _c, _d, m: self.got.put(Got(m.topic, bytes(m.payload), m.retain, m.qos))
        client.on_disconnect = lambda _c, _d, _f, code, _p: self.ended.put(str(code))
        client.on_subscribe = lambda _c, _d, _m, codes, _p: self._subscribed.put(int(codes[0].value))
        client.reconnect_delay_set(60, 60)  # never again within a test
        if will is not None:
            client.will_set(*will, qos=1, retain=True)
        if login is not None:
            client.username_pw_set(*login)
        client.connect(host, port, keep_alive_s)
        client.loop_start()
        self.code = self.codes.get(timeout=PATIENCE_S)
        if subscribe is not None:
            assert self.subscribe(subscribe) == 1

    def subscribe(self, topic: str, qos: int = 1) -> int:
        """Return the broker's answer."""
        self._client.subscribe(topic, qos)
        return self._subscribed.get(timeout=PATIENCE_S)

    def publish(self, topic: str, payload: bytes, *, retain: bool = False, wait: bool = True) -> None:
        sent = self._client.publish(topic, payload, 1, retain)
        if wait:
            sent.wait_for_publish(PATIENCE_S)
            assert sent.is_published()

    def next(self, topic: str) -> Got:
        """Wait for the next message in that topic; drop others."""
        end_s = time.monotonic() + PATIENCE_S
        while True:
            got = self.got.get(timeout=max(end_s - time.monotonic(), 0.01))
            if got.topic == topic:
                return got

    def vanish(self) -> None:
        """Break the connection without a goodbye."""
        sock = self._client.socket()
        assert isinstance(sock, socket.socket)
        sock.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Worker:
    """The broker's process by itself."""

    def __init__(
        self,
        host: str = "127.0.0.1",
        user: str | None = None,
        password: str | None = None,
        port: int | None = None,
    ) -> None:
        self.port = free_port() if port is None else port
        self.process = subprocess.Popen(
            worker_command(), stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=worker_environment()
        )
        assert self.process.stdin is not None
        asked = {"host": host, "port": self.port, "user": user, "password": password}
        self.process.stdin.write(json.dumps(asked).encode() + b"\n")
        self.process.stdin.flush()
        self.said: queue.Queue[dict[str, Any]] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        assert self.said.get(timeout=PATIENCE_S) == {"ready": True}

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.put(json.loads(line))

    def until(self, wanted: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """Wait for a line of the worker's."""
        end_s = time.monotonic() + PATIENCE_S
        while True:
            words = self.said.get(timeout=max(end_s - time.monotonic(), 0.01))
            assert "fault" not in words, words
            if wanted(words):
                return words

    def memory_bytes(self) -> int:
        """Return what the process holds in memory (manual page proc_pid_status, VmRSS)."""
        status = Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii")
        return 1024 * int(next(line for line in status.splitlines() if line.startswith("VmRSS:")).split()[1])

    def close(self) -> None:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        try:
            self.process.wait(10)
        finally:
            self.process.kill()
            self.process.wait(10)
            self._reader.join(10)
            self.process.stdout.close()
        while not self.said.empty():
            assert "fault" not in self.said.get()


class Embedded:
    """The embedded broker as one that can be stopped, with no time for a goodbye, and started again."""

    def __init__(self) -> None:
        self.port = free_port()
        self.url = f"mqtt://127.0.0.1:{self.port}"
        self._worker: Worker | None = None

    def start(self) -> None:
        self._worker = Worker(port=self.port)

    def stop(self) -> None:
        if self._worker is not None:
            self._worker.process.kill()
            self._worker.close()
            self._worker = None


@contextmanager
def worker(**options: Any) -> Iterator[Worker]:
    running = Worker(**options)
    try:
        yield running
    finally:
        running.close()


@contextmanager
def clients() -> Iterator[Callable[..., Client]]:
    """Give a maker of clients, all of which are closed at the end."""
    made: list[Client] = []

    def make(*args: Any, **options: Any) -> Client:
        made.append(Client(*args, **options))
        return made[-1]

    try:
        yield make
    finally:
        for one in made:
            one.close()
