"""One common quadrotor, the Hummingbird, beside rotorpy 3.0.0, a free library model of multirotors.

Its published parameters are put into our blade and airframe as far as they map: mass, radius, body drag; two
numbers of our blade (chord, section drag) are set so that thrust and torque in hover are its k_eta and k_m. The
pitch of 4.5 in is that of the aircraft's usual propellers (from memory). What does not map: its drag of rotors
k_d is five times that of rigid blades, its loss of thrust by axial flow k_z twice that of blade elements (its own
file says that both were scaled by hand), its torque does not change with the flow, and it has no motors or packs.
k_d is added to the drag here; what k_z makes of climb and tilt is left as a difference between the models, with
stated bounds.
"""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from simulators.physics.blade import Blade
from simulators.physics.rotor import Rotor
from tests.conftest import ROOT
from tests.simulators.physics.handflown import RHO_KG_M3, Trim, trimmed

MADE: dict[str, Any] = json.loads(
    (ROOT / "tests/authorities/rotorpy_hummingbird.json").read_text(encoding="utf-8")
)
GIVEN: dict[str, float] = MADE["parameters"]
STEADY = {(row["forward_m_s"], row["climb_m_s"]): row for row in MADE["steady"]}
WEIGHT_N = GIVEN["mass"] * MADE["gravity_m_s2"]
ROTORS = 4


@pytest.fixture(scope="module")
def rotor() -> Rotor:
    return Rotor(Blade(GIVEN["rotor_radius"], 0.1143, 0.0239, 0.0143, drag_least=0.1445))


def steady(rotor: Rotor, forward_m_s: float, climb_m_s: float = 0.0) -> tuple[float, Trim]:
    """Return tilt in rad and one rotor in steady flight, rotorpy's drags on it."""
    speed = math.hypot(forward_m_s, climb_m_s)
    back_n, down_n = GIVEN["c_Dx"] * speed * forward_m_s, GIVEN["c_Dz"] * speed * climb_m_s
    tilt, hub_n = 0.0, 0.0
    one = trimmed(rotor, WEIGHT_N / ROTORS)
    for _ in range(80):
        thrust_n = (WEIGHT_N + down_n) * math.cos(tilt) + back_n * math.sin(tilt)
        axial = forward_m_s * math.sin(tilt) + climb_m_s * math.cos(tilt)
        across = forward_m_s * math.cos(tilt) - climb_m_s * math.sin(tilt)
        one = trimmed(rotor, thrust_n / ROTORS, axial, abs(across))
        hub_n = ROTORS * max(one.drag_n, GIVEN["k_d"] * one.tip_m_s / rotor.radius_m * across)
        tilt = 0.5 * (tilt + math.asin((back_n + hub_n * math.cos(tilt)) / thrust_n))
    return tilt, one


def test_hover(rotor: Rotor) -> None:
    hover, theirs = trimmed(rotor, WEIGHT_N / ROTORS), STEADY[0, 0]
    assert hover.tip_m_s / rotor.radius_m == pytest.approx(theirs["speed_rad_s"], rel=0.01)
    assert ROTORS * hover.shaft_w == pytest.approx(theirs["power_w"], rel=0.01)


@pytest.mark.parametrize("speed_m_s", [3.0, 4.5, 6.0])
def test_flight_across_lifts(rotor: Rotor, speed_m_s: float) -> None:
    # Its translational lift k_h: thrust at a steady speed of the rotors grows with the square of speed across.
    tip_m_s = STEADY[0, 0]["speed_rad_s"] * rotor.radius_m
    gained = rotor.at(speed_m_s / tip_m_s, 0.0)[0] - rotor.hover_thrust
    lift_n = gained * RHO_KG_M3 * rotor.area_m2 * tip_m_s**2
    assert lift_n == pytest.approx(GIVEN["k_h"] * speed_m_s**2, rel=0.25)


@pytest.mark.parametrize("speed_m_s", [1, 2, 3, 4, 5])
def test_level_flight(rotor: Rotor, speed_m_s: int) -> None:
    # Power over that of hover within 0.11, the rotors' speed within 4 %, tilt within a degree.
    tilt, one = steady(rotor, speed_m_s)
    hover, theirs, base = trimmed(rotor, WEIGHT_N / ROTORS), STEADY[speed_m_s, 0], STEADY[0, 0]
    assert math.degrees(tilt) == pytest.approx(theirs["tilt_deg"], abs=1.0)
    assert one.tip_m_s / hover.tip_m_s == pytest.approx(theirs["speed_rad_s"] / base["speed_rad_s"], rel=0.04)
    assert one.shaft_w / hover.shaft_w == pytest.approx(theirs["power_w"] / base["power_w"], abs=0.11)


def test_trend_of_fast_flight(rotor: Rotor) -> None:
    # From 5 to 8 m/s both need more: the tilt against the drag outweighs what flight across saves.
    ours = [steady(rotor, speed)[1].shaft_w for speed in (5, 8)]
    theirs = [STEADY[speed, 0]["power_w"] for speed in (5, 8)]
    assert ours[1] / ours[0] == pytest.approx(theirs[1] / theirs[0], abs=0.1)
    assert ours[1] > 1.05 * ours[0]


@pytest.mark.parametrize("climb_m_s", [-1, 1, 2])
def test_climb_and_descent(rotor: Rotor, climb_m_s: int) -> None:
    # The same direction; ours is less steep, as k_z is twice that of blade elements.
    ours = steady(rotor, 0.0, climb_m_s)[1].shaft_w / trimmed(rotor, WEIGHT_N / ROTORS).shaft_w - 1
    theirs = STEADY[0, climb_m_s]["power_w"] / STEADY[0, 0]["power_w"] - 1
    assert ours * climb_m_s > 0
    assert 0.1 < ours / theirs < 0.7
