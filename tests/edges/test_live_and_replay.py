"""What a live watch decides, a replay of its recording decides: the same lines, byte for byte."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.conftest import RequireData
from watchkeeper.alerts.events import AlertChange, Happening, Order, Preparation, Step
from watchkeeper.edges.records.folder import open_recording
from watchkeeper.edges.records.jsonlines import decision_line
from watchkeeper.edges.records.recorder import Recorder
from watchkeeper.engine import Engine
from watchkeeper.link.encode import Encoder
from watchkeeper.resources import shipped_rules
from watchkeeper.rules.load import RuleSet, load_packs

START_US = 1_777_887_000_123_457
SOURCE = "udp://127.0.0.1:14570"


@pytest.fixture(scope="module")
def rules() -> RuleSet:
    return load_packs(
        [(str(path), path.read_text(encoding="utf-8")) for path in sorted(shipped_rules().glob("*.yaml"))]
    )


class LiveWatch:
    """Drives an engine and a recorder as the daemon does: each call at its own time, ticks when due."""

    def __init__(self, rules: RuleSet, folder: Path) -> None:
        self.engine = Engine(rules)
        self.recorder = Recorder(folder, _no_report, START_US)
        self.now_us = START_US
        self.lines = _lines(self.engine.tick(START_US / 1e6))
        self.happenings: list[Happening] = []

    def at(self, now_us: int) -> None:
        """Let time pass until `now_us`, ticking a little late each time as timers do."""
        while (due_s := self.engine.next_due_s()) is not None and due_s * 1e6 + 137 < now_us:
            self.now_us = round(due_s * 1e6) + 137
            self._take(self.engine.tick(self.now_us / 1e6))
            self.recorder.ticked(self.now_us)
        self.now_us = max(now_us, self.now_us + 1)

    def receive(self, source: str, data: bytes) -> None:
        self.recorder.received(source, data, self.now_us)
        self._take(self.engine.receive(source, data, self.now_us / 1e6))

    def order(self, order: Order) -> None:
        self.now_us += 1
        self.recorder.ordered(order, self.now_us)
        self._take(self.engine.order(order, self.now_us / 1e6))

    def stop(self) -> None:
        self.now_us += 1
        self._take(self.engine.tick(self.now_us / 1e6))
        self.recorder.close(self.now_us, timeout_s=10)

    def _take(self, happenings: list[Happening]) -> None:
        self.happenings += happenings
        self.lines += _lines(happenings)


def _no_report(part: str, ok: bool, text: str) -> None:
    raise AssertionError((part, ok, text))


def _lines(happenings: list[Happening]) -> list[str]:
    return [decision_line(one, exercise=False) for one in happenings]


def replay(rules: RuleSet, folder: Path) -> list[str]:
    engine = Engine(rules)
    return [line for event in open_recording(folder).events() for line in _lines(event.into(engine))]


def flight(system: int) -> Iterator[bytes]:
    """Yield a tenth of a second of telemetry of an aircraft in the air, again and again."""
    encoder = Encoder(system, 1)
    for n in range(100_000):
        parts = [encoder.encode("GLOBAL_POSITION_INT", time_boot_ms=n * 100, relative_alt=40_000, lat=1, lon=1)]
        if n % 10 == 0:
            parts.append(encoder.encode("HEARTBEAT", type=13, autopilot=3, base_mode=0x81, system_status=4))
            parts.append(encoder.encode("EXTENDED_SYS_STATE", landed_state=2))
            parts.append(
                encoder.encode("SYS_STATUS", voltage_battery=44_000, current_battery=3000, battery_remaining=60)
            )
        yield b"".join(parts)


GROUNDED = b"".join(
    (
        Encoder(44, 1).encode("HEARTBEAT", type=13, autopilot=3, base_mode=1, system_status=3),
        Encoder(44, 1).encode("EXTENDED_SYS_STATE", landed_state=1),
    )
)
"""An aircraft that stands there, disarmed."""


@pytest.mark.parametrize("seed", range(3))
def test_a_flight_with_noise_silence_orders_and_reports(rules: RuleSet, tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    watch = LiveWatch(rules, tmp_path)
    one, two = flight(42), flight(43)
    for n in range(900):
        if n in (605, 610, 620):  # before that no aircraft is on the ground
            watch.order(Order(("test", "given", "confirm")[(n > 605) + (n > 610)], None, 44, "observer", by="x"))
        if 590 < n < 640:
            watch.at(watch.now_us + 1)
            watch.receive(f"{SOURCE}#3", GROUNDED)
        watch.at(START_US + n * 100_000 + chance.randrange(30_000))
        if not 300 < n < 500:  # twenty seconds of silence in flight
            watch.receive(SOURCE, next(one))
        if n % 3 == 0:
            watch.at(watch.now_us + 1)
            watch.receive(f"{SOURCE}#2", next(two))
        if chance.random() < 0.1:
            watch.at(watch.now_us + 1)
            watch.receive(SOURCE, chance.randbytes(chance.randrange(1, 60)))
        if n == 400:
            watch.order(Order("acknowledge", "link-lost", 42, "pilot"))
        if n == 420:
            watch.order(Order("report", "voice", ok=False, text="Voice not working."))
        if n == 700:
            watch.order(Order("report", "voice", ok=True))
    watch.stop()
    changes = [
        (one.rule, one.change.value)
        for one in watch.happenings
        if isinstance(one, AlertChange) and one.rule in ("link-lost", "watch-voice")
    ]
    assert changes == [
        ("link-lost", "raised"),
        ("link-lost", "acknowledged"),
        ("watch-voice", "raised"),
        ("link-lost", "cleared"),
        ("watch-voice", "cleared"),
    ]
    steps = [one.step for one in watch.happenings if isinstance(one, Preparation)]
    assert steps == [Step.CALLED, Step.GIVEN, Step.CONFIRMED]
    assert replay(rules, tmp_path) == watch.lines


def test_a_watch_that_was_killed_in_a_silence(rules: RuleSet, tmp_path: Path) -> None:
    # nothing says "stop", and the link was lost after the last frame: the recording must still tell it
    watch = LiveWatch(rules, tmp_path)
    telemetry = flight(42)
    for n in range(300):
        watch.at(START_US + n * 100_000)
        watch.receive(SOURCE, next(telemetry))
    watch.at(START_US + 50_000_000)
    lost = [line for line in watch.lines if '"link-lost"' in line]
    assert lost
    watch.recorder.close(watch.now_us, timeout_s=10)
    actions = tmp_path / "actions.jsonl"
    actions.write_text("\n".join(line for line in actions.read_text().splitlines() if "stop" not in line))
    again = replay(rules, tmp_path)
    assert again == watch.lines[: len(again)]
    assert [line for line in again if '"link-lost"' in line] == lost


def test_a_real_flight_in_real_datagrams(rules: RuleSet, tmp_path: Path, require_data: RequireData) -> None:
    watch = LiveWatch(rules, tmp_path)
    first_us: int | None = None
    pending: list[tuple[str, bytes]] = []
    for event in open_recording(require_data("flights/quad-radio-c.tlog")).events():
        first_us = event.time_us if first_us is None else first_us
        if event.time_us - first_us > 180_000_000:
            break
        pending.append((SOURCE, event.data))
        if len(pending) == 3:  # three frames a datagram
            watch.at(START_US + event.time_us - first_us)
            watch.receive(SOURCE, b"".join(data for _, data in pending))
            pending.clear()
    watch.stop()
    assert any(isinstance(one, AlertChange) for one in watch.happenings)
    assert replay(rules, tmp_path) == watch.lines
