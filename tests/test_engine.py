"""The engine: its grid, its segments, several aircraft, power-ups, what it cannot see."""

from __future__ import annotations

import random
import time

from fastcrc import crc16

from tests.recordings import alerts, lines, shipped
from watchkeeper.alerts.events import AlertChange, Happening, Level, Order, Refusal
from watchkeeper.engine import GONE_AFTER_US, UNHEARD_AFTER_US, Engine
from watchkeeper.link.encode import Encoder
from watchkeeper.link.tables import MESSAGES

T0 = 1_777_000_000.0
ARMED = 128


class Plane:
    """Sends the messages of one aircraft at 4 Hz; values may be changed between seconds."""

    def __init__(self, system: int = 7, *, boot_s: float = 100.0) -> None:
        self.encoder = Encoder(system, 1)
        self.boot_s = boot_s
        self.armed = True
        self.landed = 2
        self.satellites = 20
        self.fix = 3
        self.hdop = 80
        self.mode = 1
        self.height_m = 30.0

    def frames(self, second: float) -> bytes:
        encode = self.encoder.encode
        boot = round((self.boot_s + second) * 1000)
        return b"".join(
            (
                encode("HEARTBEAT", type=13, autopilot=0, base_mode=ARMED if self.armed else 0, mavlink_version=3),
                encode("CURRENT_MODE", standard_mode=self.mode),
                encode("EXTENDED_SYS_STATE", landed_state=self.landed),
                encode(
                    "GLOBAL_POSITION_INT",
                    time_boot_ms=boot,
                    lat=10_000,
                    lon=20_000,
                    relative_alt=round(self.height_m * 1e3),
                ),
                encode(
                    "GPS_RAW_INT", fix_type=self.fix, satellites_visible=self.satellites, eph=self.hdop, epv=100
                ),
            )
        )


def fly(engine: Engine, planes: list[Plane], begin_s: float, end_s: float) -> list[Happening]:
    happened: list[Happening] = []
    for quarter in range(round(begin_s * 4), round(end_s * 4)):
        for plane in planes:
            happened += engine.receive("udp://a", plane.frames(quarter / 4), T0 + quarter / 4)
    return happened


def test_time_that_runs_back_begins_a_new_segment_at_the_last_engine_time() -> None:
    engine = Engine(shipped())
    plane = Plane()
    fly(engine, [plane], 0, 10)
    before_s = engine.elapsed_s
    happened = fly(engine, [plane], 3, 8)
    assert engine.segments == 2
    assert before_s <= engine.elapsed_s <= before_s + 5.01
    assert all(h.elapsed_us >= 0 for h in happened)
    plane.fix = 1
    happened = fly(engine, [plane], 8, 12)
    raised = next(h for h in happened if isinstance(h, AlertChange) and h.rule == "position-lost")
    assert raised.time_us == round((T0 + 9) * 1e6)  # recorded time stays that of the segment
    assert raised.elapsed_us > round(before_s * 1e6)


def test_a_long_gap_is_stepped_over_in_bounded_work() -> None:
    engine = Engine(shipped())
    fly(engine, [Plane()], 0, 5)
    begun = time.perf_counter()
    happened = engine.tick(T0 + 10 * 365 * 86400)
    assert time.perf_counter() - begun < 2.0  # a tenth of a second's steps of ten years would take hours
    assert ("link-lost", "warning", "raised") in [a[1:] for a in alerts(happened)]
    assert len(happened) < 20
    assert fly(engine, [Plane()], 0, 5) is not None


def test_a_frame_that_makes_a_rule_true_counts_from_its_own_time() -> None:
    engine = Engine(shipped())
    plane = Plane()
    fly(engine, [plane], 0, 20)
    plane.fix = 1
    happened = fly(engine, [plane], 20, 25)
    assert [a for a in alerts(happened) if a[1] == "position-lost"] == [
        (21.0, "position-lost", "warning", "raised")
    ]


def test_ticks_change_nothing_but_bring_things_forward() -> None:
    plane, other = Plane(), Plane()
    quiet, busy = Engine(shipped()), Engine(shipped())
    plane.fix = other.fix = 1
    without = fly(quiet, [plane], 0, 6)
    with_ticks: list[Happening] = []
    for quarter in range(24):
        with_ticks += busy.receive("udp://a", other.frames(quarter / 4), T0 + quarter / 4)
        for n in range(1, 25):
            with_ticks += busy.tick(T0 + quarter / 4 + n / 100)
    assert lines(with_ticks)[: len(without)] == lines(without)
    due_s = busy.next_due_s()
    assert due_s is not None
    assert 0 < due_s - (T0 + 5.99) <= 0.1


def test_with_several_aircraft_the_callout_names_which() -> None:
    engine = Engine(shipped())
    first, second = Plane(7), Plane(8)
    fly(engine, [first], 0, 5)
    first.fix = 1
    alone = fly(engine, [first], 5, 8)
    assert [h.callout for h in alone if isinstance(h, AlertChange)] == [
        "Warning. Position. Lost. Take manual control, hold height."
    ]
    fly(engine, [first, second], 8, 12)
    second.fix = 1
    both = fly(engine, [first, second], 12, 16)
    said = [h.callout for h in both if isinstance(h, AlertChange) and h.aircraft == 8]
    assert said == ["Aircraft 8. Warning. Position. Lost. Take manual control, hold height."]


def test_hearing_nobody_is_said() -> None:
    engine = Engine(shipped())
    happened = engine.tick(T0) + engine.tick(T0 + UNHEARD_AFTER_US / 1e6 + 1)
    assert [(a[1], a[2], a[3]) for a in alerts(happened)] == [("watch-unheard", "advisory", "raised")]
    happened = engine.receive("udp://a", Plane().frames(0), T0 + 17)
    assert ("watch-unheard", "advisory", "cleared") in [a[1:] for a in alerts(happened)]


def test_what_is_missing_is_named_once_and_cleared_when_it_comes() -> None:
    engine = Engine(shipped())
    happened = fly(engine, [Plane()], 0, 120)
    blind = [h for h in happened if isinstance(h, AlertChange) and h.rule == "watch-blind"]
    assert [h.change.value for h in blind] == ["raised"]
    assert blind[0].aircraft is None
    assert blind[0].level is Level.ADVISORY
    assert blind[0].evidence["7/voltage-sag"]
    assert blind[0].spoken


def test_a_lost_link_does_not_also_call_what_it_hides() -> None:
    engine = Engine(shipped())
    plane = Plane()
    plane.fix = 1
    fly(engine, [plane], 0, 60)
    happened = engine.tick(T0 + 75)
    words = [(h.rule, h.change.value) for h in happened if isinstance(h, AlertChange)]
    assert ("link-lost", "raised") in words
    assert ("position-lost", "suppressed") in words
    assert [w for w in words if w[0] == "watch-blind"] == []


def test_silent_on_the_ground_for_a_minute_it_is_gone() -> None:
    engine = Engine(shipped())
    plane = Plane()
    plane.armed, plane.landed = False, 1
    fly(engine, [plane], 0, 10)
    happened = engine.tick(T0 + 10 + GONE_AFTER_US / 1e6 + 2)
    silent = [h for h in happened if isinstance(h, AlertChange) and h.rule == "aircraft-silent"]
    assert [(h.change.value, h.reason) for h in silent][-1] == ("cleared", "aircraft gone")
    assert engine.systems() == []


def test_reports_of_parts_become_alerts_of_the_watch() -> None:
    engine = Engine(shipped())
    engine.tick(T0)
    broken = engine.order(Order("report", "mqtt", ok=False, text="Broker not reached."), T0 + 1)
    again = engine.order(Order("report", "mqtt", ok=False, text="Broker not reached."), T0 + 2)
    mended = engine.order(Order("report", "mqtt", ok=True, text="broker reached"), T0 + 3)
    assert [a[1:] for a in alerts(broken)] == [("watch-mqtt", "caution", "raised")]
    assert again == []
    assert [a[1:] for a in alerts(mended)] == [("watch-mqtt", "caution", "cleared")]
    assert broken[0].aircraft is None


def test_orders_for_nobody_are_refused_and_for_all_reach_all() -> None:
    engine = Engine(shipped())
    planes = [Plane(7), Plane(8)]
    for plane in planes:
        plane.fix = 1
    fly(engine, planes, 0, 5)
    assert [type(h) for h in engine.order(Order("acknowledge", "position-lost", 99), T0 + 5)] == [Refusal]
    done = engine.order(Order("acknowledge"), T0 + 5)
    own = [h for h in done if isinstance(h, AlertChange) and h.rule == "position-lost"]
    assert [(h.aircraft, h.change.value) for h in own] == [
        (7, "acknowledged"),
        (8, "acknowledged"),
    ]


def test_a_power_up_begins_anew() -> None:
    engine = Engine(shipped())
    plane = Plane(boot_s=500)
    fly(engine, [plane], 0, 20)
    plane.boot_s = -21
    plane.armed, plane.landed, plane.height_m = False, 1, 0.0
    fly(engine, [plane], 22, 40)
    aircraft = engine.aircraft(7)
    assert aircraft.power_up == 2
    assert engine.readings(7)["flight.phase"] == "landed"


def test_nothing_from_outside_raises_anything() -> None:
    chance = random.Random(4)
    engine = Engine(shipped())
    fly(engine, [Plane()], 0, 2)
    encoder = Encoder(7, 1)
    now_s = T0 + 2
    for _ in range(3000):
        message = chance.choice([*MESSAGES])
        frame = bytearray(encoder.encode(message))
        payload = chance.randbytes(MESSAGES[message].full_length)
        frame = bytearray(_frame(encoder, message, payload))
        if chance.random() < 0.2:
            frame[chance.randrange(len(frame))] ^= 1 << chance.randrange(8)
        now_s += chance.choice([0.0, 0.01, 0.2, -0.5])
        engine.receive(chance.choice(["a", "b"]), bytes(frame), now_s)
    assert engine.describe_sources()
    for system in engine.systems():
        engine.readings(system)


def _frame(encoder: Encoder, message: int, payload: bytes) -> bytes:
    head = bytes([len(payload), 0, 0, encoder.sequence, encoder.system, encoder.component])
    body = head + message.to_bytes(3, "little") + payload
    crc = int(crc16.mcrf4xx(body + bytes([MESSAGES[message].crc_extra])))
    encoder.sequence = (encoder.sequence + 1) & 0xFF
    return b"\xfd" + body + crc.to_bytes(2, "little")


def test_a_link_that_is_slow_by_nature_is_not_called_lost_between_its_messages() -> None:
    engine = Engine(shipped())
    plane = Plane()
    happened: list[Happening] = []
    for second in range(0, 120, 5):  # a heartbeat each five seconds
        happened += engine.receive("udp://slow", plane.frames(second), T0 + second)
    early = [a for a in alerts(happened) if a[1] == "link-lost" and a[0] > 30]
    assert early == []  # the first intervals teach what is usual
    silent = engine.tick(T0 + 115 + 20)
    assert ("link-lost", "warning", "raised") in [a[1:] for a in alerts(silent)]
