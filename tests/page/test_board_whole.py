"""The board as a program, beside real watches fed by simulated aircraft over UDP, and a real broker.

Five aircraft of two stations on one board; what becomes of it when a watch is killed, and the broker, and whoever
looks on does not read.
"""

from __future__ import annotations

import asyncio
import contextlib
import dataclasses
import json
import os
import signal
import socket
import subprocess
import sys
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any, Self

import aiohttp
import pytest

from simulators.scenario import find, load_scripted
from simulators.scripted.flight import ScriptedFlight
from tests.conftest import ROOT
from tests.edges.mqtt_parts import Broker
from tests.page.page_parts import events

PATIENCE_S = 60.0
WITHOUT_MINDER = """
import sys
from watchkeeper.cli import watch
from watchkeeper.cli.main import main
made = watch.Outfit
watch.Outfit = lambda **given: made(**(given | {"minded": None}))
sys.exit(main(sys.argv[1:]))
"""
"""The watch itself, without the process that goes on to sound after it was killed."""
AIRBORNE_S = 60.0
"""By then the aircraft of the scenario is in the air."""


def free_port(kind: socket.SocketKind) -> int:
    with socket.socket(socket.AF_INET, kind) as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class Program:
    """A process of the command line."""

    def __init__(self, folder: Path, *words: str) -> None:
        self._log = (folder / f"{words[0]}-{len([*folder.iterdir()])}.log").open("wb")
        self.process = subprocess.Popen(
            [sys.executable, "-c", WITHOUT_MINDER, *words], cwd=ROOT,
            env={**os.environ, "XDG_STATE_HOME": str(folder / "state")},
            stdout=subprocess.DEVNULL, stderr=self._log,
        )  # fmt: skip

    def said(self) -> str:
        return Path(self._log.name).read_text()

    async def end(self, number: int = signal.SIGINT, within_s: float = 10.0) -> tuple[int, float]:
        """Signal it; return its status and how long it took, s."""
        loop = asyncio.get_running_loop()
        begun_s = loop.time()
        self.process.send_signal(number)
        status = await asyncio.to_thread(self.process.wait, within_s)
        return status, loop.time() - begun_s

    def close(self) -> None:
        with contextlib.suppress(ProcessLookupError):
            self.process.kill()
        self.process.wait()
        self._log.close()


class Station:
    """A watch with its aircraft, which fly from the moment they are given something to fly."""

    def __init__(self, folder: Path, name: str, systems: tuple[int, ...], broker: Broker) -> None:
        self.name = name
        self.port = free_port(socket.SOCK_DGRAM)
        self.watch = Program(
            folder, "watch", "--from", f"udp://127.0.0.1:{self.port}", "--station", name, "--mqtt", broker.url,
            "--mute", "--quiet",
        )  # fmt: skip
        self.flying = {system: asyncio.create_task(self._fly(system)) for system in systems}

    async def _fly(self, system: int) -> None:
        """Send what the aircraft sends, at its times, from an address of its own."""
        calm = load_scripted(find("calm"))
        latitude, longitude = calm.home
        home = (latitude + 0.03 * system, longitude)  # else they would be told of each other
        scenario = dataclasses.replace(calm, system=system, home=home)
        loop = asyncio.get_running_loop()
        begun_s = loop.time() - AIRBORNE_S
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
            line.setblocking(False)
            for sent in ScriptedFlight(scenario, system).frames():
                if sent.time_s < AIRBORNE_S:
                    continue
                await asyncio.sleep(max(begun_s + sent.time_s - loop.time(), 0.0))
                with contextlib.suppress(OSError):  # the watch does not listen yet, or any more
                    line.sendto(sent.data, ("127.0.0.1", self.port))

    def silence(self, system: int) -> None:
        self.flying[system].cancel()

    def close(self) -> None:
        for task in self.flying.values():
            task.cancel()
        self.watch.close()


class Viewer:
    """Looks at the board's page by its routes, with the post's key."""

    def __init__(self, url: str, state: Path) -> None:
        self._url = url
        self._state = state
        self._news = asyncio.Event()
        self.pictures: dict[str, dict[str, Any]] = {}
        self.role: dict[str, Any] = {}

    async def __aenter__(self) -> Self:
        self._client = aiohttp.ClientSession(self._url, cookie_jar=aiohttp.CookieJar(unsafe=True))
        async with asyncio.timeout(PATIENCE_S):
            while True:
                with contextlib.suppress(aiohttp.ClientConnectionError):
                    async with self._client.get("/") as page:
                        assert page.status == 200
                        break
                await asyncio.sleep(0.05)  # it is being started
        (file,) = self._state.rglob("page-keys-*.json")
        self.keys = json.loads(file.read_text())
        async with self._client.get("/", params={"key": self.keys["post"]}) as page:
            assert page.status == 200
        self._reading = asyncio.create_task(self._read())
        return self

    async def __aexit__(self, *_: object) -> None:
        self._reading.cancel()
        await asyncio.wait([self._reading])
        await self._client.close()

    async def _read(self) -> None:
        async with self._client.get("/pictures", timeout=aiohttp.ClientTimeout(total=None)) as stream:
            async for name, data in events(stream):
                if name == "role":
                    self.role = data
                else:
                    self.pictures = {one["station"]: one for one in data}
                self._news.set()

    async def until(self, wanted: Any) -> Any:
        """Wait until something is on the page, and return it."""
        async with asyncio.timeout(PATIENCE_S):
            while not (found := wanted()):
                self._news.clear()
                await self._news.wait()
                if self._reading.done():
                    self._reading.result()
        return found

    def aircraft(self, station: str) -> dict[int, dict[str, Any]]:
        return {one["system"]: one for one in self.pictures.get(station, {"aircraft": []})["aircraft"]}

    def alert(self, station: str, system: int, rule: str) -> dict[str, Any] | None:
        alerts = self.aircraft(station).get(system, {"alerts": []})["alerts"]
        return next((one for one in alerts if one["rule"] == rule), None)

    def state(self, station: str) -> str:
        return str(self.pictures.get(station, {"state": ""})["state"])

    async def order(self, **asked: Any) -> dict[str, Any]:
        async with self._client.post("/orders", json=asked, headers={"Origin": self._url}) as answer:
            found: dict[str, Any] = await answer.json()
            return found


@contextlib.contextmanager
def who_never_reads(port: int) -> Iterator[None]:
    with contextlib.ExitStack() as stack:
        for _ in range(3):
            one = stack.enter_context(socket.socket())
            one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            one.connect(("127.0.0.1", port))
            one.sendall(f"GET /pictures HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        yield


@contextlib.asynccontextmanager
async def place(folder: Path, broker: Broker) -> AsyncIterator[tuple[Station, Station, Program, int]]:
    port = free_port(socket.SOCK_STREAM)
    with contextlib.ExitStack() as stack:
        ridge = Station(folder, "ridge", (21, 22, 23), broker)
        stack.callback(ridge.close)
        meadow = Station(folder, "meadow", (31, 32), broker)
        stack.callback(meadow.close)
        board = Program(folder, "board", "--mqtt", broker.url, "--page", f"127.0.0.1:{port}")
        stack.callback(board.close)
        yield ridge, meadow, board, port


@pytest.mark.timeout(300)
async def test_five_aircraft_of_two_stations_on_one_board(broker: Broker, tmp_path: Path) -> None:
    async with (
        place(tmp_path, broker) as (ridge, meadow, board, port),
        Viewer(f"http://127.0.0.1:{port}", tmp_path / "state") as viewer,
    ):
        with who_never_reads(port):
            await viewer.until(lambda: len(viewer.aircraft("ridge")) == 3 and len(viewer.aircraft("meadow")) == 2)
            assert viewer.role["role"] == "post"

            def all_placed() -> bool:
                crafts = [*viewer.aircraft("ridge").values(), *viewer.aircraft("meadow").values()]
                return len(crafts) == 5 and all(one["place"] and one["histories"] for one in crafts)

            await viewer.until(all_placed)
            assert set(viewer.aircraft("ridge")) == {21, 22, 23}
            assert set(viewer.aircraft("meadow")) == {31, 32}
            assert {one["exercise"] for one in viewer.pictures.values()} == {False}
            assert viewer.aircraft("ridge")[21]["phase"] == "airborne"

            # one falls silent: who is in need comes first, and the post's acknowledgement is the post's alone
            ridge.silence(22)
            await viewer.until(lambda: viewer.alert("ridge", 22, "link-lost"))
            assert list(viewer.pictures) == ["ridge", "meadow"]
            assert next(iter(viewer.aircraft("ridge"))) == 22
            about = {"station": "ridge", "aircraft": 22, "rule": "link-lost"}
            assert await viewer.order(action="acknowledge", **about) == {"done": True}
            seen = await viewer.until(
                lambda: (one := viewer.alert("ridge", 22, "link-lost")) and one["acknowledged_by"] and one
            )
            assert (seen["acknowledged_by"], seen["state"]) == (["post"], "unacknowledged")
            at = viewer.pictures["ridge"]["time"]
            refused = await viewer.order(action="shelve", minutes=5, **about)
            assert refused == {"done": False, "reason": refused["reason"]}
            assert refused["reason"] not in ("", "Not confirmed by the watch.")

            # a watch is killed
            assert (await meadow.watch.end(signal.SIGKILL))[0] == -signal.SIGKILL
            await viewer.until(lambda: viewer.state("meadow") == "lost")
            assert viewer.state("ridge") == "watching"
            assert [one["answer"]["standing"] for one in viewer.pictures["meadow"]["aircraft"]] == ["unknown"] * 2
            answer = await viewer.order(action="acknowledge", station="meadow", aircraft=31, rule="link-lost")
            assert answer["reason"] == "The broker says that the watch has died or lost its line."

            # the pilot is told again all the same (every 30 s by the rule)
            def told_again() -> bool:
                return any(
                    one["aircraft"] == 22 and "Link" in one["words"] and one["time"] > at
                    for one in viewer.pictures["ridge"]["said"]
                )

            await viewer.until(told_again)

            # the broker falls, and comes back without anything that it knew
            broker.stop()
            await viewer.until(
                lambda: viewer.state("ridge") == "lost" and any("board" in one for one in viewer.pictures)
            )
            broker.start()
            await viewer.until(lambda: viewer.state("ridge") == "watching")
            await viewer.until(lambda: viewer.alert("ridge", 22, "link-lost"))
            assert viewer.state("meadow") == "lost"
            await viewer.until(lambda: not any("board" in one for one in viewer.pictures))
        status, took_s = await board.end()
        assert status == 0
        print(f"board ended in {took_s:.2f} s")
        assert "Traceback" not in board.said()


async def test_a_board_whose_broker_is_away_runs_and_says_so(broker: Broker, tmp_path: Path) -> None:
    broker.stop()
    port = free_port(socket.SOCK_STREAM)
    board = Program(tmp_path, "board", "--mqtt", broker.url, "--page", f"127.0.0.1:{port}")
    try:
        async with Viewer(f"http://127.0.0.1:{port}", tmp_path / "state") as viewer:
            await viewer.until(lambda: viewer.pictures)
            (own,) = viewer.pictures.values()
            assert own["state"] == "lost"
            assert own["alerts"][0]["callout"] == "No message broker. Nothing here is current."
        assert "Traceback" not in board.said()
        assert viewer.keys["post"] not in board.said()
        assert (await board.end())[0] == 0
    finally:
        board.close()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "the following arguments are required: --mqtt"),
        (["--mqtt", "http://x"], "--mqtt: address begins neither with mqtt:// nor with mqtts://"),
        (["--mqtt", "mqtt://127.0.0.1", "--page", "here"], "--page: not HOST:PORT"),
        (
            ["--mqtt", "mqtt://127.0.0.1", "--config", "nowhere.toml"],
            "nowhere.toml: no such configuration file",
        ),
    ],
)
def test_what_cannot_work_is_said_in_one_line(words: list[str], said: str, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "watchkeeper.cli.main", "board", *words],
        cwd=ROOT, env={**os.environ, "XDG_STATE_HOME": str(tmp_path)}, capture_output=True, text=True, check=False,
        timeout=PATIENCE_S,
    )  # fmt: skip
    assert done.returncode == 2
    assert said in done.stderr
    assert done.stderr.count("\n") == 1
