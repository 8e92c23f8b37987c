"""A whole aircraft in the air: drag of the body, power over speed, wind, climb, loads on the frame."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from simulators.physics.airframe import Airframe, Load
from simulators.physics.constants import G_M_S2
from simulators.physics.craft import Craft
from tests.simulators.physics.handflown import STEP_S, Hand, edgewise_inflow, hover_inflow, make_craft

HEAVY = Load(17.0)
"""35 kg in all (facts section 5)."""


def level(speed_m_s: float, airframe: Airframe | None = None) -> tuple[Craft, Hand]:
    """Return a craft of 35 kg in steady level flight northwards."""
    craft = make_craft(airframe, HEAVY)
    craft.north_m_s = speed_m_s
    hand = Hand(craft)
    hand.fly(40.0, (speed_m_s, 0.0, 0.0))
    return craft, hand


def level_power_w(speed_m_s: float) -> float:
    _, hand = level(speed_m_s)
    return hand.mean_power_w(2.0, (speed_m_s, 0.0, 0.0))


@pytest.mark.parametrize(
    ("speed_m_s", "power_w", "tilt_deg"), [(5, 45.9, 1.53), (10, 367.5, 6.11), (15, 1240.3, 13.54)]
)
def test_parasite_drag(speed_m_s: float, power_w: float, tilt_deg: float) -> None:
    # facts section 5: CdA 0.6 m2 at standard density; level tilt = drag / weight, without the rotors' own drag.
    craft, hand = level(speed_m_s, replace(Airframe(), drag_level_m2=0.6))
    thin = craft.atmosphere.density_kg_m3(craft.height_m) / 1.225
    before_j, turned_j = craft.ledger.drag_j, craft.ledger.rotor_drag_j
    hand.fly(10.0, (speed_m_s, 0.0, 0.0))
    assert (before_j - craft.ledger.drag_j) / 10.0 == pytest.approx(power_w * thin, rel=2e-3)
    # Taking off what the rotors' drag tilts, its work by the way across the discs.
    tilt = math.asin(craft.tilt_north)
    hub_n = (craft.ledger.rotor_drag_j - turned_j) / 10.0 / (speed_m_s * math.cos(tilt))
    body_n = craft.thrust_n * math.sin(tilt) - hub_n * math.cos(tilt)
    assert math.degrees(math.atan2(body_n, 35 * G_M_S2 * thin)) == pytest.approx(tilt_deg, abs=0.03)
    assert math.degrees(tilt) > tilt_deg * thin


def test_power_over_speed_of_the_whole_aircraft() -> None:
    # facts section 4: the published rotary wing needs least at 2.53 vh, 0.75 of hover, and as much as in hover
    # again at about 4.8 vh. Its body is slick (drag area over disc area 0.03); ours is an open frame (0.15),
    # which brings all of it nearer to hover: by induced power (Glauert) and parasite power alone the least lies
    # at 1.5 to 1.7 vh.
    inflow = hover_inflow(35 * G_M_S2, 6 * Airframe().blade.area_m2)
    assert inflow == pytest.approx(7.17, abs=0.01)
    speeds = [2.0 * i for i in range(11)]
    power = [level_power_w(speed) for speed in speeds]
    least = min(range(len(speeds)), key=power.__getitem__)
    assert 1.3 < speeds[least] / inflow < 2.0
    assert 0.70 < power[least] / power[0] < 0.90
    assert power[:least] == sorted(power[:least], reverse=True)
    assert power[least:] == sorted(power[least:])
    assert power[-1] > power[0]

    def outside_w(speed_m_s: float) -> float:
        parasite = 0.5 * 1.225 * Airframe().drag_level_m2 * speed_m_s**3
        return 35 * G_M_S2 * inflow * edgewise_inflow(speed_m_s / inflow) + parasite

    expected = min((0.5 * i for i in range(50)), key=outside_w)
    assert expected / inflow == pytest.approx(1.6, abs=0.15)
    assert speeds[least] == pytest.approx(expected, abs=2.0)
    # Best range is flown faster than best endurance.
    best_range = min(range(1, len(speeds)), key=lambda i: power[i] / speeds[i])
    assert 1.8 < speeds[best_range] / inflow < 3.0
    assert best_range > least


def test_climb_costs_its_weight() -> None:
    # facts section 5: 2.5 m/s costs 2922.2 - 2456.0 = 466 W of ideal power at 35 kg; over the figure of merit and
    # drive a bit more. The air braking the body adds 0.5 rho CdA v^3 = 7 W.
    craft = make_craft(None, HEAVY)
    hand = Hand(craft)
    hand.fly(20.0)
    hover_w = hand.mean_power_w(4.0)
    hand.fly(10.0, (0.0, 0.0, 2.5))
    climb_w = hand.mean_power_w(4.0, (0.0, 0.0, 2.5))
    assert 1.0 < (climb_w - hover_w) / 466.2 < 1.5
    hand.fly(10.0, (0.0, 0.0, -1.5))
    sink_w = hand.mean_power_w(4.0, (0.0, 0.0, -1.5))
    # In the ring little of the weight's work comes back: 515 W are let down, less than half of it is saved.
    assert 0.0 < hover_w - sink_w < 0.5 * 35 * G_M_S2 * 1.5


@pytest.mark.parametrize("from_deg", [0.0, 120.0, 250.0])
def test_wind_is_airspeed(from_deg: float) -> None:
    # Galileo: to hold a place in a steady wind takes what flying through still air takes.
    craft = make_craft(None, HEAVY, ((0.0, 6.0, from_deg),))
    hand = Hand(craft)
    hand.fly(60.0)
    hold_w = hand.mean_power_w(2.0)
    wind = math.hypot(craft.wind_north_m_s, craft.wind_east_m_s)
    assert wind > 6.0
    assert math.hypot(craft.north_m_s, craft.east_m_s) < 0.01
    assert hold_w == pytest.approx(level_power_w(wind), rel=2e-3)
    against = craft.tilt_north * craft.wind_north_m_s + craft.tilt_east * craft.wind_east_m_s
    assert against == pytest.approx(-wind * math.hypot(craft.tilt_north, craft.tilt_east), rel=1e-3)


def test_thin_air_costs_its_root() -> None:
    # facts section 5: 1.0498 at 1000 m for the rotors; the motors' friction, heat and electronics grow less.
    def hover_w(altitude_m: float) -> float:
        craft = make_craft(None, HEAVY, altitude_m=altitude_m, height_m=30.0)
        hand = Hand(craft)
        hand.fly(20.0)
        return hand.mean_power_w(2.0)

    assert hover_w(1000.0) / hover_w(0.0) == pytest.approx(1.0498, abs=0.006)


def heights_after(change_kg: float) -> tuple[list[float], float, float]:
    """Return the heights in 20 s after a load was taken or left while holding 40 m, and both hovers' power."""
    first, then = (Load(), Load(change_kg)) if change_kg > 0 else (Load(-change_kg), Load())
    craft = make_craft(None, first, height_m=40.0)
    hand = Hand(craft)
    hand.fly(20.0, height_m=40.0)
    before_w = hand.mean_power_w(2.0)
    craft.pick_up(then)
    heights: list[float] = []
    hand.fly(20.0, height_m=40.0, after=lambda: heights.append(craft.height_m))
    return heights, before_w, hand.mean_power_w(2.0)


@pytest.mark.parametrize("load_kg", [4.0, 10.0])
def test_a_load_let_go_and_taken(load_kg: float) -> None:
    # Lighter, it bobs up and settles; heavier, it sinks and settles. Power of hover goes as mass^1.5.
    for sign in (-1, 1):
        heights, before_w, after_w = heights_after(sign * load_kg)
        bob = max(-sign * (height - 40.0) for height in heights)
        back = max(sign * (height - 40.0) for height in heights)
        assert 0.1 < bob < 6.0
        assert back < 0.5 * bob
        assert heights[-1] == pytest.approx(40.0, abs=0.1)
        # Freed of a part of its weight it starts with the rest's thrust: g times what was let go over what is
        # left.
        first = heights[round(0.1 / STEP_S) - 1] - heights[0]
        assert -sign * first > 0
        avionics_w = Airframe().avionics_w
        expected = ((18 + load_kg) / 18) ** (1.5 * sign)
        assert (after_w - avionics_w) / (before_w - avionics_w) == pytest.approx(expected, rel=0.05)


def test_a_load_let_go_starts_the_bob_with_its_weight() -> None:
    craft = make_craft(None, Load(9.0), height_m=40.0)
    hand = Hand(craft)
    hand.fly(20.0, height_m=40.0)
    craft.drop_load()
    hand.fly(STEP_S, height_m=40.0)
    # Thrust of 27 kg on 18 kg: half a g, less what the rotors' thrust has already changed in this step.
    assert craft.climb_m_s2 == pytest.approx(0.5 * G_M_S2, rel=0.02)


def test_drag_of_a_load_counts() -> None:
    # The same drag on the body or on the load below it.
    powers = []
    for load, frame in (
        (Load(5.0, drag_m2=0.2), Airframe()),
        (Load(5.0), replace(Airframe(), drag_level_m2=Airframe().drag_level_m2 + 0.2)),
    ):
        craft = make_craft(frame, load)
        craft.north_m_s = 10.0
        hand = Hand(craft)
        hand.fly(30.0, (10.0, 0.0, 0.0))
        powers.append(hand.mean_power_w(2.0, (10.0, 0.0, 0.0)))
    assert powers[0] == pytest.approx(powers[1], rel=2e-3)


def test_tilt_follows_with_its_lag_and_within_its_rate() -> None:
    frame = Airframe()
    craft = make_craft(frame, HEAVY)
    for _ in range(9):
        craft.step(STEP_S, 350.0, 0.01, 0.0, 0.0)
    assert craft.tilt_north == pytest.approx(0.01 * (1 - math.exp(-9 * STEP_S / frame.tilt_lag_s)), rel=1e-9)
    craft.step(STEP_S, 350.0, 0.9, 0.0, 5.0)
    before = craft.tilt_north
    craft.step(STEP_S, 350.0, 0.9, 0.0, 5.0)
    assert craft.tilt_north - before == pytest.approx(frame.tilt_rate_rad_s * STEP_S)
    assert craft.turn_rad_s == frame.yaw_rate_rad_s
    assert craft.heading_rad == pytest.approx(2 * frame.yaw_rate_rad_s * STEP_S)
