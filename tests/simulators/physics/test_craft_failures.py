"""Motors that weaken or stop in flight, tumbles, falls and what the ground makes of them."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from simulators.physics.airframe import Airframe, Load
from simulators.physics.constants import G_M_S2
from simulators.physics.craft import Craft
from tests.simulators.physics.handflown import STEP_S, Hand, make_craft

QUAD = replace(Airframe(), rotors=4, mass_kg=12.0)


def fall(craft: Craft, seconds: float) -> None:
    """Let time pass under a command to hover."""
    weight_n = (craft.airframe.mass_kg + craft.load.mass_kg) * G_M_S2
    for _ in range(round(seconds / STEP_S)):
        craft.step(STEP_S, weight_n, 0.0, 0.0, 0.0)


def grounded(craft: Craft) -> bool:
    """Tell whether it stands."""
    return craft.on_ground


def terminal_m_s(craft: Craft, mass_kg: float) -> float:
    """Return sqrt(2 m g / (rho CdA)) (drag balances weight) where the craft is."""
    density = craft.atmosphere.density_kg_m3(craft.height_m)
    return math.sqrt(2 * mass_kg * G_M_S2 / (density * craft.airframe.tumbling_m2))


def test_one_motor_of_six_stopped_in_flight() -> None:
    # Four rotors carry 1.5 times each, the opposite one idles; power of rotors 1.2247 times (by T^1.5).
    craft = make_craft(None, Load(6.0))
    hand = Hand(craft)
    hand.fly(20.0, height_m=60.0)
    before_w = hand.mean_power_w(2.0)
    shaft_j = craft.ledger.shaft_j()
    hand.fly(2.0, height_m=60.0)
    shaft_before_w = (craft.ledger.shaft_j() - shaft_j) / 2.0
    craft.drive.weaken(1, 0.0)
    lowest = 60.0
    for _ in range(200):
        hand.fly(0.1, height_m=60.0)
        lowest = min(lowest, craft.height_m)
    assert 58.0 < lowest < 60.0
    assert craft.height_m == pytest.approx(60.0, abs=0.1)
    after_w = hand.mean_power_w(2.0)
    shaft_j = craft.ledger.shaft_j()
    hand.fly(2.0, height_m=60.0)
    shaft_after_w = (craft.ledger.shaft_j() - shaft_j) / 2.0
    assert shaft_after_w / shaft_before_w == pytest.approx(4 * 1.5**1.5 / 6, rel=2e-3)
    assert 1.15 < after_w / before_w < 1.35
    assert not craft.drive.tumbles
    assert not craft.crashed


def test_a_weak_motor_is_felt_and_held() -> None:
    craft = make_craft(None, Load(6.0))
    hand = Hand(craft)
    hand.fly(20.0, height_m=60.0)
    before_w = hand.mean_power_w(2.0) - craft.airframe.avionics_w
    craft.drive.weaken(1, 0.6)
    hand.fly(20.0, height_m=60.0)
    after_w = hand.mean_power_w(2.0) - craft.airframe.avionics_w
    # That rotor turns at 0.6^-1.5 of its power; five are as before. Winding and friction follow within 2 %.
    assert after_w / before_w == pytest.approx((5 + 0.6**-1.5) / 6, rel=0.02)
    assert craft.height_m == pytest.approx(60.0, abs=0.05)


def test_three_motors_that_turn_alike_spin_the_aircraft() -> None:
    craft = make_craft()
    hand = Hand(craft)
    for rotor in (0, 2, 4):
        craft.drive.weaken(rotor, 0.0)
    hand.fly(20.0, height_m=60.0)
    assert craft.height_m == pytest.approx(60.0, abs=0.5)
    assert abs(craft.turn_rad_s) > 3.0


@pytest.mark.parametrize(
    ("airframe", "stopped"),
    [(QUAD, (0,)), (Airframe(), (2, 3)), (Airframe(), (0, 1, 2, 3, 4, 5))],
    ids=["one of four", "neighbours of six", "all"],
)
def test_it_tumbles_and_falls(airframe: Airframe, stopped: tuple[int, ...]) -> None:
    craft = make_craft(airframe, height_m=400.0)
    hand = Hand(craft)
    hand.fly(5.0, height_m=400.0)
    for rotor in stopped:
        craft.drive.weaken(rotor, 0.0)
    assert craft.drive.tumbles
    hand.fly(12.0, height_m=400.0)
    assert -craft.climb_m_s == pytest.approx(terminal_m_s(craft, airframe.mass_kg), rel=0.01)
    assert not grounded(craft)
    hand.fly(30.0, height_m=400.0)
    assert craft.crashed
    assert grounded(craft)
    assert not craft.running
    assert craft.height_m == 0.0
    assert craft.impact_m_s == pytest.approx(terminal_m_s(craft, airframe.mass_kg), rel=0.01)


@pytest.mark.parametrize("load_kg", [0.0, 12.0])
def test_terminal_velocity_with_motors_stopped(load_kg: float) -> None:
    craft = make_craft(None, Load(load_kg), height_m=900.0)
    fall(craft, 2.0)
    craft.running = False
    # In vacuum it would be g t; the air takes little in the first half second.
    speed = craft.climb_m_s
    fall(craft, 0.5)
    assert speed - craft.climb_m_s == pytest.approx(0.5 * G_M_S2, rel=0.06)
    fall(craft, 15.0)
    assert -craft.climb_m_s == pytest.approx(terminal_m_s(craft, 18.0 + load_kg), rel=0.01)
    assert craft.bank.power_w == pytest.approx(craft.airframe.avionics_w)
    # It strikes with the energy of that speed.
    fall(craft, 60.0)
    assert craft.crashed
    assert craft.ledger.impact_j == pytest.approx(0.5 * (18 + load_kg) * craft.impact_m_s**2)


def test_wind_carries_what_falls() -> None:
    craft = make_craft(None, None, ((0.0, 8.0, 180.0),), height_m=300.0)
    craft.running = False
    fall(craft, 12.0)
    assert craft.north_m_s == pytest.approx(craft.wind_north_m_s, rel=0.1)


def test_all_packs_open_is_a_fall() -> None:
    craft = make_craft(height_m=200.0)
    hand = Hand(craft)
    hand.fly(5.0, height_m=200.0)
    craft.bank.open(0)
    hand.fly(5.0, height_m=200.0)
    assert craft.height_m == pytest.approx(200.0, abs=0.5)
    craft.bank.open(1)
    hand.fly(8.0, height_m=200.0)
    assert -craft.climb_m_s == pytest.approx(terminal_m_s(craft, 18.0), rel=0.02)
    assert craft.bank.power_w == 0.0


@pytest.mark.parametrize(("sink_m_s", "crashes"), [(0.7, False), (3.5, False), (4.6, True)])
def test_touch_down(sink_m_s: float, crashes: bool) -> None:
    craft = make_craft(height_m=60.0)
    hand = Hand(craft)
    craft.climb_m_s = -sink_m_s
    while not grounded(craft):
        hand.fly(STEP_S, (0.0, 0.0, -sink_m_s))
    assert craft.crashed is crashes
    assert craft.impact_m_s == pytest.approx(sink_m_s, abs=0.2)
    assert craft.running is not crashes
    assert (craft.height_m, craft.climb_m_s) == (0.0, 0.0)


def test_it_stands_until_thrust_outweighs_it() -> None:
    craft = make_craft(None, Load(5.0), ((0.0, 9.0, 90.0),), height_m=None)
    for _ in range(100):
        craft.step(STEP_S, 0.98 * 23 * G_M_S2, 0.3, 0.0, 0.0)
    assert grounded(craft)
    assert (craft.north_m, craft.east_m, craft.height_m) == (0.0, 0.0, 0.0)
    for _ in range(100):
        craft.step(STEP_S, 1.1 * 23 * G_M_S2, 0.0, 0.0, 0.0)
    assert not grounded(craft)
    assert craft.height_m > 0.5
