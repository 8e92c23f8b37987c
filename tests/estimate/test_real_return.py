"""A whole real return, foretold second by second by the engine: 60.6 m out, 7 m up, home, hold, landing.

What was measured is worked out here with pymavlink and numpy: 50.6 s from its first position to its last, about
2.6 Wh (trapezoids over voltage times current), 200 mAh by its own counter.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from pymavlink import mavutil

from tests.conftest import RequireData
from tests.recordings import records, shipped
from watchkeeper.aircraft.files import load_aircraft_file, load_sortie_file
from watchkeeper.engine import Engine

NAME = "flights/quad-return-61m.tlog"


class Measured(NamedTuple):
    """Times in s of first and last position, where the last is (degrees), and what was used until when."""

    first_s: float
    last_s: float
    place: tuple[float, float]
    at_s: np.ndarray
    used_wh: np.ndarray
    used_mah: float
    mean_v: float


@cache
def measured(path: Path) -> Measured:
    log = mavutil.mavlink_connection(str(path))
    places: list[tuple[float, float, float]] = []
    battery: list[tuple[float, float, float, float]] = []
    while (message := log.recv_match(type=["GLOBAL_POSITION_INT", "BATTERY_STATUS"])) is not None:
        if message.get_type() == "GLOBAL_POSITION_INT":
            places.append((message._timestamp, message.lat / 1e7, message.lon / 1e7))
        else:
            volt = sum(cell for cell in message.voltages if cell != 65535) / 1e3
            battery.append((message._timestamp, volt, message.current_battery / 100, message.current_consumed))
    log.close()
    at_s, volts, amps, mah = (np.array(column) for column in zip(*battery, strict=True))
    power_w = volts * amps
    steps_j = 0.5 * (power_w[1:] + power_w[:-1]) * np.diff(at_s)
    used_wh = np.concatenate([[0.0], np.cumsum(steps_j)]) / 3600.0
    return Measured(
        places[0][0], places[-1][0], places[-1][1:], at_s, used_wh, float(mah[-1] - mah[0]), float(volts.mean())
    )


class Moment(NamedTuple):
    """Seconds since the first position, what is foretold and what then really came: s and Wh."""

    at_s: float
    time_s: float
    energy_wh: float
    true_s: float
    true_wh: float
    readings: dict[str, Any]


@cache
def foretold(path: Path) -> list[Moment]:
    """Return the answers once a second, home being where it touched down."""
    truth = measured(path)
    sortie = load_sortie_file(f"home: [{truth.place[0]:.7f}, {truth.place[1]:.7f}]", "s.yaml")
    engine = Engine(shipped(), [load_aircraft_file("packs: {cells: 4, capacity: 5.3 Ah}", "a.yaml")], sortie)
    found: list[Moment] = []
    for time_us, raw in records(path):
        engine.receive("recording", raw, time_us / 1e6)
        now_s = time_us / 1e6
        due_s = found[-1].at_s + 1.0 if found else 0.5
        if not truth.first_s + due_s <= now_s < truth.last_s or not engine.systems():
            continue
        readings = engine.readings(engine.systems()[0])
        time_s, energy_wh = readings.get("return.time"), readings.get("return.energy")
        if not isinstance(time_s, float) or not isinstance(energy_wh, float):
            continue
        true_wh = float(truth.used_wh[-1] - np.interp(now_s, truth.at_s, truth.used_wh))
        found.append(
            Moment(now_s - truth.first_s, float(time_s), float(energy_wh), truth.last_s - now_s, true_wh, readings)
        )
    return found


def test_what_was_measured(require_data: RequireData) -> None:
    """By the notes to the recordings: 50.6 s, 200 mAh, about 2.6 Wh."""
    truth = measured(require_data(NAME))
    assert truth.last_s - truth.first_s == pytest.approx(50.6, abs=0.1)
    assert truth.used_mah == pytest.approx(200.0, abs=2.0)
    assert truth.used_wh[-1] == pytest.approx(2.6, abs=0.05)


def test_time_energy_and_charge_are_foretold_from_its_first_three_seconds(require_data: RequireData) -> None:
    """Within 15 %; measured: 3 to 4 % too long, 5 to 6 % too much."""
    path = require_data(NAME)
    first = [one for one in foretold(path) if one.at_s <= 3.1]
    assert len(first) >= 3
    for one in first:
        assert one.time_s == pytest.approx(one.true_s, rel=0.15)
        assert one.energy_wh == pytest.approx(one.true_wh, rel=0.15)
    # at the mean voltage under load: 200 mAh from the beginning
    used_mah = 1000.0 * (first[0].energy_wh + 2.6 - first[0].true_wh) / measured(path).mean_v
    assert used_mah == pytest.approx(200.0, rel=0.15)


def test_what_is_left_is_foretold_each_later_second(require_data: RequireData) -> None:
    """Within 15 % of the time until 39 s, of the energy until 31 s; never off by 2.8 s or 0.2 Wh.

    Measured: 2.7 s, 0.17 Wh.

    Its last position stands at 1.3 m of indicated height, so that a landing down to 0 m, at 0.5 m/s, is foretold
    2.6 s too long. With 8.5 s left the rest of the error (1 to 1.5 s) is more than 15 %.
    """
    later = foretold(require_data(NAME))
    assert len(later) > 45
    for one in later:
        assert one.time_s == pytest.approx(one.true_s, abs=2.8), one.at_s
        assert one.energy_wh == pytest.approx(one.true_wh, abs=0.2), one.at_s
        if one.at_s < 39.5:
            assert one.time_s == pytest.approx(one.true_s, rel=0.15), one.at_s
        if one.at_s < 31.5:
            assert one.energy_wh == pytest.approx(one.true_wh, rel=0.15), one.at_s
    # honest about the end: from 42 s on the share is over 15 %, at the last moment it is nearly everything
    last = [one for one in later if one.at_s > 41.9]
    assert all(one.time_s > 1.15 * one.true_s for one in last)
    assert all(0.8 < one.time_s - one.true_s < 2.4 for one in last)


def test_it_is_never_foretold_too_short(require_data: RequireData) -> None:
    for one in foretold(require_data(NAME)):
        assert one.time_s > one.true_s
        assert one.energy_wh > 0.97 * one.true_wh


def test_its_plan_comes_of_its_own_parameters(require_data: RequireData) -> None:
    """15 m, 5 m/s, 5 s of hold: a bare file would say 40 m, and 10 s."""
    first = foretold(require_data(NAME))[0]
    assert first.readings["return.lands"] is True
    # by the defaults: 33 m of climb at 2 m/s, 61 m at 5 m/s, 10 s, and down from 40 m: over 80 s
    assert first.time_s < 55.0
