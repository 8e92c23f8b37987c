"""What of orders, sticks and attitude is seen: messages packed by pymavlink, angles against scipy."""

from __future__ import annotations

import math
import random

import pytest
from scipy.spatial.transform import Rotation  # type: ignore[import-untyped]

from tests.aircraft.feeder import Flight, Sender
from watchkeeper.aircraft.intended import Intended

STATION = Sender(255, 190)


def heard() -> Flight:
    flight = Flight()
    flight.beat(armed=True)
    return flight


def test_the_angle_between_thrust_and_vertical_is_that_of_the_rotation() -> None:
    flight, dice = heard(), random.Random(5)
    for _ in range(50):
        yaw, pitch, roll = dice.uniform(-3.1, 3.1), dice.uniform(-1.5, 1.5), dice.uniform(-3.1, 3.1)
        turned = Rotation.from_euler("ZYX", [yaw, pitch, roll])
        down = turned.apply([0.0, 0.0, 1.0])
        expected_deg = math.degrees(math.acos(max(-1.0, min(1.0, down[2]))))
        flight.send("ATTITUDE", roll=roll, pitch=pitch, yaw=yaw)
        assert flight.read("flight.tilt") == pytest.approx(expected_deg, abs=1e-3)
        x, y, z, w = turned.as_quat()
        flight.send("ATTITUDE_QUATERNION", q1=w, q2=x, q3=y, q4=z)
        assert flight.read("flight.tilt") == pytest.approx(expected_deg, abs=0.05)
        intended = flight.aircraft.intended
        found = [intended.yaw_rad, intended.pitch_rad, intended.roll_rad]
        assert found == pytest.approx([yaw, pitch, roll], abs=1e-3)


@pytest.mark.parametrize("name", ["ATTITUDE", "ATTITUDE_QUATERNION"])
@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_no_number_is_a_fault(name: str, bad: float) -> None:
    flight = heard()
    flight.send(name, **({"roll": bad} if name == "ATTITUDE" else {"q1": bad}))
    assert flight.is_fault("flight.tilt")


@pytest.mark.parametrize(("system", "seen"), [(7, 1), (0, 1), (8, 0)])  # itself, everybody, another
def test_orders_are_taken_by_those_they_are_for(system: int, seen: int) -> None:
    flight = heard()
    flight.hear(STATION.pack("COMMAND_LONG", target_system=system, command=21))
    assert flight.aircraft.intended.orders == seen
    assert bool(flight.aircraft.intended.ordered_us("land")) == bool(seen)
    assert not flight.aircraft.intended.ordered_us("safe_recovery")


@pytest.mark.parametrize("name", ["SET_POSITION_TARGET_LOCAL_NED", "SET_POSITION_TARGET_GLOBAL_INT"])
def test_targets_for_it_are_orders_to_move(name: str) -> None:
    flight = heard()
    flight.hear(STATION.pack(name, target_system=8))
    assert flight.aircraft.intended.move_us == 0
    flight.hear(STATION.pack(name, target_system=7))
    assert flight.aircraft.intended.move_us == flight.now_us


def test_commands_that_say_nothing_of_modes_are_no_orders() -> None:
    flight = heard()
    flight.hear(STATION.pack("COMMAND_LONG", target_system=7, command=512))  # MAV_CMD_REQUEST_MESSAGE
    assert flight.aircraft.intended.orders == 0


def test_channels_raw_of_another_port_are_not_the_sticks() -> None:
    flight = heard()
    widths = {f"chan{n}_raw": 1500 for n in range(1, 9)}
    flight.send("RC_CHANNELS_RAW", port=1, **widths)
    assert not flight.aircraft.intended.sticks_seen(flight.now_us)
    flight.send("RC_CHANNELS_RAW", port=0, **widths)
    assert flight.aircraft.intended.sticks_seen(flight.now_us)
    flight.wait(10.0)
    assert not flight.aircraft.intended.sticks_seen(flight.now_us)


@pytest.mark.parametrize("width", [0, 65535, 100])
def test_channels_without_pulses_are_a_lost_control_link_only_after_there_were_some(width: int) -> None:
    intended = Intended()
    intended.channels((width,) * 18, 1)
    assert intended.radio_lost_us == 0
    intended.channels((1500,) * 18, 2)
    intended.channels((width,) * 18, 3)
    intended.channels((width,) * 18, 4)
    assert (intended.radio_lost_us, intended.switch_us) == (3, 0)
    intended.channels((1500,) * 4 + (1900,) * 14, 5)
    assert (intended.radio_lost_us, intended.switch_us) == (0, 0)


def test_a_station_s_sticks_beyond_a_thousand_are_not_used() -> None:
    flight = heard()
    flight.hear(STATION.pack("MANUAL_CONTROL", target=7, x=32767, y=0, r=0))
    assert flight.aircraft.intended.stick_us == 0
    flight.hear(STATION.pack("MANUAL_CONTROL", target=7, x=0, y=-300, r=0))
    assert flight.aircraft.intended.stick_us == flight.now_us


def test_current_mode_apart_from_what_was_commanded() -> None:
    flight = heard()
    for intended, apart in ((5, True), (1, False), (0, False)):
        flight.send("CURRENT_MODE", standard_mode=1, custom_mode=1, intended_custom_mode=intended)
        assert flight.aircraft.modes.apart is apart
