"""The load line against a published cell model, a real weak pack, and packs that go wrong."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pymavlink import mavutil

from tests.conftest import RequireData
from tests.estimate.packflight import CHARGE, REST_V
from watchkeeper.estimate.packs.curve import PUBLISHED
from watchkeeper.estimate.packs.loadline import LoadLine

CELLS = 12
R0_OHM, R1_OHM, RELAXATION_S, CAPACITY_AH = 1.5e-3, 1e-3, 20.0, 22.0


def reference_v(charge_pct: float) -> float:
    """Return that cell's voltage at rest, V: another curve than the estimates'."""
    return float(np.interp(charge_pct / 100, CHARGE, REST_V))


def thevenin_cell_v(current_a: float, time_s: float, start_pct: float = 98) -> float:
    """Return the closed form of facts section 6's Thevenin cell under a constant current."""
    charge = start_pct - 100 * current_a * time_s / 3600 / CAPACITY_AH
    slow = current_a * R1_OHM * (1 - math.exp(-time_s / RELAXATION_S))
    return reference_v(charge) - current_a * R0_OHM - slow


@pytest.mark.parametrize(
    ("time_s", "volt"),
    [(1, 4.072573), (20, 4.014912), (60, 3.953586), (300, 3.7485), (600, 3.6186), (900, 3.4586)],
)
def test_the_model_here_is_the_reference_cell(time_s: float, volt: float) -> None:
    # pybamm's Thevenin at 66 A (facts section 6).
    assert thevenin_cell_v(66, time_s) == pytest.approx(volt, abs=1e-4)


def fly(
    line: LoadLine, seconds: int, *, fault_at: int = 10_000, fault_v: float = 0.0, counted: bool = False
) -> list[float]:
    """Hover at 66 A with gusts after 30 s on the ground; return the sag a cell, twice a second."""
    sags = []
    for step in range(2 * seconds):
        time_s = step / 2
        flown_s = max(0.0, time_s - 30)
        current_a = 2.0 if time_s < 30 else 66 + 8 * math.sin(time_s * 1.7)
        cell_v = reference_v(98) - 2 * R0_OHM
        if flown_s:
            cell_v = thevenin_cell_v(66, flown_s) - (current_a - 66) * R0_OHM
        cell_v -= fault_v if time_s >= fault_at else 0
        charge_pct = 98 - 66 * flown_s / 36 / CAPACITY_AH
        fall_v_ah = PUBLISHED["lipo"].fall_at(charge_pct) * 100 / CAPACITY_AH if counted else 0.0
        line.update(cell_v * CELLS, current_a, round(time_s * 1e6) + 1, fall_v_ah)
        sags.append(line.sag_v / CELLS)
    return sags


def test_a_healthy_pack_never_sags_and_its_resistance_is_found() -> None:
    line = LoadLine(CELLS, capacity_ah=CAPACITY_AH)
    assert max(fly(line, 900, counted=True)) < 0.05
    assert line.resistance_ohm == pytest.approx(CELLS * R0_OHM, rel=0.05)
    # 11.3 mV a cell: the line is told that the rest voltage falls as the mean of the published cells does, and
    # the reference cell falls faster here (2 mV where the line is told of this very cell's fall)
    assert line.rest_v == pytest.approx(CELLS * reference_v(98 - 66 * 870 / 36 / CAPACITY_AH), abs=CELLS * 0.013)


def test_a_pack_of_unknown_resistance_does_not_sag_either() -> None:
    assert max(fly(LoadLine(CELLS), 900)) < 0.06


@pytest.mark.parametrize("fault_v", [0.2, 0.25, 0.4])
def test_a_cell_that_gives_way_shows_at_once_and_stays_shown(fault_v: float) -> None:
    sags = fly(LoadLine(CELLS, capacity_ah=CAPACITY_AH), 200, fault_at=150, fault_v=fault_v)
    assert max(sags[:300]) < 0.05
    assert sags[300] > 0.8 * fault_v - 0.03
    assert min(sags[300:320]) > 0.1  # for 10 s and more


def test_a_current_that_stops_and_starts_is_no_sag() -> None:
    line = LoadLine(6, 0.012)
    for second in range(600):
        current_a = 60.0 if second // 60 % 2 else 1.0
        line.update(6 * 3.9 - 0.012 * current_a, current_a, second * 1_000_000 + 1)
        assert line.sag_v / 6 < 0.05


def test_a_silence_starts_it_anew_and_keeps_the_resistance() -> None:
    line = LoadLine(6, 0.012)
    for second in range(100):
        current_a = 30.0 + second % 7 * 4
        line.update(23 - 0.02 * current_a, current_a, second * 1_000_000 + 1)
    learned = line.resistance_ohm
    line.update(20, 30, 200_000_000)
    assert line.sag_v == 0
    assert line.resistance_ohm == learned


def test_resistance_stays_within_what_packs_can_have() -> None:
    line = LoadLine(4)
    for second in range(300):
        line.update(15.0 + second % 2, 10.0 + 20 * (second % 2), second * 1_000_000 + 1)  # rises under load
        assert line.resistance_ohm >= 4 * 0.0002


def test_a_real_cold_pack_is_explained_through_five_flights(require_data: RequireData) -> None:
    """The pack sags to 2.33 V a cell, but as its resistance says: nothing is unexplained by 0.1 V or more.

    By hand from the recording: 14.28 A at 9.43 V and 39.67 A at 6.98 V are 97 mohm a third of a second apart.
    """
    log = mavutil.mavlink_connection(str(require_data("flights/quad-3s-five-flights.tlog")))
    line = LoadLine(3)
    armed = False
    first_s = None
    last_s = -1.0
    sags: list[float] = []
    ohms: dict[int, float] = {}
    while (message := log.recv_match(type=["HEARTBEAT", "SYS_STATUS"])) is not None:
        if first_s is None:
            first_s = message._timestamp
        if message.get_srcSystem() != 1:
            continue
        if message.get_type() == "HEARTBEAT":
            armed = bool(message.base_mode & 128)
            continue
        time_s = message._timestamp - first_s
        if time_s - last_s < 0.5:
            continue
        last_s = time_s
        line.update(message.voltage_battery / 1e3, message.current_battery / 100, round(time_s * 1e6))
        if armed:
            sags.append(line.sag_v / 3)
            ohms[int(time_s)] = line.resistance_ohm
    log.close()
    assert len(sags) > 600
    assert max(sags) < 0.1
    assert 0.09 < ohms[479] < 0.16  # cold, a third of a minute into the first flight
    assert 0.045 < ohms[700] < 0.07  # warm


def test_a_real_pack_in_steady_flight_keeps_its_resistance(require_data: RequireData) -> None:
    """By hand from the recording: 15.2 A at 12.94 V and 4.3 A at 13.32 V a second and a half later, 35 mohm."""
    log = mavutil.mavlink_connection(str(require_data("flights/quad-return-61m.tlog")))
    line = LoadLine(4, capacity_ah=5.3)
    while (message := log.recv_match(type="BATTERY_STATUS")) is not None:
        volt = sum(cell for cell in message.voltages if cell != 65535) / 1e3
        line.update(volt, message.current_battery / 100, round(message._timestamp * 1e6))
        assert line.sag_v / 4 < 0.05
    log.close()
    assert line.resistance_ohm == pytest.approx(0.035, rel=0.15)
    assert line.rest_v is not None
    assert line.rest_v > 13.43  # the voltage after landing, still under 2.4 A
    assert line.rest_v == pytest.approx(13.43, abs=0.5)
