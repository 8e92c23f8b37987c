"""A load on a line: the pendulum of two bodies, the trail in the wind, and the jerk when it leaves the ground."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from simulators.physics.airframe import Airframe, Load
from simulators.physics.constants import G_M_S2
from simulators.physics.craft import Craft
from tests.simulators.physics.handflown import STEP_S, Hand, make_craft

SLICK = replace(Airframe(), drag_level_m2=0.0, drag_upright_m2=0.0)


def hanging(load: Load, airframe: Airframe | None = None, height_m: float = 60.0) -> Craft:
    """Return a craft in the air with its load hanging straight down."""
    craft = make_craft(airframe, load, height_m=height_m)
    craft.sling.hangs = True
    share_n = (craft.airframe.mass_kg + load.mass_kg) * G_M_S2 / 6
    for group in craft.drive.groups:
        group.speed_rad_s = craft.drive.rotor.speed_for(share_n, craft.atmosphere.density_kg_m3(height_m))
    return craft


@pytest.mark.parametrize(("mass_kg", "line_m"), [(2.0, 5.0), (9.0, 5.0), (9.0, 20.0)])
@pytest.mark.parametrize("step_s", [0.02, 0.1])
def test_period_of_two_bodies(mass_kg: float, line_m: float, step_s: float) -> None:
    # An aircraft of mass M without control of place, thrust straight up, and a load m. With x of the load from the
    # aircraft: m-side -g x/L, aircraft +(m/M) g x/L; so x'' = -(g/L)(1 + m/M) x and T = 2 pi sqrt(L/g M/(M+m)).
    craft = hanging(Load(mass_kg, line_m), SLICK)
    craft.sling.north_m = 0.04 * line_m
    total_n = (craft.airframe.mass_kg + mass_kg) * G_M_S2
    times: list[float] = []
    before = craft.sling.north_m
    while len(times) < 5:
        craft.step(step_s, total_n, 0.0, 0.0, 0.0)
        now = craft.sling.north_m
        if before > 0 >= now or before < 0 <= now:
            times.append(craft.time_s - step_s * now / (now - before))
        before = now
    expected_s = math.tau * math.sqrt(line_m / G_M_S2 * SLICK.mass_kg / (SLICK.mass_kg + mass_kg))
    assert (times[4] - times[0]) / 2 == pytest.approx(expected_s, rel=0.01)


@pytest.mark.parametrize(
    ("mass_kg", "drag_m2", "speed_m_s"), [(5.0, 0.1, 8.0), (8.0, 0.4, 10.0), (12.0, 0.05, 12.0)]
)
def test_trail_in_steady_flight(mass_kg: float, drag_m2: float, speed_m_s: float) -> None:
    # tan = drag over weight of the load (statics).
    load = Load(mass_kg, 8.0, drag_m2)
    craft = hanging(load)
    craft.north_m_s = speed_m_s
    hand = Hand(craft)
    hand.fly(90.0, (speed_m_s, 0.0, 0.0))
    density = craft.atmosphere.density_kg_m3(craft.height_m)
    drag_n = 0.5 * density * drag_m2 * speed_m_s**2
    back_m = -craft.sling.north_m
    assert back_m / math.sqrt(load.line_m**2 - back_m**2) == pytest.approx(drag_n / (mass_kg * G_M_S2), rel=0.01)
    assert craft.sling.east_m == pytest.approx(0.0, abs=1e-6)
    # And so the line takes from the aircraft the load's drag and its weight.
    before_j = craft.ledger.line_j
    hand.fly(10.0, (speed_m_s, 0.0, 0.0))
    assert before_j - craft.ledger.line_j == pytest.approx(10.0 * drag_n * speed_m_s, rel=0.01)


def test_wind_and_airspeed_are_one_to_the_load() -> None:
    # Holding a place in wind is flying in still air: the same trail.
    load = Load(6.0, 8.0, 0.3)
    blown = make_craft(None, load, ((0.0, 7.0, 180.0),))
    blown.sling.hangs = True
    Hand(blown).fly(90.0)
    wind = math.hypot(blown.wind_north_m_s, blown.wind_east_m_s)
    flown = hanging(load)
    Hand(flown).fly(90.0, (wind, 0.0, 0.0))
    trail = math.hypot(blown.sling.north_m, blown.sling.east_m)
    assert trail == pytest.approx(abs(flown.sling.north_m), rel=0.01)
    assert blown.sling.north_m * blown.wind_north_m_s > 0


def on_line(craft: Craft) -> bool:
    """Tell whether the load hangs."""
    return craft.sling.hangs


def lifted(load: Load, climb_m_s: float) -> tuple[Craft, list[float], list[float]]:
    """Return a craft that took a load off the ground, and its currents and climbs until 8 s after that."""
    craft = make_craft(None, load, height_m=2.0)
    hand = Hand(craft)
    hand.weight_kg = craft.airframe.mass_kg
    amps: list[float] = []
    climbs: list[float] = []

    def note() -> None:
        amps.append(craft.bank.current_a)
        climbs.append(craft.climb_m_s)

    while not on_line(craft):
        hand.fly(STEP_S, (0.0, 0.0, climb_m_s), after=note)
    # Momentum is kept when the line tightens (inelastic: from memory), so this much of the motion's energy is
    # lost.
    lost_j = 0.5 * craft.airframe.mass_kg * climbs[-2] ** 2 * (1 - (18 / 26) ** 2)
    assert craft.ledger.impact_j == pytest.approx(lost_j, rel=0.05)
    hand.fly(8.0, (0.0, 0.0, climb_m_s), after=note)
    return craft, amps, climbs


def test_lift_off_of_the_load_jerks_the_current() -> None:
    load = Load(8.0, 6.0)
    _, amps, climbs = lifted(load, 1.0)
    at = len(amps) - round(8.0 / STEP_S) - 1
    # The climb falls to M / (M + m) at once, and in the same step by what gravity has over a thrust that carried
    # the aircraft alone.
    kept = climbs[at - 1] * 18 / 26 - 8 / 26 * G_M_S2 * STEP_S
    assert climbs[at] == pytest.approx(kept, abs=0.01)
    # Steady to a hundredth before, a sixth more within 0.2 s, and in the end one hover's power by the other's.
    calm = amps[at - 50 : at]
    assert max(calm) < 1.01 * min(calm)
    assert amps[at + 10] > 1.16 * calm[-1]
    assert amps[-1] / calm[-1] == pytest.approx((26 / 18) ** 1.5, rel=0.06)


def test_load_rests_on_the_ground_again() -> None:
    load = Load(8.0, 6.0)
    craft, _, _ = lifted(load, 1.0)
    hand = Hand(craft)
    hand.fly(10.0, height_m=10.0)
    heavy_n = craft.thrust_n
    assert on_line(craft)
    assert heavy_n > 26 * 9.5
    hand.fly(15.0, height_m=4.0)
    assert not on_line(craft)
    assert craft.thrust_n == pytest.approx(heavy_n * 18 / 26, rel=0.02)
    craft.drop_load()
    hand.fly(5.0, height_m=12.0)
    assert not on_line(craft)
    assert craft.load.mass_kg == 0.0


def test_climb_pulls_harder_sideways() -> None:
    # A pendulum in a lift: g + a in place of g. Aircraft held to a straight way, so it is the load alone that
    # swings.
    load = Load(4.0, 6.0)
    craft = hanging(load)
    craft.sling.north_m = 0.3
    still = craft.sling.pull(load, 0.0, 1.2, (0.0, 0.0), (0.0, 0.0))
    rising = craft.sling.pull(load, 2.0, 1.2, (0.0, 0.0), (0.0, 0.0))
    falling = craft.sling.pull(load, -G_M_S2 - 1.0, 1.2, (0.0, 0.0), (0.0, 0.0))
    assert still[0] == pytest.approx(4.0 * G_M_S2 * 0.3 / math.sqrt(36 - 0.09))
    assert rising[0] / still[0] == pytest.approx((G_M_S2 + 2.0) / G_M_S2)
    assert falling[:2] == (0.0, 0.0)
