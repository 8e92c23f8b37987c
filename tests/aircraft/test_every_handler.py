"""Each message that is folded, packed by pymavlink in both versions of MAVLink, against SI values (facts.md 9)."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import ARDUPILOT, HOME, QUADROTOR, Flight, Sender
from watchkeeper.aircraft.handlers import FOLDINGS
from watchkeeper.aircraft.readings import BLIND, FAULT
from watchkeeper.link.tables import MESSAGES

ABSENT = 65535
LATITUDE, LONGITUDE = (round(degrees * 1e7) for degrees in HOME)
FLOATS = sorted(
    (MESSAGES[number].name, field)
    for number in FOLDINGS
    if number not in {290, 291}  # ESC_INFO and ESC_STATUS, which pymavlink lacks: see test_motor_messages.py
    for field, kind in zip(
        getattr(dialect, f"MAVLink_{MESSAGES[number].name.lower()}_message").fieldnames,
        getattr(dialect, f"MAVLink_{MESSAGES[number].name.lower()}_message").fieldtypes,
        strict=True,
    )
    if kind == "float" and field not in {"q", "quaternion", "actuator", "repr_offset_q"}  # arrays, not read
)

BATTERY = {
    "current_consumed": 1500,
    "energy_consumed": -1,
    "temperature": -550,
    "voltages": [4000, 3990, 3980, 3970, ABSENT, ABSENT, ABSENT, ABSENT, ABSENT, ABSENT],
    "current_battery": 2345,
    "battery_remaining": 77,
}
HIGH_LATENCY: dict[str, Any] = {
    "type": QUADROTOR, "autopilot": ARDUPILOT, "custom_mode": 9, "latitude": LATITUDE, "longitude": LONGITUDE,
    "altitude": 120, "groundspeed": 51, "windspeed": 33, "climb_rate": 12, "battery": 91,
}  # fmt: skip
RADIO = {"rssi": 195, "remrssi": 157, "noise": 43, "remnoise": 62, "txbuf": 90}

TABLE: list[tuple[str, dict[str, Any], dict[str, Any]]] = [
    ("HEARTBEAT", {"type": QUADROTOR, "autopilot": ARDUPILOT, "base_mode": 0x81, "custom_mode": 6},
     {"flight.armed": True, "flight.mode": "safe_recovery"}),
    ("SYS_STATUS", {"voltage_battery": 22200, "current_battery": 1834, "battery_remaining": 61},
     {"battery.voltage": 22.2, "battery.current": 18.34, "battery.power": 407.148, "battery.gauge_left": 61}),
    ("SYS_STATUS", {"voltage_battery": 22200, "current_battery": -1, "battery_remaining": 61},
     {"battery.voltage": 22.2, "battery.current": BLIND, "battery.power": BLIND}),
    ("SYS_STATUS", {"voltage_battery": 22200, "current_battery": 100, "battery_remaining": -1},
     {"battery.gauge_left": BLIND, "battery.current": 1.0}),
    ("SYS_STATUS", {"voltage_battery": 22200, "current_battery": 32767, "battery_remaining": 61},
     {"battery.current": BLIND, "battery.voltage": 22.2}),
    ("SYS_STATUS", {"voltage_battery": ABSENT, "current_battery": 100, "battery_remaining": 61},
     {"battery.voltage": BLIND, "battery.power": BLIND}),
    ("SYS_STATUS", {"voltage_battery": 22200, "current_battery": 100, "battery_remaining": 101},
     {"battery.gauge_left": BLIND}),
    ("BATTERY_STATUS", BATTERY,
     {"battery.voltage": 15.94, "battery.1.cell_voltage": 3.985, "battery.current": 23.45, "battery.consumed": 1.5,
      "battery.temperature": -5.5, "battery.imbalance": 0.03, "battery.gauge_left": 77, "battery.cells": 4}),
    ("BATTERY_STATUS", {**BATTERY, "temperature": 32767, "current_consumed": -1, "battery_remaining": -1},
     {"battery.temperature": BLIND, "battery.consumed": BLIND, "battery.gauge_left": BLIND}),
    ("BATTERY_STATUS", {**BATTERY, "voltages": [65534, 2466] + [ABSENT] * 8},
     {"battery.voltage": 68.0, "battery.imbalance": BLIND}),
    ("SYSTEM_TIME", {"time_boot_ms": 5000}, {"link.lag": 0.0}),
    ("ATTITUDE", {"time_boot_ms": 5000}, {"link.lag": 0.0}),
    ("ATTITUDE", {"time_boot_ms": 0}, {"link.lag": BLIND}),
    ("ATTITUDE", {"yaw": 2.0}, {"flight.tilt": 0.0}),
    ("ATTITUDE_QUATERNION", {"q1": 1.0}, {"flight.tilt": 0.0}),
    ("GLOBAL_POSITION_INT", {"time_boot_ms": 5000, "lat": LATITUDE, "lon": LONGITUDE, "relative_alt": 43_210,
                             "vx": 120, "vy": -50, "vz": -75, "hdg": ABSENT},
     {"position.height": 43.21, "position.ground_speed": 1.3, "position.climb_rate": 0.75, "link.lag": 0.0}),
    ("GLOBAL_POSITION_INT", {"lat": 0, "lon": 0}, {"position.home_distance": BLIND, "position.height": 0.0}),
    ("VFR_HUD", {"groundspeed": 4.5, "climb": -1.25, "throttle": 40, "alt": 130.0},
     {"position.ground_speed": 4.5, "position.climb_rate": -1.25, "position.height": BLIND}),
    ("GPS_RAW_INT", {"fix_type": 3, "satellites_visible": 17, "eph": 81},
     {"satellites.used": 17, "satellites.hdop": 0.81, "satellites.fix": "fix_3d"}),
    ("GPS_RAW_INT", {"fix_type": 0, "satellites_visible": 255, "eph": ABSENT},
     {"satellites.used": BLIND, "satellites.hdop": BLIND, "satellites.fix": "none"}),
    ("GPS2_RAW", {"fix_type": 4, "satellites_visible": 21, "eph": 65, "epv": 90},
     {"satellites2.used": 21, "satellites2.hdop": 0.65, "satellites2.fix": "dgps", "satellites.used": BLIND}),
    ("GPS2_RAW", {"fix_type": 99, "satellites_visible": 255, "eph": ABSENT},
     {"satellites2.used": BLIND, "satellites2.hdop": BLIND, "satellites2.fix": BLIND, "position.valid": BLIND}),
    ("ESTIMATOR_STATUS", {"vel_ratio": 0.25, "pos_horiz_ratio": 0.5, "pos_vert_ratio": 0.125, "mag_ratio": 0.75,
                          "pos_horiz_accuracy": 1.5, "flags": 0x33F},
     {"filter.velocity_ratio": 0.25, "filter.position_ratio": 0.5, "filter.height_ratio": 0.125,
      "filter.heading_ratio": 0.75, "position.accuracy": 1.5, "position.valid": True, "filter.rejects": False}),
    ("EKF_STATUS_REPORT", {"velocity_variance": 0.25, "pos_horiz_variance": 0.5, "flags": 0x33F},
     {"filter.velocity_ratio": 0.25, "filter.position_ratio": 0.5, "filter.placed": True}),
    ("GNSS_INTEGRITY", {"jamming_state": 3, "spoofing_state": 1},
     {"satellites.jamming": "detected", "satellites.spoofing": "clear"}),
    ("GNSS_INTEGRITY", {"jamming_state": 0, "spoofing_state": 200},
     {"satellites.jamming": BLIND, "satellites.spoofing": BLIND}),
    ("HOME_POSITION", {"latitude": LATITUDE, "longitude": LONGITUDE, "altitude": 100_000, "q": [0] * 4},
     {"position.home_source": "aircraft"}),
    ("HOME_POSITION", {"latitude": 0, "longitude": 0, "q": [0] * 4}, {"position.home_source": BLIND}),
    ("WIND", {"direction": 370.0, "speed": 6.5}, {"wind.from": 10.0, "wind.speed": 6.5}),
    ("WIND_COV", {"wind_x": -6.0, "wind_y": 0.0}, {"wind.from": 0.0, "wind.speed": 6.0}),
    ("WIND_COV", {"wind_x": 0.0, "wind_y": 7.0}, {"wind.from": 270.0, "wind.speed": 7.0}),
    ("HIGH_LATENCY2", HIGH_LATENCY,
     # the heartbeat, fresher, keeps the word on the mode
     {"flight.mode": "attitude", "position.ground_speed": 10.2, "position.climb_rate": 1.2, "wind.speed": 6.6,
      "battery.gauge_left": 91, "battery.voltage": BLIND, "position.height": BLIND}),
    ("HIGH_LATENCY2", {**HIGH_LATENCY, "windspeed": 0, "battery": -1},
     {"wind.speed": BLIND, "battery.gauge_left": BLIND}),
    ("HIGH_LATENCY2", {**HIGH_LATENCY, "windspeed": 0, "wind_heading": 45}, {"wind.speed": 0.0}),
    ("CURRENT_MODE", {"standard_mode": 1, "custom_mode": 77}, {"flight.mode": "position_hold"}),
    ("EXTENDED_SYS_STATE", {"landed_state": 2}, {"flight.phase": "on_ground"}),  # and disarmed, at no height
    ("RADIO_STATUS", RADIO, {"link.margin": 50.0}),
    ("RADIO_STATUS", {**RADIO, "remrssi": 255}, {"link.margin": 80.0}),
    ("RADIO_STATUS", {**RADIO, "remnoise": 255}, {"link.margin": 80.0}),
    ("RADIO_STATUS", {**RADIO, "noise": 255}, {"link.margin": 50.0}),
    ("RADIO_STATUS", {**RADIO, "rssi": 255, "remrssi": 255}, {"link.margin": BLIND}),
    ("RADIO", RADIO, {"link.margin": 50.0}),
    ("COLLISION", {"action": 2, "threat_level": 1},
     {"traffic.avoidance": "climb_or_descend", "traffic.threat": "low"}),
    ("COLLISION", {"action": 7, "threat_level": 3}, {"traffic.avoidance": BLIND, "traffic.threat": BLIND}),
    ("FENCE_STATUS", {"breach_status": 1, "breach_type": 3}, {"fence.breach": "boundary"}),
    ("ALTITUDE", {"bottom_clearance": 12.5}, {"position.over_ground": 12.5}),
    ("TERRAIN_REPORT", {"current_height": 31.5, "spacing": 100}, {"position.over_ground": 31.5}),
    ("DISTANCE_SENSOR", {"min_distance": 20, "max_distance": 4000, "current_distance": 1234, "orientation": 25},
     {"position.over_ground": 12.34}),
    ("RC_CHANNELS", {"chancount": 8, "rssi": 255}, {"control.lost": False, "control.age": 0.0}),
]  # fmt: skip
ESC_TELEMETRY = {MESSAGES[number].name for number in (*range(11030, 11033), *range(11040, 11045))}
NO_READING = {
    "ADSB_VEHICLE", "AUTOPILOT_VERSION", "AVAILABLE_MODES", "COMMAND_ACK", "MISSION_COUNT",
    "MISSION_CURRENT", "MISSION_ITEM",
    "MISSION_ITEM_INT", "OPEN_DRONE_ID_BASIC_ID", "OPEN_DRONE_ID_LOCATION", "PARAM_VALUE", "SCALED_PRESSURE",
    "SMART_BATTERY_INFO", "STATUSTEXT", "UAVIONIX_ADSB_OUT_CFG",
    "NAV_CONTROLLER_OUTPUT", "RC_CHANNELS_RAW", "ACTUATOR_OUTPUT_STATUS",
    "ESC_INFO", "ESC_STATUS", "SERVO_OUTPUT_RAW", "VIBRATION", *ESC_TELEMETRY,
}  # fmt: skip
"""These change what later messages mean, or are kept as words: tested beside their own modules."""


@pytest.mark.parametrize("version", [1, 2])
@pytest.mark.parametrize(("name", "fields", "expected"), TABLE)
def test_readings(name: str, fields: dict[str, Any], expected: dict[str, Any], version: int) -> None:
    if version == 1 and getattr(dialect, f"MAVLINK_MSG_ID_{name}") > 255:
        return  # version 1 has one byte for it
    flight = Flight()
    flight.sender = Sender(7, version=version)
    flight.beat()
    sender = Sender(51, 68, version=version) if name.startswith("RADIO") else flight.sender
    touched = flight.hear(sender.pack(name, **fields))
    assert touched == [flight.aircraft]
    for reading, value in expected.items():
        found = flight.read(reading)
        if isinstance(value, float):
            assert found == pytest.approx(value, abs=1e-6), reading
        else:
            assert found is value or found == value, reading


def test_no_message_is_left_out() -> None:
    assert {MESSAGES[number].name for number in FOLDINGS} == {name for name, _, _ in TABLE} | NO_READING


@pytest.mark.parametrize("version", [1, 2])
def test_pressure_and_temperature_of_the_air_are_kept_for_the_estimates(version: int) -> None:
    # common.xml: press_abs in hPa, temperature in cdegC; ISO 2533 has 898.763 hPa and 8.501 degrees C at 1 000 m
    flight = Flight()
    flight.sender = Sender(7, version=version)
    flight.beat()
    flight.send("SCALED_PRESSURE", time_boot_ms=5000, press_abs=898.763, press_diff=0.0, temperature=850)
    motion = flight.aircraft.motion
    assert motion.pressure_hpa == pytest.approx(898.763, abs=1e-3)
    assert motion.air_degc == 8.5
    assert motion.air_us == flight.now_us


@pytest.mark.parametrize("bad_hpa", [math.nan, math.inf, -math.inf, 0.0, -900.0, 3.4e38, 101_325.0])
def test_a_pressure_that_no_air_has_is_not_taken(bad_hpa: float) -> None:
    flight = Flight()
    flight.beat()
    flight.send("SCALED_PRESSURE", press_abs=bad_hpa, temperature=2000)
    assert flight.aircraft.motion.pressure_hpa is None
    flight.send("SCALED_PRESSURE", press_abs=1013.25, temperature=1500)
    flight.send("SCALED_PRESSURE", press_abs=bad_hpa, temperature=2000)
    motion = flight.aircraft.motion
    assert motion.pressure_hpa == pytest.approx(1013.25)
    assert motion.air_degc == 15.0


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 3.4e38])
@pytest.mark.parametrize(("name", "field"), FLOATS)
def test_what_is_no_number_is_a_fault_or_unknown(name: str, field: str, bad: float) -> None:
    flight = Flight()
    flight.beat()
    flight.at(height_m=10)
    flight.wait(10)
    flight.send(name, **{field: bad, **({"param_type": 9, "param_id": "A"} if name == "PARAM_VALUE" else {})})
    assert flight.fleet.sources["a"][7, 1].refused == 0
    flight.beat(armed=True)
    flight.at(height_m=11)
    readings = flight.aircraft.readings
    for index, value in enumerate(readings.values):
        if isinstance(value, float) and not math.isfinite(value):
            assert readings.read(index, flight.now_us) is FAULT
    assert all(v is None or math.isfinite(v) for v in flight.aircraft.parameters.values.values())


@pytest.mark.parametrize(
    ("latitude", "longitude"), [(900_000_001, 0), (-(2**31), 0), (1, 1_800_000_001), (2**31 - 1, 2**31 - 1)]
)
def test_what_is_no_place_on_earth_is_no_position(latitude: int, longitude: int) -> None:
    flight = Flight()
    flight.beat()
    flight.send("HOME_POSITION", latitude=latitude, longitude=longitude, q=[0] * 4)
    assert flight.aircraft.home is None
    flight.send("HOME_POSITION", latitude=LATITUDE, longitude=LONGITUDE, q=[0] * 4)
    flight.send("GLOBAL_POSITION_INT", lat=latitude, lon=longitude)
    assert flight.aircraft.position is None
    assert flight.is_blind("position.home_distance")


def test_a_gauge_without_a_voltage_does_not_blank_the_one_with() -> None:
    flight = Flight()
    flight.beat()
    flight.send("SYS_STATUS", voltage_battery=22200, current_battery=1834, battery_remaining=61)
    flight.send("HIGH_LATENCY2", **HIGH_LATENCY)
    assert flight.read("battery.voltage") == pytest.approx(22.2)
    assert flight.read("battery.gauge_left") == 61
    flight.wait(40)
    flight.send("HIGH_LATENCY2", **HIGH_LATENCY)
    assert flight.read("battery.gauge_left") == 91
    assert flight.is_blind("battery.voltage")
