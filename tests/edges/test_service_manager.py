"""What a service manager is told: a real datagram socket, by the words of sd_notify(3)."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import subprocess
import sys
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.recordings import shipped
from watchkeeper.daemon import Watch
from watchkeeper.edges.clock import Clock
from watchkeeper.edges.host.service_manager import MAX_STATUS, ServiceManager
from watchkeeper.edges.outlets import Hub
from watchkeeper.engine import Engine


class Manager:
    """The other end."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.settimeout(60)
        self.socket.bind(b"\0" + address[1:].encode() if address[0] == "@" else address)

    def next(self) -> list[str]:
        return self.socket.recv(4096).decode().split("\n")

    def waiting(self) -> list[list[str]]:
        """Return what has come."""
        found = []
        self.socket.setblocking(False)
        try:
            while True:
                found.append(self.next())
        except BlockingIOError:
            self.socket.settimeout(60)
            return found


class Time:
    """A clock that is moved by hand."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def ns(self) -> int:
        return round(self.now_s * 1e9)


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Manager]:
    made = Manager(str(tmp_path / "notify") if request.param == "path" else f"@{uuid.uuid4()}")
    yield made
    made.socket.close()


def told(
    manager: Manager, time: Time, watchdog_s: float | None = None, status: Callable[[], str] = str
) -> ServiceManager:
    return ServiceManager(manager.address, watchdog_s, status, monotonic_ns=time.ns)


def test_begin_status_reload_end(manager: Manager) -> None:
    time = Time()
    heard = ["nothing heard yet"]
    one = told(manager, time, status=lambda: heard[-1])
    assert manager.waiting() == []  # not before the loop runs
    one.ticked()
    one.ticked()
    assert manager.waiting() == [["READY=1", "STATUS=nothing heard yet"]]
    time.now_s += 1.0
    one.ticked()
    assert manager.waiting() == []  # nothing new
    heard.append("udp: aircraft 42\nREADY=0" + "x" * 9000)
    time.now_s += 1.0
    one.ticked()
    [[status]] = manager.waiting()  # one line, and not another's word in it
    assert status.startswith("STATUS=udp: aircraft 42?READY=0xx")
    assert len(status) == len("STATUS=") + MAX_STATUS
    one.reloading()
    one.reloaded()
    one.stopping()
    # MONOTONIC_USEC: CLOCK_MONOTONIC in microseconds when RELOADING was sent
    assert manager.waiting() == [["RELOADING=1", "MONOTONIC_USEC=1002000000"], ["READY=1"], ["STOPPING=1"]]


def test_it_is_told_alive_at_half_of_its_patience_and_only_while_the_loop_runs(manager: Manager) -> None:
    # sd_watchdog_enabled(3): "at least once in half of the time"
    time = Time()
    one = told(manager, time, watchdog_s=10.0)
    beats_s = []
    for _ in range(301):
        one.ticked()
        beats_s += [time.now_s - 1000.0 for lines in manager.waiting() if lines == ["WATCHDOG=1"]]
        time.now_s += 0.1
    assert beats_s == pytest.approx([5.0, 10.0, 15.0, 20.0, 25.0, 30.0], abs=0.15)
    time.now_s += 60.0  # the loop hangs: nobody calls, nothing is sent
    assert manager.waiting() == []
    one.stopping()


def test_a_manager_that_is_not_there_or_does_not_read_is_not_waited_for(tmp_path: Path) -> None:
    time = Time()
    gone = ServiceManager(str(tmp_path / "none"), 10.0, str, monotonic_ns=time.ns)
    gone.ticked()
    gone.reloading()
    manager = Manager(str(tmp_path / "none"))
    gone.ticked()
    assert [lines[0] for lines in manager.waiting()] == ["READY=1"]  # told as soon as it can be
    for _ in range(3000):  # more than its queue takes
        time.now_s += 5.0
        gone.ticked()
    assert 0 < len(manager.waiting()) < 3000
    gone.ticked()
    assert manager.waiting() == [["WATCHDOG=1"]]
    gone.stopping()
    manager.socket.close()


def test_a_status_that_fails_is_no_end(manager: Manager) -> None:
    def broken() -> str:
        raise KeyError("x")

    one = told(manager, Time(), status=broken)
    one.ticked()
    assert manager.waiting() == [["READY=1", "STATUS=not known: KeyError"]]
    one.stopping()


@pytest.mark.parametrize(
    ("environment", "made", "beats"),
    [
        ({}, False, None),
        ({"WATCHDOG_USEC": "1000000"}, False, None),
        ({"NOTIFY_SOCKET": ""}, False, None),
        ({"NOTIFY_SOCKET": "vsock:2:1"}, False, None),
        ({"NOTIFY_SOCKET": "/x"}, True, None),
        ({"NOTIFY_SOCKET": "/x", "WATCHDOG_USEC": "3000000"}, True, 1.5),
        ({"NOTIFY_SOCKET": "/x", "WATCHDOG_USEC": "3000000", "WATCHDOG_PID": str(os.getpid())}, True, 1.5),
        ({"NOTIFY_SOCKET": "/x", "WATCHDOG_USEC": "3000000", "WATCHDOG_PID": "1"}, True, None),
        ({"NOTIFY_SOCKET": "/x", "WATCHDOG_USEC": "0"}, True, None),
        ({"NOTIFY_SOCKET": "/x", "WATCHDOG_USEC": "-5"}, True, None),
        ({"NOTIFY_SOCKET": "@x", "WATCHDOG_USEC": "soon"}, True, None),
    ],
)
def test_of_the_environment(environment: dict[str, str], made: bool, beats: float | None) -> None:
    # sd_watchdog_enabled(3): WATCHDOG_PID unset, or this process's
    left = {"PATH": "/bin", **environment}
    one = ServiceManager.of_environment(left, str)
    assert left == {"PATH": "/bin"}  # no child speaks for the watch
    assert (one is not None) == made
    if one is not None:
        assert one._beat_every_s == beats


async def test_nothing_is_told_while_the_loop_of_a_watch_is_held_up(tmp_path: Path) -> None:
    manager = Manager(str(tmp_path / "notify"))
    clock = Clock()
    told = ServiceManager(manager.address, 0.2, str)
    watch = Watch(Engine(shipped()), clock, tell=lambda _: None, manager=told)
    watch.hub = Hub(None, watch.report)

    def hang() -> None:
        manager.waiting()
        manager.socket.settimeout(1.0)
        with pytest.raises(TimeoutError):  # three times its patience, with every other thread free to run
            manager.next()
        manager.socket.settimeout(60)
        asyncio.get_running_loop().call_later(0.3, watch.stop)

    async def feed() -> None:
        await asyncio.to_thread(manager.next)
        assert await asyncio.to_thread(manager.next) == ["WATCHDOG=1"]
        asyncio.get_running_loop().call_soon(hang)
        await asyncio.Event().wait()

    watch.start(clock.now_us())
    await watch.run([feed], describe=False)
    assert manager.waiting()[-2:] == [["WATCHDOG=1"], ["STOPPING=1"]]
    manager.socket.close()


def test_a_real_watch_tells_in_order(tmp_path: Path) -> None:
    manager = Manager(str(tmp_path / "notify"))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    watch = subprocess.Popen(
        [sys.executable, "-m", "watchkeeper.cli.main", "watch", "--mute", "--quiet",
         "--from", f"udp://127.0.0.1:{port}"],
        env={**os.environ, "NOTIFY_SOCKET": manager.address, "WATCHDOG_USEC": "400000",
             "XDG_STATE_HOME": str(tmp_path)},
        stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        assert manager.next() == ["READY=1", "STATUS=nothing heard yet"]
        assert [manager.next(), manager.next()] == [["WATCHDOG=1"]] * 2
        watch.send_signal(signal.SIGHUP)
        seen = [manager.next()]
        while seen[-1] != ["READY=1"]:
            seen.append(manager.next())
        others = [lines for lines in seen if lines != ["WATCHDOG=1"]]
        assert others[0][0] == "RELOADING=1"
        assert others[0][1].startswith("MONOTONIC_USEC=")
        assert others[1:] == [["READY=1"]]
        watch.send_signal(signal.SIGSTOP)  # it hangs
        manager.waiting()
        manager.socket.settimeout(1.5)
        with pytest.raises(TimeoutError):
            manager.next()
        manager.socket.settimeout(60)
        watch.send_signal(signal.SIGCONT)
        assert manager.next() == ["WATCHDOG=1"]
        watch.terminate()
        seen = [manager.next()]
        while seen[-1] != ["STOPPING=1"]:
            seen.append(manager.next())
        assert watch.wait(30) == 0
        assert manager.waiting() == []
    finally:
        watch.kill()
        watch.communicate()
        manager.socket.close()
