"""FENCE_STATUS and height over ground, packed by pymavlink, by the words of MAVLink's common.xml."""

from __future__ import annotations

import math

import pytest
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import Flight
from watchkeeper.aircraft.readings import BLIND

DOWN = dialect.MAV_SENSOR_ROTATION_PITCH_270
OVER = "position.over_ground"


def flight() -> Flight:
    one = Flight()
    one.beat()
    return one


@pytest.mark.parametrize(
    ("status", "kind", "word"),
    [  # FENCE_BREACH: 0 none, 1 minimum altitude, 2 maximum altitude, 3 boundary (facts.md 9)
        (0, 0, "none"),
        (0, 3, "none"),  # over, and the last kind still stands there
        (1, dialect.FENCE_BREACH_MINALT, "too_low"),
        (1, dialect.FENCE_BREACH_MAXALT, "too_high"),
        (1, dialect.FENCE_BREACH_BOUNDARY, "boundary"),
        (1, 0, "other"),
        (1, 200, "other"),
        (7, 3, BLIND),  # no status of the standard
    ],
)
def test_the_fence_by_the_standards_numbers(status: int, kind: int, word: object) -> None:
    one = flight()
    one.send("FENCE_STATUS", breach_status=status, breach_type=kind, breach_count=65535, breach_time=2**32 - 1)
    assert one.read("fence.breach") == word


def test_a_fence_that_is_no_longer_told_is_blind_after_a_while() -> None:
    one = flight()
    one.send("FENCE_STATUS", breach_status=1, breach_type=3)
    one.wait(40)
    assert one.read("fence.breach") is BLIND


@pytest.mark.parametrize(
    ("name", "fields", "value"),
    [
        ("ALTITUDE", {"bottom_clearance": 12.5}, 12.5),
        ("ALTITUDE", {"bottom_clearance": -1.0}, BLIND),  # "a negative value indicates no measurement available"
        ("ALTITUDE", {"bottom_clearance": math.nan}, BLIND),
        ("ALTITUDE", {"bottom_clearance": math.inf}, BLIND),
        ("ALTITUDE", {"bottom_clearance": 3e38}, BLIND),
        ("TERRAIN_REPORT", {"current_height": 31.5, "spacing": 100}, 31.5),
        ("TERRAIN_REPORT", {"current_height": 31.5, "spacing": 0}, BLIND),  # "zero if terrain unavailable"
        ("DISTANCE_SENSOR",
         {"min_distance": 20, "max_distance": 4000, "current_distance": 1234, "orientation": DOWN}, 12.34),
        ("DISTANCE_SENSOR",
         {"min_distance": 20, "max_distance": 4000, "current_distance": 4000, "orientation": DOWN}, BLIND),
        ("DISTANCE_SENSOR",
         {"min_distance": 20, "max_distance": 4000, "current_distance": 0, "orientation": DOWN}, BLIND),
        ("DISTANCE_SENSOR",
         {"min_distance": 20, "max_distance": 4000, "current_distance": 1234, "orientation": 0}, BLIND),
    ],
)  # fmt: skip
def test_height_over_ground(name: str, fields: dict[str, float], value: object) -> None:
    one = flight()
    one.send(name, **fields)
    assert one.read(OVER) == value


def test_the_aircrafts_own_fusion_goes_before_terrain_and_terrain_before_a_look_down() -> None:
    look = {"min_distance": 20, "max_distance": 4000, "current_distance": 1000, "orientation": DOWN}
    one = flight()
    one.send("DISTANCE_SENSOR", **look)
    one.send("TERRAIN_REPORT", current_height=20.0, spacing=30)
    one.send("DISTANCE_SENSOR", **look)
    assert one.read(OVER) == 20.0
    one.send("ALTITUDE", bottom_clearance=30.0)
    one.send("TERRAIN_REPORT", current_height=20.0, spacing=30)
    one.send("DISTANCE_SENSOR", **look)
    assert one.read(OVER) == 30.0
    one.wait(60)  # the others fell silent
    one.send("DISTANCE_SENSOR", **look)
    assert one.read(OVER) == 10.0
