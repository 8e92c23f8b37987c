"""How late telemetry arrives, and when an aircraft was started anew."""

from __future__ import annotations

import pytest

from tests.aircraft.feeder import HOME, Flight, S
from watchkeeper.aircraft.boot import BootClock


def test_lag_is_over_the_best_message() -> None:
    clock = BootClock()
    clock.note(1_000, 500 * S)
    assert clock.lag_s == 0
    clock.note(2_000, 501 * S + 300_000)
    assert clock.lag_s == pytest.approx(0.3)
    clock.note(3_000, 501 * S + 900_000)  # 0.1 s faster than the first
    assert clock.lag_s == 0
    clock.note(4_000, 503 * S)
    assert clock.lag_s == pytest.approx(0.1)


def test_slow_drift_of_the_clocks_is_no_lag() -> None:
    clock = BootClock()
    for second in range(3600):  # the aircraft's clock is slow by 20 ppm, usual for a crystal (common practice)
        clock.note(1000 + round(second * 1000 * (1 - 20e-6)), 500 * S + second * S)
    assert clock.lag_s is not None
    assert clock.lag_s < 0.01  # it is 0.072 s after the hour


def test_one_time_far_ahead_does_not_make_all_that_follows_late() -> None:
    clock = BootClock()
    clock.note(1_000, 500 * S)
    clock.note(4_000_000_000, 501 * S)
    clock.note(3_000, 502 * S)
    assert clock.lag_s == 0
    assert clock.newest_ms == 3_000


def test_a_clock_that_was_set_forward_is_followed() -> None:
    clock = BootClock()
    clock.note(1_000, 500 * S)
    for second in (1, 2, 3):
        clock.note(101_000 + 1000 * second, (500 + second) * S)
    assert clock.lag_s == 0


def test_a_start_is_told_from_a_late_message() -> None:
    clock = BootClock()
    clock.note(60_000, 500 * S)
    assert not clock.starts_anew(55_000, 500 * S + 100_000)  # five seconds late
    assert clock.is_old(55_000, 500 * S + 100_000)
    assert clock.starts_anew(3_000, 505 * S)  # started at 502, after 500


def test_a_start_during_a_long_silence_is_seen_even_if_the_new_time_is_greater() -> None:
    clock = BootClock()
    clock.note(60_000, 500 * S)
    assert clock.starts_anew(90_000, 900 * S)  # started at 810
    assert not clock.starts_anew(455_000, 900 * S)  # the same power-up, five seconds late
    assert not clock.starts_anew(61_000, 900 * S)  # held up for long, going on where it stopped


def test_a_new_power_up_forgets_what_no_longer_holds() -> None:
    flight = Flight()
    flight.beat()
    flight.gps()
    flight.at()
    flight.beat(armed=True)
    flight.send("PARAM_VALUE", param_id="WPNAV_SPEED", param_value=5.0, param_type=9, param_count=1)
    flight.send("SYS_STATUS", voltage_battery=12400, current_battery=100, battery_remaining=90)
    assert flight.read("position.home_source") == "arming"
    assert flight.aircraft.power_up == 1
    flight.wait(30)
    flight.started_us = flight.now_us - 4 * S
    flight.at()
    assert flight.aircraft.power_up == 2
    assert flight.aircraft.home is None
    assert flight.aircraft.armed is None
    assert flight.aircraft.parameters.values == {}
    for name in ("position.home_source", "position.home_distance", "battery.voltage", "flight.phase"):
        assert flight.is_blind(name), name
    assert flight.read("position.height") == 0.0
    flight.beat()
    assert flight.read("flight.phase") == "on_ground"


def test_the_time_of_day_may_step_without_a_start() -> None:
    flight = Flight()
    flight.beat()
    for unix_s in (1_800_000_000, 0, 1_900_000_000, 1_000_000_000):
        flight.wait(1)
        flight.send("SYSTEM_TIME", time_unix_usec=unix_s * S, time_boot_ms=flight.boot_ms)
    assert flight.aircraft.power_up == 1
    assert flight.read("link.lag") == pytest.approx(0, abs=0.002)


def test_system_time_tells_of_a_start() -> None:
    flight = Flight()
    flight.beat()
    flight.send("SYSTEM_TIME", time_boot_ms=60_000)
    flight.wait(5)
    flight.send("SYSTEM_TIME", time_boot_ms=2_000)
    assert flight.aircraft.power_up == 2


def test_a_backlog_shows_as_lag_and_not_as_a_start() -> None:
    flight = Flight()
    flight.beat()
    flight.at(*HOME)
    flight.wait(8)
    sent = flight.now_us
    for second in range(5):  # what was held up for eight seconds comes at once
        flight.started_us += round(7.9 * S) if second == 0 else 0
        flight.at(*HOME)
        flight.wait(0.25)
    assert flight.now_us > sent
    assert flight.aircraft.power_up == 1
    assert flight.read("link.lag") == pytest.approx(7.9, abs=0.01)


def test_a_time_of_zero_is_no_time() -> None:
    flight = Flight()
    flight.beat()
    for _ in range(10):
        flight.wait(1)
        flight.send("GLOBAL_POSITION_INT", lat=1, lon=1)
    assert flight.is_blind("link.lag")
    assert flight.aircraft.power_up == 1
