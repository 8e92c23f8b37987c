"""`drill --serve` as it is run: pymavlink as a plain client flies the aircraft, the watch calls what it hears."""

from __future__ import annotations

import json
import math
import os
import queue
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from pymavlink import mavutil

from simulators.scenario import list_scenarios
from tests.conftest import ROOT
from watchkeeper.cli.drill_flight import BEHIND_US, DrillClock
from watchkeeper.link.encode import Encoder

M = mavutil.mavlink
PATIENCE_S = 15.0
AIRCRAFT, AUTOPILOT = 143, 1
SCHEMES = ("udp", "tcp")
CLIENTS = {"udp": "udpout", "tcp": "tcp"}
COMMAND = (sys.executable, "-m", "watchkeeper.cli.main", "drill")
GOOD = """\
scenario: jammed
about: Satellites are jammed above 10 m.
start: "2026-05-12T08:30:00Z"
duration_s: 1800
system: 143
home: [1.25, -31.5]
weather: {wind: [[0, 3, 250]]}
sky: {}
trainee_flies: true
crew:
  - {when: {at_s: 1}, do: {arm: true}}
faults:
  - fault: satellites are jammed
    when: {height_over_m: 10}
    do: {jam_db: 60}
    expect: [{rule: position-lost, within_s: 20}]
"""


def free_port(scheme: str) -> int:
    kind = socket.SOCK_DGRAM if scheme == "udp" else socket.SOCK_STREAM
    with socket.socket(socket.AF_INET, kind) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Drill:
    """The program, serving."""

    def __init__(self, folder: Path, scheme: str, *options: str) -> None:
        self.scheme, self.port = scheme, free_port(scheme)
        self.process = subprocess.Popen(
            [
                *COMMAND,
                *options,
                "--serve",
                f"{scheme}://127.0.0.1:{self.port}",
                "--speed",
                "20",
                "--mute",
                "--json",
            ],
            cwd=ROOT,
            env={**os.environ, "XDG_STATE_HOME": str(folder)},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.out: queue.Queue[str] = queue.Queue()
        self.said: queue.Queue[str] = queue.Queue()
        self._readers = [
            threading.Thread(target=self._read, args=pair, daemon=True)
            for pair in ((self.process.stdout, self.out), (self.process.stderr, self.said))
        ]
        for reader in self._readers:
            reader.start()
        self.line(self.said, "any MAVLink client can fly it")

    @staticmethod
    def _read(stream: Any, into: queue.Queue[str]) -> None:
        for line in stream:
            into.put(line.rstrip("\n"))

    @staticmethod
    def line(lines: queue.Queue[str], part: str) -> str:
        """Wait for a line with these words."""
        end_s = time.monotonic() + PATIENCE_S
        while True:
            line = lines.get(timeout=max(0.01, end_s - time.monotonic()))
            if part in line:
                return line

    def end(self, number: signal.Signals = signal.SIGINT) -> tuple[list[str], list[str]]:
        """Stop it; return what it still wrote on standard output and standard error. Its status has to be 0."""
        self.process.send_signal(number)
        assert self.process.wait(PATIENCE_S) == 0
        for reader in self._readers:
            reader.join(PATIENCE_S)
        return list(self.out.queue), list(self.said.queue)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(10)
        for reader in self._readers:
            reader.join(10)
        for stream in (self.process.stdout, self.process.stderr):
            assert stream is not None
            stream.close()


class Client:
    """A plain client: pymavlink's own connection."""

    def __init__(self, drill: Drill, system: int = 255) -> None:
        self.link: Any = mavutil.mavlink_connection(
            f"{CLIENTS[drill.scheme]}:127.0.0.1:{drill.port}", source_system=system, source_component=190
        )
        self.beat()

    def beat(self) -> None:
        self.link.mav.heartbeat_send(M.MAV_TYPE_GCS, M.MAV_AUTOPILOT_INVALID, 0, 0, M.MAV_STATE_ACTIVE)

    def next(self, kind: str, holds: Callable[[Any], bool] = lambda _: True, within_s: float = PATIENCE_S) -> Any:
        """Return the next message for which something holds, or None if it does not come; says it is here."""
        end_s = time.monotonic() + within_s
        while (left_s := end_s - time.monotonic()) > 0:
            message = self.link.recv_match(type=[kind, "HEARTBEAT"], blocking=True, timeout=min(left_s, 0.5))
            if message is not None and message.get_type() == "HEARTBEAT" and message.get_srcSystem() == AIRCRAFT:
                self.beat()
            if message is not None and message.get_type() == kind and holds(message):
                return message
        return None

    def wait(self, kind: str, holds: Callable[[Any], bool] = lambda _: True) -> Any:
        message = self.next(kind, holds)
        assert message is not None, f"no such {kind} came"
        return message

    def order(self, command: int, *params: float) -> int:
        """Give an order until it is answered, as the radio may lose it; return the MAV_RESULT."""
        for confirmation in range(8):
            self.link.mav.command_long_send(
                AIRCRAFT, AUTOPILOT, command, confirmation, *params, *(0.0,) * (7 - len(params))
            )
            answer = self.next("COMMAND_ACK", lambda ack: ack.command == command, 2.0)
            if answer is not None:
                return int(answer.result)
        raise AssertionError(f"command {command} is not answered")

    def take_off(self, height_m: float) -> None:
        """Arm and take off. At 20 times real time motors stop again within a second: it may take two goes."""
        for _ in range(5):
            assert self.order(M.MAV_CMD_COMPONENT_ARM_DISARM, 1.0) == M.MAV_RESULT_ACCEPTED
            if self.order(M.MAV_CMD_NAV_TAKEOFF, *[0.0] * 6, height_m) == M.MAV_RESULT_ACCEPTED:
                return
        raise AssertionError("no take-off")

    def height(self, over_m: float) -> Any:
        """Wait until it is higher than this."""
        return self.wait("GLOBAL_POSITION_INT", lambda one: one.relative_alt / 1000 > over_m)


@contextmanager
def serving(folder: Path, scheme: str, *options: str) -> Iterator[tuple[Drill, Client]]:
    drill = Drill(folder, scheme, *options)
    try:
        client = Client(drill)
        try:
            yield drill, client
        finally:
            client.link.close()
    finally:
        drill.close()


def away_m(position: Any) -> float:
    """Return how far from home, m; 110 574 m a degree of latitude at the equator, 111 293 m of longitude."""
    return math.hypot((position.lat / 1e7 - 1.25) * 110_574, (position.lon / 1e7 + 31.5) * 111_293)


def alerts(lines: list[str]) -> list[dict[str, Any]]:
    """Return the lines of standard output, each of which has to be a JSON object of an exercise."""
    read = [json.loads(line) for line in lines]
    assert all(isinstance(one, dict) and one["exercise"] is True and one["rule"] for one in read)
    return read


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_client_flies_out_and_home(tmp_path: Path, scheme: str) -> None:
    with serving(tmp_path, scheme) as (drill, client):
        client.wait("HEARTBEAT", lambda one: one.get_srcSystem() == AIRCRAFT)
        client.take_off(15.0)
        client.height(14.0)
        place = (round(1.2504e7), round(-31.5e7), 20.0)
        frame = M.MAV_FRAME_GLOBAL_RELATIVE_ALT_INT
        for _ in range(5):  # the radio may lose it
            ordered = (AIRCRAFT, AUTOPILOT, frame, M.MAV_CMD_DO_REPOSITION, 0, 0, -1, 0, 0, math.nan)
            client.link.mav.command_int_send(*ordered, *place)
            if client.next("COMMAND_ACK", lambda ack: ack.command == M.MAV_CMD_DO_REPOSITION, 2.0):
                break
        client.wait("GLOBAL_POSITION_INT", lambda one: away_m(one) > 35.0)
        assert client.order(M.MAV_CMD_NAV_RETURN_TO_LAUNCH) == M.MAV_RESULT_ACCEPTED
        client.wait("EXTENDED_SYS_STATE", lambda one: one.landed_state == M.MAV_LANDED_STATE_LANDING)
        client.wait("HEARTBEAT", lambda one: one.get_srcSystem() == AIRCRAFT and not one.base_mode & 128)
        assert away_m(client.wait("GLOBAL_POSITION_INT")) < 5.0
        out, said = drill.end()
    # in good order, and served well in time at 20 times real time; what its own stages do it cannot see
    assert {one["rule"] for one in alerts(out)} <= {"watch-blind"}
    assert not [line for line in said if "Traceback" in line]
    assert any(line.startswith("at the end: landed, ") for line in said)


def test_the_watch_calls_what_happens_to_the_trainee(tmp_path: Path) -> None:
    scenario = tmp_path / "jammed.yaml"
    scenario.write_text(GOOD, encoding="utf-8")
    with serving(tmp_path, "tcp", str(scenario)) as (drill, client):
        client.wait("HEARTBEAT", lambda one: one.get_srcSystem() == AIRCRAFT)
        client.take_off(15.0)
        client.wait("STATUSTEXT", lambda one: one.text == "Mode altitude hold: fail-safe")
        first = json.loads(drill.line(drill.out, '"position-lost"'))
        assert (first["change"], first["aircraft"]) == ("raised", AIRCRAFT)
        assert client.order(M.MAV_CMD_NAV_LAND) == M.MAV_RESULT_ACCEPTED
        client.wait("HEARTBEAT", lambda one: one.get_srcSystem() == AIRCRAFT and not one.base_mode & 128)
        out, said = drill.end(signal.SIGTERM)
    assert alerts([json.dumps(first), *out])
    [verdict] = [line for line in said if line.startswith("satellites are jammed: position-lost by ")]
    assert verdict.endswith("in time")


def test_a_trainee_finds_it_standing_and_can_ask_without_flying(tmp_path: Path) -> None:
    scenario = tmp_path / "jammed.yaml"
    scenario.write_text(GOOD, encoding="utf-8")
    with serving(tmp_path, "tcp", str(scenario)) as (drill, client):
        client.link.target_system, client.link.target_component = AIRCRAFT, AUTOPILOT
        client.link.param_fetch_all()
        first = client.wait("PARAM_VALUE")
        found = {first.param_id}
        while len(found) < first.param_count:
            found.add(client.wait("PARAM_VALUE").param_id)
        beat = client.wait("HEARTBEAT", lambda one: one.get_srcSystem() == AIRCRAFT)
        assert not beat.base_mode & 128  # the crew's arming at 1 s is left to the trainee
        drill.end()


def test_a_second_client_hears_the_same_aircraft_and_rubbish_harms_nobody(tmp_path: Path) -> None:
    with serving(tmp_path, "tcp") as (drill, client):
        other = Client(drill, 254)
        try:
            with socket.create_connection(("127.0.0.1", drill.port)) as vandal:
                vandal.sendall(bytes(range(256)) * 200 + b"GET / HTTP/1.0\r\n\r\n")
            for one in (client, other):
                one.wait("HEARTBEAT", lambda beat: beat.get_srcSystem() == AIRCRAFT)
            assert other.order(M.MAV_CMD_COMPONENT_ARM_DISARM, 1.0) == M.MAV_RESULT_ACCEPTED
            client.wait("HEARTBEAT", lambda beat: beat.get_srcSystem() == AIRCRAFT and beat.base_mode & 128)
        finally:
            other.link.close()
        client.wait("HEARTBEAT", lambda beat: beat.get_srcSystem() == AIRCRAFT)
        drill.end()


def refused(*options: str) -> str:
    """Return the one line that a refused drill writes; its status has to be 2."""
    done = subprocess.run(
        [*COMMAND, *options, "--mute", "--json"], cwd=ROOT, capture_output=True, text=True, timeout=15, check=False
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.endswith("\n")
    [line] = done.stderr.splitlines()
    return line


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_port_in_use_is_told(scheme: str) -> None:
    kind = socket.SOCK_DGRAM if scheme == "udp" else socket.SOCK_STREAM
    with socket.socket(socket.AF_INET, kind) as taken:
        taken.bind(("127.0.0.1", 0))
        if scheme == "tcp":
            taken.listen()
        port = taken.getsockname()[1]
        line = refused("--serve", f"{scheme}://127.0.0.1:{port}")
    assert line == f"port {port} is in use; end the other program, or name another port"


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (
            ("--serve", "127.0.0.1:14580"),
            "'127.0.0.1:14580' is not a URL; write it like udp://127.0.0.1:14580",
        ),
        (("--serve", "upd://127.0.0.1:14580"), "cannot serve 'upd'; did you mean 'udp'?"),
        (("--serve", "serial:///dev/x"), "cannot serve 'serial'; write it like udp://127.0.0.1:14580"),
        (("--serve", "udp://127.0.0.1"), "'127.0.0.1' is not HOST:PORT; write it like 127.0.0.1:14570"),
        (
            ("--serve", "udp://192.0.2.1:14580"),
            "'192.0.2.1' is another machine; name 127.0.0.1, or allow it with --beyond",
        ),
        (
            ("four-faults", "--serve", "udp://127.0.0.1:14580"),
            "four-faults follows a script and obeys nobody; name a flown one, like open-practice",
        ),
        (
            ("--serve", "udp://127.0.0.1:14580", "--speed", "max"),
            "--serve at --speed max; name a speed that people can follow",
        ),
        (
            ("open-practise", "--serve", "udp://127.0.0.1:14580"),
            "no scenario 'open-practise'; did you mean 'open-practice'?",
        ),
        (
            ("x" * 300, "--serve", "udp://127.0.0.1:14580"),
            f"no scenario '{'x' * 60}'; one of {', '.join(list_scenarios())}",
        ),
    ],
)
def test_what_cannot_be_served_is_told_in_one_line(options: tuple[str, ...], says: str) -> None:
    assert refused(*options) == says


def test_a_bad_scenario_is_told_with_its_place(tmp_path: Path) -> None:
    scenario = tmp_path / "jammed.yaml"
    scenario.write_text(GOOD.replace("jam_db: 60", "jam_d: 60"), encoding="utf-8")
    line = refused(str(scenario), "--serve", "udp://127.0.0.1:14580")
    assert line == f"{scenario}:15:10: unknown key 'jam_d'; did you mean 'jam_db'?"


# --- faster than the machine can fly -------------------------------------------------------------------------


async def test_time_waits_for_a_flight_that_does_not_keep_up(monkeypatch: pytest.MonkeyPatch) -> None:
    now_ns = [1_000_000_000]
    monkeypatch.setattr("watchkeeper.cli.drill_flight.time.monotonic_ns", lambda: now_ns[0])
    clock = DrillClock(5_000_000, 1000.0, 600.0)
    clock.start()
    last_us = clock.now_us()

    def passed_us() -> int:
        nonlocal last_us
        now_us = clock.now_us()
        assert now_us > last_us  # strictly increasing
        last_us = now_us
        return now_us - 5_000_000

    for step in range(1, 500):
        await clock.wait_until(step * 0.02)
        now_ns[0] += 1_000_000  # the step of 0.02 s takes a millisecond, in which 1 s would pass
        assert 0 <= passed_us() - step * 20_000 <= BEHIND_US + 500
    now_ns[0] += 10_000_000  # a stall
    assert passed_us() <= 500 * 20_000 + BEHIND_US + 500
    await clock.wait_until(500 * 0.02)
    assert passed_us() - 500 * 20_000 <= BEHIND_US + 500  # time does not run after it
    now_ns[0] += 10_000_000_000
    clock.let_run()
    assert passed_us() == 600_000_000


def test_a_drill_too_fast_for_the_machine_ends_at_once_and_calls_nothing_late(tmp_path: Path) -> None:
    process = subprocess.Popen(
        [*COMMAND, "open-practice", "--speed", "1000", "--mute"],
        cwd=ROOT, env={**os.environ, "XDG_STATE_HOME": str(tmp_path)}, stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        shown: list[str] = []
        while not shown or "Turning home" not in shown[-1]:
            shown.append(process.stdout.readline())
            assert shown[-1], shown
        process.send_signal(signal.SIGINT)
        rest, said = process.communicate(timeout=PATIENCE_S)
    finally:
        if process.poll() is None:
            process.kill()
    assert process.returncode == 0
    assert not [line for line in [*shown, *rest.splitlines()] if "CAUTION" in line or "WARNING" in line]
    assert any(words in said for words in ("no alerts", "s: 1 advisory", "s: 2 advisories"))


def test_a_real_aircraft_that_comes_later_ends_the_drill(tmp_path: Path) -> None:
    with serving(tmp_path, "udp") as (drill, client):
        client.wait("HEARTBEAT", lambda one: one.get_srcSystem() == AIRCRAFT)
        beat = Encoder(7, 1).encode("HEARTBEAT", type=13, autopilot=3)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as real:
            real.sendto(beat, ("127.0.0.1", drill.port))
            assert drill.line(drill.said, "telemetry of another aircraft comes in").endswith("the drill ends")
            assert drill.process.wait(PATIENCE_S) == 0
