"""Messages of packs, modes, plan, links and fence, decoded by pymavlink, against the state they tell."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import fmean, pstdev
from typing import Any

import pytest
from pymavlink.dialects.v20 import all as dialect

from simulators.flown.flight import SimulatedFlight
from simulators.flown.setup import PackSetup
from simulators.flown.telemetry import CAPABILITIES
from simulators.onboard.command import Sticks
from simulators.onboard.gauge import EXACT, MonitorErrors
from simulators.onboard.modes import Mode
from simulators.physics.airframe import Airframe
from simulators.physics.packs import PackModel
from tests.simulators.flown.telling import cruising, flying, listen, standing, told
from tests.simulators.onboard.flying import item, setup

UNKNOWN = 65535


def packs(*errors: MonitorErrors, charges: tuple[float, ...] = (1.0, 1.0)) -> tuple[PackSetup, ...]:
    return tuple(PackSetup(PackModel(), charge, one) for charge, one in zip(charges, errors, strict=True))


def status_of(flight: SimulatedFlight) -> list[Any]:
    return told(flight, "BATTERY_STATUS")


def all_cells(one: Any) -> list[int]:
    """Return the cells of a message as a client reads them (facts.md 9): 65535 unused, in the extension 0."""
    return [v for v in one.voltages if v != UNKNOWN] + [v for v in one.voltages_ext if v != 0]


# --- packs -----------------------------------------------------------------------------------------------------


def test_twelve_cells_are_ten_and_two_in_the_extension() -> None:
    flight = flying(setup(packs=packs(EXACT, EXACT)))
    first, second = status_of(flight)
    assert (first.id, second.id) == (0, 1)
    for one, pack in zip((first, second), flight.bank.packs, strict=True):
        assert UNKNOWN not in one.voltages
        assert one.voltages_ext[2:] == [0, 0]
        cells = all_cells(one)
        assert len(cells) == 12
        assert sum(cells) == pytest.approx(1000 * pack.terminal_v, abs=10)
        assert all(3900 < cell < 4250 for cell in cells)
        assert len(set(cells)) > 3  # unequal by some millivolts
        assert max(cells) - min(cells) < 30


@pytest.mark.parametrize("count", [6, 10, 14])
def test_other_numbers_of_cells(count: int) -> None:
    made = setup(packs=(PackSetup(PackModel(cells_in_series=count), monitor=EXACT),))
    [one] = status_of(standing(made))
    assert len(all_cells(one)) == count
    assert one.voltages[min(count, 10) :] == [UNKNOWN] * (10 - min(count, 10))
    assert one.voltages_ext == one.voltages_ext[: max(0, count - 10)] + [0] * (4 - max(0, count - 10))


def test_each_pack_is_told_by_itself() -> None:
    flight = flying(setup(packs=packs(EXACT, EXACT, charges=(0.9, 0.8))))
    listen(flight, 60.0)
    messages = status_of(flight)
    for one, monitor in zip(messages, flight.pilot.gauges.monitors, strict=True):
        assert one.current_battery == pytest.approx(100 * monitor.current_a, abs=0.6)  # cA
        assert one.current_consumed == pytest.approx(1000 * monitor.used_ah, abs=0.6)  # mAh
        assert one.battery_remaining == pytest.approx(monitor.left_pct, abs=0.6)
        assert one.temperature == pytest.approx(100 * monitor.pack.temperature_degc, abs=0.6)  # cdegC
        assert (one.energy_consumed, one.time_remaining, one.fault_bitmask) == (-1, 0, 0)
        assert (one.type, one.battery_function) == (1, 1)  # MAV_BATTERY_TYPE_LIPO, MAV_BATTERY_FUNCTION_ALL
    assert messages[0].current_battery > messages[1].current_battery > 200  # the fuller gives more


def test_the_sum_is_told_in_the_system_status() -> None:
    flight = flying(setup(packs=packs(EXACT, EXACT)))
    [told_now] = told(flight, "SYS_STATUS")
    bank, gauges = flight.bank, flight.pilot.gauges
    assert told_now.voltage_battery == pytest.approx(1000 * bank.voltage_v, abs=20)  # mV, up to 0.1 s old
    assert told_now.current_battery == pytest.approx(100 * gauges.current_a, abs=0.6)
    assert told_now.current_battery == pytest.approx(100 * bank.current_a, rel=0.03)
    assert told_now.battery_remaining == pytest.approx(gauges.left_pct, abs=0.6)
    assert told_now.load == 320  # d%


def test_current_is_told_by_its_scale_and_offset() -> None:
    flight = flying(setup(packs=packs(MonitorErrors(scale=1.06, offset_a=0.3), MonitorErrors(scale=0.94))))
    shown: tuple[list[float], list[float]] = ([], [])
    true: tuple[list[float], list[float]] = ([], [])
    for _ in range(150):
        listen(flight, 0.1)
        for at, one in enumerate(status_of(flight)):
            shown[at].append(one.current_battery / 100)
            true[at].append(flight.bank.packs[at].current_a)
    assert fmean(shown[0]) == pytest.approx(1.06 * fmean(true[0]) + 0.3, abs=0.08)
    assert fmean(shown[1]) == pytest.approx(0.94 * fmean(true[1]), abs=0.08)
    noise = [a - 0.94 * b for a, b in zip(shown[1], true[1], strict=True)]
    assert 0.1 < pstdev(noise) < 0.25


def test_a_gauge_that_starts_wrong_is_told_wrong() -> None:
    flight = standing(setup(packs=packs(MonitorErrors(start_pct=100.0), EXACT, charges=(0.4, 0.4))))
    first, second = status_of(flight)
    assert (first.battery_remaining, second.battery_remaining) == (100, 40)
    assert told(flight, "SYS_STATUS")[0].battery_remaining == 70
    assert fmean(all_cells(first)) == pytest.approx(fmean(all_cells(second)), abs=5)  # voltages tell


def test_one_pack_open() -> None:
    flight = flying(setup(packs=packs(EXACT, EXACT)))
    before = status_of(flight)
    flight.bank.open(0)
    listen(flight, 5.0)
    first, second = status_of(flight)
    assert first.current_battery == 0
    assert second.current_battery == pytest.approx(2 * before[1].current_battery, rel=0.1)
    assert sum(all_cells(first)) > sum(all_cells(second)) + 150
    [status] = told(flight, "SYS_STATUS")
    assert status.voltage_battery == pytest.approx(sum(all_cells(second)), abs=20)
    assert status.current_battery == pytest.approx(second.current_battery, abs=30)


def test_currents_beyond_the_field_stop_at_its_end() -> None:
    # facts.md 9: current saturates near 327.67 A
    flight = flying(setup(packs=packs(MonitorErrors(scale=40.0), MonitorErrors(scale=40.0))))
    assert {one.current_battery for one in status_of(flight)} == {32767}
    assert told(flight, "SYS_STATUS")[0].current_battery == 32767


def test_an_empty_aircraft_is_told_to_its_end() -> None:
    """Down to nothing, through a bus that collapses, a fall and days on the ground: no value that does not fit."""
    made = setup({"low1.action": 0, "low2.action": 0}, packs=packs(EXACT, EXACT, charges=(0.03, 0.03)))
    flight = standing(made)
    assert flight.pilot.arm(force=True) is None
    flight.pilot.take_off(30.0)
    messages = listen(flight, 300.0)
    assert flight.craft.on_ground
    assert min(one.battery_remaining for one in messages if one.get_type() == "BATTERY_STATUS") == 0
    assert flight.craft.crashed
    texts = [one.text for one in messages if one.get_type() == "STATUSTEXT"]
    assert texts[1:] == ["Low battery, stage 1", "Low battery, stage 2", "Struck the ground", "Disarmed"]


@pytest.mark.parametrize("stages", [0, 1, 2, 3])
def test_the_state_of_charge_follows_the_stages(stages: int) -> None:
    # MAV_BATTERY_CHARGE_STATE (facts.md 9): 1 ok, 2 low, 3 critical, 4 emergency; MAV_STATE_CRITICAL is 5
    off = {f"low{n}.{name}": 0.0 for n in (1, 2, 3) for name in ("action", "delay_s", "volt_v")}
    flight = flying(setup(off))
    for stage in range(1, stages + 1):
        flight.parameters.set(f"low{stage}.volt_v", 60.0)
    listen(flight, 0.5)
    assert {one.charge_state for one in status_of(flight)} == {1 + stages}
    assert told(flight, "HEARTBEAT")[0].system_status == (5 if stages else 4)


# --- modes and plan --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rotors", [4, 6, 8])
def test_heartbeat(rotors: int) -> None:
    flight = standing(replace(setup(), airframe=Airframe(rotors=rotors)))
    [beat] = told(flight, "HEARTBEAT")
    # MAV_TYPE quadrotor 2, hexarotor 13, octorotor 14; MAV_AUTOPILOT_GENERIC 0; MAV_STATE_STANDBY 3
    assert (beat.type, beat.autopilot, beat.mavlink_version) == ({4: 2, 6: 13, 8: 14}[rotors], 0, 3)
    assert (beat.base_mode, beat.system_status, beat.custom_mode) == (1, 3, Mode.POSITION_HOLD)
    assert (beat.get_srcSystem(), beat.get_srcComponent()) == (143, 1)
    flight.pilot.arm()
    [beat] = told(flight, "HEARTBEAT")
    assert (beat.base_mode, beat.system_status) == (129, 4)


@pytest.mark.parametrize("mode", list(Mode))
def test_modes(mode: Mode) -> None:
    # MAV_STANDARD_MODE (facts.md 9): position hold 1, altitude hold 4, recovery 5, mission 6, land 7, takeoff 8
    flight = flying()
    flight.pilot.load_plan([item(16, 500.0, height_m=20)])
    if mode is Mode.TAKEOFF:
        flight = standing()
        flight.pilot.arm()
        flight.pilot.take_off(20.0)
    else:
        flight.pilot.enter(mode, "order")
    [told_now] = told(flight, "CURRENT_MODE")
    name = f"MAV_STANDARD_MODE_{mode.name}"
    assert told_now.standard_mode == getattr(dialect, name)
    assert (told_now.custom_mode, told_now.intended_custom_mode) == (mode, mode)
    assert told(flight, "HEARTBEAT")[0].custom_mode == mode


def test_the_mode_intended_is_told_where_another_is_flown() -> None:
    flight = flying()
    flight.pilot.sensors.has_fix = False
    flight.parameters.set("control.lost_s", 0.1)
    flight.pilot.control_link = False
    listen(flight, 0.5)
    [told_now] = told(flight, "CURRENT_MODE")
    assert (told_now.custom_mode, told_now.intended_custom_mode) == (Mode.LAND, Mode.SAFE_RECOVERY)


def test_all_modes_are_listed() -> None:
    flight = standing()
    modes = told(flight, "AVAILABLE_MODES")
    assert [one.mode_index for one in modes] == list(range(1, len(Mode) + 1))
    assert {one.number_modes for one in modes} == {len(Mode)}
    assert [(one.standard_mode, one.custom_mode) for one in modes] == [(mode, mode) for mode in Mode]
    assert [one.mode_name for one in modes] == [mode.words for mode in Mode]


def test_the_plan_and_how_far_it_is_flown() -> None:
    # MISSION_STATE and total 65535 for no plan (facts.md 9)
    flight = flying()

    def now() -> tuple[int, int, int, int]:
        [one] = told(flight, "MISSION_CURRENT")
        return one.seq, one.total, one.mission_state, one.mission_mode

    assert now() == (0, UNKNOWN, 1, 0)
    flight.pilot.load_plan([item(16, 30.0, height_m=20), item(16, 60.0, height_m=20)])
    assert now() == (0, 2, 2, 2)
    flight.pilot.start_plan()
    messages = listen(flight, 9.0)
    assert now() == (1, 2, 3, 1)
    flight.pilot.enter(Mode.POSITION_HOLD, "order")
    assert now() == (1, 2, 4, 2)
    flight.pilot.enter(Mode.MISSION, "order")
    messages += listen(flight, 20.0)
    assert now() == (1, 2, 5, 1)
    assert [one.seq for one in messages if one.get_type() == "MISSION_ITEM_REACHED"] == [0, 1]


def test_what_it_can_do() -> None:
    [told_now] = told(standing(), "AUTOPILOT_VERSION")
    assert told_now.capabilities == CAPABILITIES
    for name in ("MISSION_INT", "COMMAND_INT", "MAVLINK2", "MISSION_FENCE", "MISSION_RALLY"):
        assert CAPABILITIES & getattr(dialect, f"MAV_PROTOCOL_CAPABILITY_{name}")
    assert CAPABILITIES & 131072  # facts.md 9: parameters as C casts


# --- links, fence, motors --------------------------------------------------------------------------------------


def test_control_channels() -> None:
    flight = flying()
    [told_now] = told(flight, "RC_CHANNELS")
    assert (told_now.chancount, told_now.rssi) == (8, 200)
    assert [getattr(told_now, f"chan{n}_raw") for n in range(1, 19)] == [1500] * 8 + [UNKNOWN] * 10
    flight.pilot.sticks = Sticks(1.0, -0.5, 0.2, 0.4, flight.time_s)
    [told_now] = told(flight, "RC_CHANNELS")
    assert [getattr(told_now, f"chan{n}_raw") for n in range(1, 5)] == [1250, 1000, 1600, 1700]
    flight.pilot.control_link = False
    [told_now] = told(flight, "RC_CHANNELS")
    assert (told_now.chancount, told_now.rssi, told_now.chan1_raw) == (0, 0, UNKNOWN)
    [status] = told(flight, "SYS_STATUS")
    assert not status.onboard_control_sensors_health & 65536  # MAV_SYS_STATUS_SENSOR_RC_RECEIVER


def test_the_fence() -> None:
    # FENCE_BREACH (facts.md 9): 0 none, 2 too high, 3 boundary
    flight = flying(setup({"fence.height_m": 40.0, "fence.radius_m": 30.0, "fence.action": 0, "fence.delay_s": 0}))
    [told_now] = told(flight, "FENCE_STATUS")
    assert (told_now.breach_status, told_now.breach_type, told_now.breach_count, told_now.breach_time) == (
        0,
        0,
        0,
        0,
    )
    flight.pilot.go_to((0.0, 0.0, 60.0))
    listen(flight, 20.0)
    [told_now] = told(flight, "FENCE_STATUS")
    assert (told_now.breach_status, told_now.breach_type, told_now.breach_count) == (1, 2, 1)
    assert flight.time_s - 15.0 < told_now.breach_time / 1000 - 40.0 < flight.time_s - 5.0
    flight.pilot.go_to((60.0, 0.0, 20.0))
    listen(flight, 60.0)
    [told_now] = told(flight, "FENCE_STATUS")
    assert (told_now.breach_status, told_now.breach_type) == (1, 3)


def test_motors() -> None:
    [still] = told(standing(), "SERVO_OUTPUT_RAW")
    assert [getattr(still, f"servo{n}_raw") for n in range(1, 8)] == [1000] * 6 + [0]
    flight = cruising()
    [told_now] = told(flight, "SERVO_OUTPUT_RAW")
    assert all(1200 < getattr(told_now, f"servo{n}_raw") < 1900 for n in range(1, 7))
    assert told_now.servo7_raw == told_now.servo16_raw == 0
    flight.craft.drive.weaken(2, 0.0)
    listen(flight, 2.0)
    [told_now] = told(flight, "SERVO_OUTPUT_RAW")
    assert told_now.servo3_raw < 1100 < told_now.servo2_raw


def test_status_texts_with_their_severities() -> None:
    # facts.md 9: severity 0 to 7 as RFC 5424: emergency, alert, critical, error, warning, notice, informational
    flight = standing(setup({"low1.delay_s": 0.0}))
    flight.pilot.sensors.has_fix = False
    flight.pilot.arm()
    flight.pilot.sensors.has_fix = True
    flight.pilot.arm()
    flight.pilot.take_off(20.0)
    messages = listen(flight, 25.0)
    flight.parameters.set("low1.volt_v", 60.0)
    messages += listen(flight, 1.0)
    flight.pilot.disarm(force=True)
    messages += listen(flight, 10.0)
    texts = [(one.severity, one.text) for one in messages if one.get_type() == "STATUSTEXT"]
    assert texts == [
        (4, "Not armed: no position"), (6, "Armed"), (5, "Mode safe recovery: fail-safe"),
        (2, "Low battery, stage 1: return"), (0, "Motors stopped in the air"), (6, "Disarmed"),
        (0, "Struck the ground"),
    ]  # fmt: skip
    assert all((one.id, one.chunk_seq) == (0, 0) for one in messages if one.get_type() == "STATUSTEXT")


def test_a_long_text_is_cut_at_fifty_bytes() -> None:
    flight = standing()
    flight.pilot.say(4, "x" * 80)  # type: ignore[arg-type]  # a number is a severity
    [text] = [one for one in listen(flight, 0.02) if one.get_type() == "STATUSTEXT"]
    assert text.text == "x" * 50


def test_unfetched_texts_are_bounded() -> None:
    flight = standing()
    for _ in range(1000):
        flight.pilot.arm()
        flight.pilot.disarm()
    assert len(flight.pilot.texts) <= 40


def test_nothing_told_is_not_a_number_but_where_it_is_unknown() -> None:
    flight = cruising()
    allowed = {"wind_z", "var_vert", "wind_alt", "vert_accuracy", "approach_x", "approach_y", "approach_z"}
    for one in listen(flight, 10.0):
        for name in one.get_fieldnames():
            value = getattr(one, name)
            if isinstance(value, float) and math.isnan(value):
                assert name in allowed, (one.get_type(), name)
