"""Scripted frames against pymavlink as an independent reader, and against each other."""

from __future__ import annotations

import dataclasses
import functools
import itertools
import math
from collections import Counter
from typing import Any, NamedTuple

import pytest
from geographiclib.geodesic import Geodesic
from pymavlink.dialects.v20 import all as dialect

from simulators.scenario import Scenario, find, load_scripted
from simulators.scenario_file import Sent
from simulators.scripted.electric import rest_cell_v
from simulators.scripted.flight import ScriptedFlight
from simulators.scripted.series import Series, series

# usual rates on a telemetry radio; heartbeat, BATTERY_STATUS (at least), MISSION_CURRENT and CURRENT_MODE as in
# facts.md section 9, the others common practice
RATES_HZ = {
    "HEARTBEAT": 1, "SYS_STATUS": 1, "GLOBAL_POSITION_INT": 4, "ATTITUDE": 10, "GPS_RAW_INT": 2, "VFR_HUD": 4,
    "EXTENDED_SYS_STATE": 1, "CURRENT_MODE": 0.5, "HOME_POSITION": 0.2, "MISSION_CURRENT": 1, "WIND_COV": 1,
    "SYSTEM_TIME": 1, "RC_CHANNELS": 2, "BATTERY_STATUS": 4,
}  # fmt: skip


class Heard(NamedTuple):
    time_s: float
    message: Any


def heard(frames: list[Sent]) -> list[Heard]:
    """Parse with pymavlink, which raises on a bad checksum or a frame that is not whole."""
    parser = dialect.MAVLink(None)
    result = []
    for sent in frames:
        messages = parser.parse_buffer(sent.data)
        assert messages is not None
        assert len(messages) == 1
        assert messages[0].get_srcSystem() == sent.system
        result.append(Heard(sent.time_s, messages[0]))
    return result


@functools.cache
def flown(name: str, seed: int = 1) -> list[Heard]:
    return heard(list(ScriptedFlight(load_scripted(find(name)), seed).frames()))


def of(flight: list[Heard], name: str, system: int = 143) -> list[Heard]:
    return [h for h in flight if h.message.get_type() == name and h.message.get_srcSystem() == system]


def near(flight: list[Heard], name: str, time_s: float) -> Any:
    return min(of(flight, name), key=lambda h: abs(h.time_s - time_s)).message


def with_loss(scenario: Scenario, loss: Series) -> Scenario:
    return dataclasses.replace(scenario, numbers={**scenario.numbers, "loss_pct": loss})


def test_a_generic_hexarotor_a_radio_and_a_station_are_heard() -> None:
    flight = flown("calm")
    senders = {(h.message.get_srcSystem(), h.message.get_srcComponent()) for h in flight}
    assert senders == {(143, 1), (51, 68), (255, 190)}
    beat = of(flight, "HEARTBEAT")[0].message
    assert beat.autopilot == dialect.MAV_AUTOPILOT_GENERIC
    assert beat.type == dialect.MAV_TYPE_HEXAROTOR
    station = of(flight, "HEARTBEAT", 255)[0].message
    assert (station.type, station.autopilot) == (dialect.MAV_TYPE_GCS, dialect.MAV_AUTOPILOT_INVALID)
    assert {h.message.get_type() for h in flight if h.message.get_srcSystem() == 51} == {"RADIO_STATUS"}


def test_every_message_comes_at_its_rate() -> None:
    flight = flown("calm")
    for name, rate_hz in RATES_HZ.items():
        assert len(of(flight, name)) == pytest.approx(240 * rate_hz, abs=1.01), name
    assert len(of(flight, "RADIO_STATUS", 51)) == pytest.approx(240, abs=1.01)
    assert len(of(flight, "AUTOPILOT_VERSION")) == 1
    assert [h.message.text for h in of(flight, "STATUSTEXT")] == ["Armed", "Return started", "Disarmed"]


def test_frames_come_in_order_of_time_and_are_version_2() -> None:
    frames = list(ScriptedFlight(load_scripted(find("calm"))).frames())
    times = [sent.time_s for sent in frames]
    assert times == sorted(times)
    assert {sent.data[0] for sent in frames} == {0xFD}  # facts.md section 9


def test_twelve_cells_stand_in_both_fields_and_make_the_bus_voltage() -> None:
    flight = flown("calm")
    for time_s in (5.0, 60.0, 150.0):
        report = near(flight, "BATTERY_STATUS", time_s)
        assert all(3300 < cell < 4250 for cell in report.voltages)
        assert [cell > 0 for cell in report.voltages_ext] == [True, True, False, False]  # absent is 0 there
        total_mv = sum(report.voltages) + sum(report.voltages_ext)
        assert total_mv == pytest.approx(near(flight, "SYS_STATUS", time_s).voltage_battery, abs=150)
    assert {h.message.id for h in of(flight, "BATTERY_STATUS")} == {0, 1}


def test_current_of_both_packs_times_voltage_is_the_scripted_power() -> None:
    status = near(flown("calm"), "SYS_STATUS", 100.0)
    power_w = status.voltage_battery / 1000 * status.current_battery / 100
    assert power_w == pytest.approx(4200, rel=0.021)  # the script's 4.2 kW, wobbling by 2 %


def test_consumed_charge_is_the_integral_of_the_current() -> None:
    for pack in (0, 1):
        reports = [h for h in of(flown("four-faults"), "BATTERY_STATUS") if h.message.id == pack]
        counted_mah = 0.0
        for earlier, later in itertools.pairwise(reports):
            mean_a = (earlier.message.current_battery + later.message.current_battery) / 200
            counted_mah += mean_a * (later.time_s - earlier.time_s) / 3.6
        assert reports[-1].message.current_consumed == pytest.approx(counted_mah, rel=0.005)


def test_counter_never_falls_and_current_is_never_unknown() -> None:
    reports = [h.message for h in of(flown("four-faults"), "BATTERY_STATUS") if h.message.id == 0]
    assert all(b.current_consumed >= a.current_consumed for a, b in itertools.pairwise(reports))
    assert all(report.current_battery >= 0 for report in reports)


def test_voltage_is_the_curve_less_current_times_resistance() -> None:
    flight = flown("calm")
    for time_s in (25.0, 100.0, 180.0):
        report = next(h.message for h in of(flight, "BATTERY_STATUS") if h.time_s > time_s and h.message.id == 0)
        left_pct = 96 - 100 * report.current_consumed / 22_000
        expected_v = 12 * rest_cell_v(left_pct) - 0.018 * report.current_battery / 100
        volts = (sum(report.voltages) + sum(report.voltages_ext)) / 1000
        assert volts == pytest.approx(expected_v, abs=0.05)


def test_scripted_sag_takes_its_volts_from_every_cell() -> None:
    flight = flown("four-faults")
    before, during = (near(flight, "SYS_STATUS", t).voltage_battery / 12_000 for t in (146.0, 152.0))
    assert 0.35 <= before - during < 0.42  # 0.35 V, and what the higher current for the same power adds


def test_place_is_the_integral_of_speed() -> None:
    positions = of(flown("four-faults"), "GLOBAL_POSITION_INT")
    north_m = east_m = up_m = 0.0
    for earlier, later in itertools.pairwise(positions):
        step_s = later.time_s - earlier.time_s
        north_m += step_s * (earlier.message.vx + later.message.vx) / 200
        east_m += step_s * (earlier.message.vy + later.message.vy) / 200
        up_m -= step_s * (earlier.message.vz + later.message.vz) / 200
        if abs(later.time_s - 120) < 0.13:
            # by geographiclib, an ellipsoid, which the script is not
            found = Geodesic.WGS84.Inverse(1.25, -31.5, later.message.lat / 1e7, later.message.lon / 1e7)
            assert math.hypot(north_m, east_m) == pytest.approx(found["s12"], abs=2.5)
            assert math.degrees(math.atan2(east_m, north_m)) == pytest.approx(found["azi1"], abs=0.5)
            assert up_m == pytest.approx(later.message.relative_alt / 1000, abs=0.3)
            assert later.message.alt - later.message.relative_alt == 310_000
    assert math.hypot(north_m, east_m) < 1
    assert abs(up_m) < 0.5


def test_it_leans_forward_to_gain_speed_and_flies_home_nose_first() -> None:
    flight = flown("calm")
    assert near(flight, "ATTITUDE", 31.5).pitch < -0.15
    assert all(abs(h.message.pitch) < 0.6 and abs(h.message.roll) < 0.6 for h in of(flight, "ATTITUDE"))
    assert near(flight, "GLOBAL_POSITION_INT", 60.0).hdg == 6500
    assert near(flight, "GLOBAL_POSITION_INT", 145.0).hdg == 24_500
    assert near(flight, "GPS_RAW_INT", 145.0).cog == pytest.approx(24_500, abs=2)
    assert math.degrees(near(flight, "ATTITUDE", 145.0).yaw) == pytest.approx(-115, abs=0.1)


def test_wind_blows_from_where_the_script_says() -> None:
    wind = near(flown("calm"), "WIND_COV", 100.0)
    assert math.hypot(wind.wind_x, wind.wind_y) == pytest.approx(5, rel=0.11)
    assert math.degrees(math.atan2(-wind.wind_y, -wind.wind_x)) % 360 == pytest.approx(250)  # blowing-to negated
    hud = near(flown("calm"), "VFR_HUD", 100.0)
    assert hud.airspeed == pytest.approx(5, rel=0.11)  # it stands over the ground
    assert hud.groundspeed == 0


def test_modes_states_and_plan_follow_the_script() -> None:
    flight = flown("calm")
    assert near(flight, "CURRENT_MODE", 60.0).standard_mode == dialect.MAV_STANDARD_MODE_MISSION
    assert near(flight, "CURRENT_MODE", 150.0).standard_mode == dialect.MAV_STANDARD_MODE_SAFE_RECOVERY
    landed = [h.message.landed_state for h in of(flight, "EXTENDED_SYS_STATE")]
    assert [state for state, _ in itertools.groupby(landed)] == [1, 3, 2, 4, 1]  # facts.md section 9
    armed = [bool(h.message.base_mode & 128) for h in of(flight, "HEARTBEAT")]
    assert [state for state, _ in itertools.groupby(armed)] == [False, True, False]
    assert [seq for seq, _ in itertools.groupby(h.message.seq for h in of(flight, "MISSION_CURRENT"))] == [0, 1, 2]


def test_satellites_dilution_and_margin_follow_the_script() -> None:
    flight = flown("four-faults")
    assert near(flight, "GPS_RAW_INT", 30.0).satellites_visible == pytest.approx(24, abs=2)
    assert near(flight, "GPS_RAW_INT", 50.0).satellites_visible == pytest.approx(8, abs=2)
    assert near(flight, "GPS_RAW_INT", 50.0).eph == 360
    assert near(flight, "GPS_RAW_INT", 50.0).fix_type == 3
    radio = min(of(flight, "RADIO_STATUS", 51), key=lambda h: abs(h.time_s - 120)).message
    # 1.9 steps a dB: the radio firmware's guide, approximate
    assert (radio.remrssi - radio.remnoise) / 1.9 == pytest.approx(8, abs=3.5)


def test_same_seed_gives_the_same_bytes_another_seed_others() -> None:
    scenario = load_scripted(find("four-faults"))
    once = list(ScriptedFlight(scenario, 7).frames())
    assert list(ScriptedFlight(scenario, 7).frames()) == once
    assert list(ScriptedFlight(scenario, 8).frames()) != once


@pytest.mark.parametrize("seed", [1, 2])
def test_sequence_gaps_stand_exactly_where_loss_is_scripted(seed: int) -> None:
    calm = load_scripted(find("calm"))
    whole = list(ScriptedFlight(calm, seed).frames())
    lossy = with_loss(calm, series([(0, 0), (80, 0), (80.01, 100), (84.99, 100), (85, 0)]))
    came = list(ScriptedFlight(lossy, seed).frames())
    lost = [s for s in whole if s.system == 143 and 80 < s.time_s < 85]
    assert len(lost) == len(whole) - len(came)
    assert [s for s in whole if s not in set(lost)] == came
    sequences = [s.data[4] for s in came if s.system == 143]
    steps = Counter((b - a) % 256 for a, b in itertools.pairwise(sequences))
    assert steps == {1: len(sequences) - 2, (len(lost) + 1) % 256: 1}


def test_partial_loss_drops_about_its_share_of_the_aircraft_s_frames_only() -> None:
    calm = load_scripted(find("calm"))
    whole = Counter(s.system for s in ScriptedFlight(calm).frames())
    came = Counter(s.system for s in ScriptedFlight(with_loss(calm, series([(0, 20)]))).frames())
    assert (came[51], came[255]) == (whole[51], whole[255])
    deviation = math.sqrt(0.2 * 0.8 / whole[143])  # binomial
    assert 1 - came[143] / whole[143] == pytest.approx(0.2, abs=4 * deviation)


def test_sequence_is_continuous_without_loss() -> None:
    for system in (143, 51, 255):
        sequences = [h.message.get_seq() for h in flown("calm") if h.message.get_srcSystem() == system]
        assert all((b - a) % 256 == 1 for a, b in itertools.pairwise(sequences))
