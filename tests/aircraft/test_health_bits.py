"""SYS_STATUS health bits. MAV_SYS_STATUS_SENSOR as pymavlink's tables have it (common.xml) is the authority."""

from __future__ import annotations

from typing import Final

import pytest
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import Flight
from watchkeeper.aircraft.readings import BLIND

ALL: Final = 0xFFFFFFFF
PARTS = (
    ("inertial", dialect.MAV_SYS_STATUS_SENSOR_3D_GYRO),
    ("inertial", dialect.MAV_SYS_STATUS_SENSOR_3D_ACCEL2),
    ("compass", dialect.MAV_SYS_STATUS_SENSOR_3D_MAG),
    ("compass", dialect.MAV_SYS_STATUS_SENSOR_3D_MAG2),
    ("pressure", dialect.MAV_SYS_STATUS_SENSOR_ABSOLUTE_PRESSURE),
    ("satellites", dialect.MAV_SYS_STATUS_SENSOR_GPS),
    ("attitude", dialect.MAV_SYS_STATUS_AHRS),
    ("attitude", dialect.MAV_SYS_STATUS_SENSOR_ATTITUDE_STABILIZATION),
    ("motors", dialect.MAV_SYS_STATUS_SENSOR_MOTOR_OUTPUTS),
    ("motors", dialect.MAV_SYS_STATUS_REVERSE_MOTOR),
    ("battery", dialect.MAV_SYS_STATUS_SENSOR_BATTERY),
    ("prearm", dialect.MAV_SYS_STATUS_PREARM_CHECK),
)
OTHERS = (
    ("terrain_data", dialect.MAV_SYS_STATUS_TERRAIN),
    ("proximity_sensors", dialect.MAV_SYS_STATUS_SENSOR_PROXIMITY),
    ("logging", dialect.MAV_SYS_STATUS_LOGGING),
    ("fence", dialect.MAV_SYS_STATUS_GEOFENCE),
)
NAMES = tuple(dict.fromkeys(name for name, _ in PARTS))


def status(flight: Flight, present: int, enabled: int, health: int, **more: int) -> None:
    flight.send(
        "SYS_STATUS",
        onboard_control_sensors_present=present,
        onboard_control_sensors_enabled=enabled,
        onboard_control_sensors_health=health,
        **more,
    )


@pytest.fixture
def flight() -> Flight:
    flight = Flight()
    flight.beat()
    return flight


@pytest.mark.parametrize(("name", "bit"), PARTS)
def test_a_part_is_unhealthy_where_it_is_there_enabled_and_its_bit_is_not_set(
    flight: Flight, name: str, bit: int
) -> None:
    status(flight, ALL, ALL, ALL & ~bit)
    assert [one for one in NAMES if flight.read(f"unhealthy.{one}")] == [name]
    assert flight.read("unhealthy.other") == "none"
    status(flight, ALL, ALL & ~bit, ALL & ~bit)
    assert flight.read(f"unhealthy.{name}") is False
    status(flight, ALL, ALL, ALL)
    assert flight.read(f"unhealthy.{name}") is False


@pytest.mark.parametrize(("word", "bit"), OTHERS)
def test_parts_of_less_weight_are_told_by_one_word(flight: Flight, word: str, bit: int) -> None:
    status(flight, ALL, ALL, ALL & ~bit)
    assert flight.read("unhealthy.other") == word
    assert not any(flight.read(f"unhealthy.{one}") for one in NAMES)


def test_what_is_not_there_is_unknown_and_nothing_at_all_is_no_word_that_all_is_well(flight: Flight) -> None:
    status(flight, dialect.MAV_SYS_STATUS_SENSOR_3D_GYRO, ALL, 0)
    assert flight.read("unhealthy.inertial") is True
    assert flight.read("unhealthy.compass") is BLIND
    status(flight, 0, 0, 0)
    assert flight.read("unhealthy.inertial") is BLIND
    assert flight.read("unhealthy.other") is BLIND


def test_the_receiver_of_the_control_link_is_none_of_these(flight: Flight) -> None:
    status(flight, ALL, ALL, ALL & ~dialect.MAV_SYS_STATUS_SENSOR_RC_RECEIVER)
    assert not any(flight.read(f"unhealthy.{one}") for one in NAMES)
    assert flight.read("unhealthy.other") == "none"


def test_extended_bits_count_where_they_are_said_to_be_used(flight: Flight) -> None:
    used = dialect.MAV_SYS_STATUS_EXTENSION_USED
    more = {
        "onboard_control_sensors_present_extended": 3,
        "onboard_control_sensors_enabled_extended": 1,
        "onboard_control_sensors_health_extended": 0,
    }
    status(flight, 1 | used, 1, 1, **more)
    assert flight.read("unhealthy.other") == "recovery_system"
    status(flight, 1, 1, 1, **more)
    assert flight.read("unhealthy.other") == "none"


def test_the_same_bits_again_keep_the_reading_fresh(flight: Flight) -> None:
    for _ in range(6):
        status(flight, ALL, ALL, ALL)
        flight.wait(2.0)
    assert flight.read("unhealthy.inertial") is False
    flight.wait(15.0)
    assert flight.read("unhealthy.inertial") is BLIND
