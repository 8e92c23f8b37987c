"""PARAM_VALUE: integers as C casts and byte for byte (facts.md section 9)."""

from __future__ import annotations

import math
import struct

import pytest
from pymavlink.dialects.v20 import all as dialect

from tests.aircraft.feeder import ARDUPILOT, GENERIC, PX4, Flight
from watchkeeper.aircraft.parameters import BYTEWISE, CAST, MOST, Parameters, decode

INT32 = dialect.MAV_PARAM_TYPE_INT32
REAL32 = dialect.MAV_PARAM_TYPE_REAL32


def as_float(value: int) -> bytes:
    return struct.pack("<i", value)


def test_the_bits_are_those_of_the_standard() -> None:
    assert dialect.MAV_PROTOCOL_CAPABILITY_PARAM_ENCODE_C_CAST == CAST
    assert dialect.MAV_PROTOCOL_CAPABILITY_PARAM_ENCODE_BYTEWISE == BYTEWISE


@pytest.mark.parametrize(
    "value",
    [0, 1, -1, 70_000, -(2**31), 2**31 - 1, -5_000_000],  # the last one is a signalling NaN as a float
)
def test_integers_byte_for_byte_come_through_whole(value: int) -> None:
    assert decode(as_float(value), INT32, BYTEWISE) == value


@pytest.mark.parametrize(
    ("kind", "layout", "value"),
    [(1, "<B3x", 200), (2, "<b3x", -100), (3, "<H2x", 60_000), (4, "<h2x", -30_000), (5, "<I", 4_000_000_000)],
)
def test_every_kind_of_integer(kind: int, layout: str, value: int) -> None:
    assert decode(struct.pack(layout, value), kind, BYTEWISE) == value
    assert decode(struct.pack("<f", value), kind, CAST) == value


def test_what_is_not_understood_is_unknown() -> None:
    assert decode(struct.pack("<f", 3.0), INT32, 0) is None
    assert decode(struct.pack("<f", 3.5), INT32, CAST) is None
    assert decode(struct.pack("<f", math.nan), REAL32, CAST) is None
    assert decode(struct.pack("<f", math.inf), INT32, CAST) is None
    assert decode(struct.pack("<f", 3.0), 7, CAST) is None  # 64 bits do not fit into a float


@pytest.mark.parametrize(
    ("autopilot", "raw", "expected"),
    [(ARDUPILOT, struct.pack("<f", 1500), 1500.0), (PX4, as_float(1500), 1500.0), (GENERIC, as_float(1500), None)],
)
def test_the_autopilots_kind_tells_where_nothing_else_does(
    autopilot: int, raw: bytes, expected: float | None
) -> None:
    flight = Flight(autopilot=autopilot)
    flight.beat()
    (value,) = struct.unpack("<f", raw)
    flight.send("PARAM_VALUE", param_id="SOME", param_value=value, param_type=INT32, param_count=3)
    assert flight.aircraft.parameters.values == {"SOME": expected}
    assert flight.aircraft.parameters.total == 3


def test_capability_bits_go_before_the_kind_and_hold_for_what_came_before() -> None:
    flight = Flight(autopilot=ARDUPILOT)
    flight.beat()
    (value,) = struct.unpack("<f", as_float(1500))
    flight.send("PARAM_VALUE", param_id="SOME", param_value=value, param_type=INT32)
    assert flight.aircraft.parameters.values["SOME"] is None
    flight.send("AUTOPILOT_VERSION", capabilities=BYTEWISE, uid2=[0] * 18)
    assert flight.aircraft.parameters.values["SOME"] == 1500


def test_parameters_before_the_first_heartbeat_are_kept() -> None:
    flight = Flight()
    flight.send("PARAM_VALUE", param_id="RTL_ALT", param_value=1500.0, param_type=4, param_count=797)
    flight.beat()
    assert flight.aircraft.parameters.values == {"RTL_ALT": 1500.0}
    assert flight.aircraft.parameters.total == 797


def test_how_they_are_coded_may_be_told_before_the_first_heartbeat() -> None:
    flight = Flight(autopilot=GENERIC)
    (value,) = struct.unpack("<f", as_float(1500))
    flight.send("AUTOPILOT_VERSION", capabilities=BYTEWISE, uid2=[0] * 18)
    flight.send("PARAM_VALUE", param_id="EARLY", param_value=value, param_type=INT32, param_count=2)
    flight.beat()
    flight.send("PARAM_VALUE", param_id="LATER", param_value=value, param_type=INT32, param_count=2)
    assert flight.aircraft.parameters.values == {"EARLY": 1500, "LATER": 1500}


@pytest.mark.parametrize("bits", [0, BYTEWISE | CAST])
def test_bits_that_do_not_tell_leave_it_to_the_kind(bits: int) -> None:
    flight = Flight(autopilot=ARDUPILOT)
    flight.beat()
    flight.send("AUTOPILOT_VERSION", capabilities=bits, uid2=[0] * 18)
    flight.send("PARAM_VALUE", param_id="SOME", param_value=1500.0, param_type=INT32)
    assert flight.aircraft.parameters.values == {"SOME": 1500}


def test_names_from_outside_are_checked_and_bounded() -> None:
    parameters = Parameters()
    for name in ("", "A\x1b[31m", "Ä", "B\n"):
        parameters.take(name, bytes(4), REAL32, 1, ARDUPILOT)
    assert parameters.values == {}
    for number in range(2 * MOST):
        parameters.take(f"P{number}", bytes(4), REAL32, 1, ARDUPILOT)
    assert len(parameters.values) == MOST
