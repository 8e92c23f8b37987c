"""One aircraft over two sources: copies, late ones, loss, restarts, radios and smart batteries."""

from __future__ import annotations

import random

import pytest

from tests.aircraft.feeder import ARDUPILOT, QUADROTOR, Flight, S, Sender
from watchkeeper.aircraft.catalogue import INDEX

ABSENT = 65535


def over_two() -> Flight:
    flight = Flight()
    flight.beat()
    flight.hear(flight.sender.pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT), "b")
    return flight


class Mirror:
    """Sends an aircraft's position over source a, losing some, and over source b, late."""

    def __init__(self, late_s: float, rate_hz: int, loss: float = 0.0) -> None:
        self.flight = over_two()
        self.late_us = round(late_s * S)
        self.rate_hz = rate_hz
        self.loss = loss
        self.chance = random.Random(5)
        self.under_way: list[tuple[int, bytes]] = []
        self.powered = True
        self.by_a = True
        self.lags_s: list[float] = []

    def run(self, seconds: float) -> None:
        flight = self.flight
        for step in range(round(seconds * self.rate_hz)):
            flight.wait(1 / self.rate_hz)
            if self.powered:
                frames = [
                    flight.sender.pack(
                        "GLOBAL_POSITION_INT",
                        time_boot_ms=flight.boot_ms,
                        lat=1,
                        lon=1,
                        relative_alt=flight.boot_ms,
                    )
                ]
                if step % self.rate_hz == 0:
                    frames.append(
                        flight.sender.pack("HEARTBEAT", type=QUADROTOR, autopilot=ARDUPILOT, base_mode=1)
                    )
                for raw in frames:
                    if self.by_a and self.chance.random() >= self.loss:
                        flight.hear(raw, "a")
                    self.under_way.append((flight.now_us + self.late_us, raw))
            while self.under_way and self.under_way[0][0] <= flight.now_us:
                flight.hear(self.under_way.pop(0)[1], "b")
            self.lags_s.append(flight.aircraft.boot.lag_s or 0.0)

    def start_anew(self, off_s: float) -> None:
        self.powered = False
        self.run(off_s)
        self.powered = True
        self.flight.sender.mav.seq = 0
        self.flight.started_us = self.flight.now_us - S


@pytest.mark.parametrize(
    ("late_s", "rate_hz", "loss"),
    [(0.3, 10, 0.0), (5, 20, 0.3), (8, 60, 0.3), (20, 20, 0.2), (3, 200, 0.0), (1, 50, 0.5)],
)
def test_a_start_is_seen_once_whatever_comes_late(late_s: float, rate_hz: int, loss: float) -> None:
    mirror = Mirror(late_s, rate_hz, loss)
    mirror.run(12)
    assert mirror.flight.aircraft.power_up == 1
    mirror.start_anew(3)
    mirror.run(4)
    assert mirror.flight.aircraft.power_up == 2
    mirror.run(30)
    assert mirror.flight.aircraft.power_up == 2
    assert max(mirror.lags_s) < late_s + 0.5
    assert mirror.lags_s[-1] < 0.05


def test_nothing_of_the_power_up_before_is_folded_into_the_new_one() -> None:
    mirror = Mirror(8, 40, 0.3)
    mirror.run(12)
    mirror.start_anew(3)
    mirror.run(4)
    for _ in range(40):
        mirror.run(0.25)
        assert mirror.flight.read("position.height") < 20  # heights stand for times since the start: 60 before


def test_a_slow_source_alone_is_late_and_no_start() -> None:
    mirror = Mirror(20, 20)
    mirror.run(60)
    mirror.by_a = False
    mirror.run(15)
    assert mirror.flight.aircraft.power_up == 1
    assert mirror.flight.read("link.lag") == pytest.approx(20, abs=0.1)
    assert mirror.flight.read("position.height") == pytest.approx(mirror.flight.boot_ms / 1000 - 20, abs=0.2)


def test_the_last_messages_of_a_power_up_may_come_late_themselves() -> None:
    """One source: the radio held back what was sent before the battery was changed in a hurry."""
    flight = Flight()
    flight.beat()
    for _ in range(20):
        flight.wait(0.5)
        flight.at(height_m=1)
    flight.wait(4)
    flight.started_us += 4 * S
    flight.at(height_m=1)  # four seconds late: the new power-up has begun already
    flight.started_us = flight.now_us - 3 * S
    for _ in range(10):
        flight.wait(0.5)
        flight.at(height_m=2)
    assert flight.aircraft.power_up == 2
    assert flight.read("link.lag") == 0


def test_loss_is_counted_by_source() -> None:
    flight = over_two()
    for number in range(201):
        flight.wait(0.05)
        raw = flight.sender.pack("GPS_RAW_INT", satellites_visible=number % 20)
        if number % 10 != 3:
            flight.hear(raw, "a")
        if number % 4 != 1:
            flight.hear(raw, "b")
    trackers = flight.aircraft.trackers
    assert trackers["a", 1].lost == 20 + 1  # one heartbeat went over b alone
    assert trackers["b", 1].lost == 50
    stream = flight.aircraft.readings.streams[INDEX["satellites.used"]]
    assert stream is not None
    # those over neither: 13, 33, … 193; the number is 3 of ten and 1 of four
    assert stream.count == 201 - 10


def test_copies_of_a_smart_batterys_report_count_once() -> None:
    flight = over_two()
    pack = Sender(7, 180)
    for _ in range(10):
        flight.wait(1)
        raw = pack.pack("BATTERY_STATUS", voltages=[3900] * 6 + [ABSENT] * 4, current_battery=100,
                        battery_remaining=50)  # fmt: skip
        assert flight.hear(raw, "a") == [flight.aircraft]
        assert flight.hear(raw, "b") == []
    stream = flight.aircraft.readings.streams[INDEX["battery.voltage"]]
    assert stream is not None
    assert stream.count == 10


def test_copies_of_a_radios_report_count_once() -> None:
    flight = over_two()
    radio = Sender(51, 68)
    for _ in range(10):
        flight.wait(1)
        raw = radio.pack("RADIO_STATUS", rssi=100, remrssi=100, noise=43, remnoise=43)
        flight.hear(raw, "a")
        assert flight.hear(raw, "b") == []
    assert flight.aircraft.streams.radio.count == 10


def test_of_two_radios_the_better_one_is_the_margin() -> None:
    flight = over_two()
    one, two = Sender(51, 68), Sender(52, 68)
    near = {"rssi": 138, "remrssi": 138, "noise": 43, "remnoise": 43}
    far = {"rssi": 62, "remrssi": 62, "noise": 43, "remnoise": 43}
    for _ in range(5):
        flight.wait(0.5)
        flight.hear(one.pack("RADIO_STATUS", **near), "a")
        flight.wait(0.5)
        flight.hear(two.pack("RADIO_STATUS", **far), "b")
        assert flight.read("link.margin") == pytest.approx(50)
    flight.hear(one.pack("RADIO_STATUS", **{**near, "rssi": 255, "remrssi": 255}), "a")  # no longer knows
    flight.hear(two.pack("RADIO_STATUS", **far), "b")
    assert flight.read("link.margin") == pytest.approx(10)
    flight.hear(one.pack("RADIO_STATUS", **near), "a")
    for _ in range(6):  # the better one falls silent
        flight.wait(1)
        flight.hear(two.pack("RADIO_STATUS", **far), "b")
    assert flight.read("link.margin") == pytest.approx(10)


def test_what_is_folded_has_its_place_however_many_messages_came_before() -> None:
    flight = Flight()
    for number in range(1000, 2000):
        flight.fleet.receive("a", (7, 1, 0, number, b"\1", b"", 0), flight.now_us)
    flight.beat(armed=True)
    flight.at(height_m=5)
    flight.beat(armed=True)
    assert flight.read("flight.armed") is True
    assert flight.read("position.height") == 5
