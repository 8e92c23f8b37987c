"""Outputs, motor controllers and vibration: packed by pymavlink, but ESC_INFO and ESC_STATUS, which it lacks.

Layout of the latter by common.xml (de1e078a): time_usec, rpm[4], voltage[4], current[4], index in wire order.
"""

from __future__ import annotations

import math

import pytest

from tests.aircraft.feeder import Flight
from watchkeeper.link.encode import Encoder

SERVOS = {f"servo{i}_raw": 1100 + i for i in range(1, 17)}


@pytest.fixture
def flight() -> Flight:
    flight = Flight()
    flight.beat()
    return flight


def test_servo_outputs_are_kept_by_their_numbers(flight: Flight) -> None:
    flight.send("SERVO_OUTPUT_RAW", port=0, **SERVOS)
    flight.send("SERVO_OUTPUT_RAW", port=1, servo1_raw=1900)
    flight.send("SERVO_OUTPUT_RAW", port=7, servo1_raw=5)
    outputs = flight.aircraft.motors.outputs
    assert outputs.values[:17] == [*range(1101, 1117), 1900]
    assert outputs.latest([0, 2], flight.now_us, 5_000_000) == [1101, 1103]
    flight.wait(6)
    assert outputs.latest([0, 2], flight.now_us, 5_000_000) is None


def test_actuator_outputs_stand_in_where_no_servo_outputs_come(flight: Flight) -> None:
    flight.send("ACTUATOR_OUTPUT_STATUS", active=4, actuator=[1500.0, 1510.0, math.nan, 1520.0] + [0.0] * 28)
    outputs = flight.aircraft.motors.outputs
    assert outputs.values[:5] == [1500.0, 1510.0, None, 1520.0, None]
    flight.send("SERVO_OUTPUT_RAW", port=0, **SERVOS)
    flight.send("ACTUATOR_OUTPUT_STATUS", active=4_000_000_000, actuator=[7.0] * 32)
    assert outputs.values[0] == 1101
    flight.wait(11)
    flight.send("ACTUATOR_OUTPUT_STATUS", active=4_000_000_000, actuator=[7.0] * 32)
    assert outputs.values == [7.0] * 32


def test_esc_info_and_status_in_groups_of_four(flight: Flight) -> None:
    encoder = Encoder(7, 1)
    for index in (0, 4):
        flight.hear(
            encoder.encode(
                "ESC_STATUS", index=index, rpm=[3000, -3010, 3020, 3030], voltage=[44.0] * 4,
                current=[20.0, 21.0, math.nan, 23.0],
            )
        )  # fmt: skip
        flight.hear(
            encoder.encode(
                "ESC_INFO", index=index, count=6, temperature=[4550, 32767, 5000, -100],
                failure_flags=[0, 0, 32, 0],
            )
        )  # fmt: skip
    motors = flight.aircraft.motors
    assert motors.rpm.values[:8] == [3000, 3010, 3020, 3030] * 2  # the sign tells the direction
    assert motors.amps.values[:4] == [20.0, 21.0, None, 23.0]
    assert motors.celsius.values[:7] == [45.5, None, 50.0, -1.0, 45.5, None, None]  # there are six
    assert motors.failures.values[:4] == [0, 0, 32, 0]
    flight.hear(encoder.encode("ESC_STATUS", index=255, rpm=[1] * 4, voltage=[0.0] * 4, current=[0.0] * 4))
    assert len(motors.rpm.values) == 32


def test_esc_telemetry_by_its_numbers(flight: Flight) -> None:
    told = {"rpm": [5000, 5100, 0, 5300], "current": [1234, 0, 0, 1], "temperature": [41, 42, 0, 44]}
    flight.send("ESC_TELEMETRY_5_TO_8", count=[9, 9, 0, 9], **told)
    flight.send("ESC_TELEMETRY_13_TO_16", count=[9, 9, 9, 9], **told)
    motors = flight.aircraft.motors
    assert motors.rpm.values[4:8] == [5000, 5100, None, 5300]  # a place that never told anything has no motor
    assert motors.amps.values[4] == 12.34
    assert motors.celsius.values[4:8] == [41, 42, None, 44]
    assert motors.rpm.values[12:16] == [5000, 5100, 0, 5300]


def test_vibration(flight: Flight) -> None:
    flight.send(
        "VIBRATION", vibration_x=1.5, vibration_y=2.5, vibration_z=30.5, clipping_0=1, clipping_2=4_000_000
    )
    vibration = flight.aircraft.motors.vibration
    assert vibration.axes_m_s2 == (1.5, 2.5, 30.5)
    assert vibration.clipping == (1, 0, 4_000_000)
