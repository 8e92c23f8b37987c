"""The way home: a whole return by hand, the wind triangle, kinematics, and what no way home is."""

from __future__ import annotations

import importlib
import math
from typing import Any

import numpy as np
import pytest

from watchkeeper.aircraft.readings import US
from watchkeeper.estimate.home.forecast import fly
from watchkeeper.estimate.home.homeway import LEAN_DOUBT, HomeWind, Start, leaning_less, speed_home, way_home
from watchkeeper.estimate.home.lulls import Lulls
from watchkeeper.estimate.home.power import PowerModel
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.packs.battery import Supply
from watchkeeper.estimate.packs.cell import PackState
from watchkeeper.estimate.packs.curve import PUBLISHED

quad: Any = importlib.import_module("scipy.integrate").quad
norm: Any = importlib.import_module("scipy.stats").norm
solve_ivp: Any = importlib.import_module("scipy.integrate").solve_ivp  # comes without types
brentq: Any = importlib.import_module("scipy.optimize").brentq

PLAN = ReturnPlan(
    height_m=40.0,
    speed_m_s=8.0,
    climb_m_s=2.5,
    descent_m_s=1.5,
    hold_s=30.0,
    hold_m=8.0,
    landing_fast_m_s=1.5,
    landing_m_s=0.5,
    landing_from_m=10.0,
    acceleration_m_s2=2.0,
    airspeed_m_s=16.0,
    turn_s=3.0,
)
WIND = HomeWind(7.5, 6.0, 4.5)
"""Of 7.5 m/s: 6 against, 4.5 across."""
START = Start(300.0, 20.0)


def times(plan: ReturnPlan, start: Start, wind: HomeWind = HomeWind()) -> dict[str, float]:  # noqa: B008
    legs = way_home(plan, start, wind)
    assert legs is not None
    found: dict[str, float] = {}
    for leg in legs:
        found[leg.name] = found.get(leg.name, 0.0) + leg.time_s
    return found


def test_a_whole_return_by_hand() -> None:
    legs = way_home(PLAN, START, WIND)
    assert legs is not None
    assert [leg.name for leg in legs] == ["climb", "turn", "cruise", "descend", "hold", "land"]
    climb, turn, cruise, descend, hold, land = (tuple[Any, ...](leg) for leg in legs)
    # 20 m at 2.5 m/s: 8 s; from rest to 2.5 m/s and back at 0.8 m/s2 costs 2.5 / 0.8 = 3.125 s more
    assert climb == ("climb", pytest.approx(11.125), 7.5, 2.5, 40.0)
    # staying over a place in 7.5 m/s of wind is flying at 7.5 m/s
    assert turn == ("turn", 3.0, 7.5, 0.0, 40.0)
    # sqrt(16^2 - 4.5^2) = 15.354 along the track, less 6 against it is 9.354: the 8 m/s asked for are held.
    # 300 / 8 = 37.5 s, and 8 / 2 = 4 s for gaining and losing speed. Airspeed hypot(8 + 6, 4.5) = 14.7054 m/s.
    assert cruise == ("cruise", pytest.approx(41.5), pytest.approx(14.7054, abs=1e-4), 0.0, 40.0)
    # 32 m at 1.5 m/s
    assert descend == ("descend", pytest.approx(21.3333, abs=1e-4), 7.5, -1.5, 8.0)
    assert hold == ("hold", 30.0, 7.5, 0.0, 8.0)
    # 8 m, all of it under 10 m: 0.5 m/s
    assert land == ("land", 16.0, 7.5, -0.5, 0.0)
    # 11.125 + 3 + 41.5 + 21.333 + 30 + 16
    assert sum(leg.time_s for leg in legs) == pytest.approx(122.9583, abs=1e-4)


CHARGE = np.array([0, 1, 2, 3, 5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100]) / 100
OPEN_V = np.array(
    [3.0, 3.185, 3.296, 3.37, 3.464, 3.561, 3.65, 3.711, 3.749, 3.782, 3.832, 3.902, 3.989, 4.082, 4.2]
)
"""The mean of four published lithium-polymer cells (test_curve derives it), as the estimates have it."""
CELLS, CELL_OHM, CAPACITY_AH, FLOOR_V = 12, 0.0015, 22.0, 3.3


def amps(charge: float, power_w: float) -> float:
    """Return the current of a pack under a constant power, A: the smaller root of P = n (E - R I) I.

    E by the curve; R rises towards empty by 0.4 exp((0.10 - z) / 0.06).
    """
    open_v = CELLS * np.interp(charge, CHARGE, OPEN_V)
    ohm = CELLS * CELL_OHM * (1.0 + 0.4 * math.exp((0.10 - charge) / 0.06))
    return float((open_v - math.sqrt(open_v**2 - 4.0 * ohm * power_w)) / (2.0 * ohm))


def cell_v(charge: float, power_w: float) -> float:
    """Return a cell's voltage under that power, V."""
    return power_w / amps(charge, power_w) / CELLS


def power_w(airspeed_m_s: float, climb_m_s: float) -> float:
    """Return 4000 W of hover at an airspeed and a climb: Glauert by scipy, 30 % profile, drag 0.2 V^3."""
    across, along = airspeed_m_s / 7.0, climb_m_s / 7.0
    if along < 0.0:  # credited as far as it flies out of its own wake
        along *= min(1.0, across**2)
    v = brentq(lambda u: u * math.hypot(across, along + u) - 1.0, 1e-9, 3.0, xtol=1e-13)
    profile = 1.0 + 4.65 * (across / 14.0) ** 2
    return float(4000.0 * (0.7 * (v + along) + 0.3 * profile) + 0.2 * airspeed_m_s**3)


def test_power_of_that_return_by_the_published_formulas() -> None:
    model = PowerModel(4000.0, 7.0, 0.2)
    # At 7.5 m/s: m = (7.5 / 7)^2 = 1.148; v = sqrt(-0.574 + sqrt(0.3295 + 1)) = 0.7610; induced 0.7 x 0.7610 =
    # 0.5327, profile 0.3 (1 + 4.65 x 0.07653^2) = 0.3082: 3363 W, and 0.2 x 421.9 = 84 W of drag: 3448 W.
    assert model.power_w(7.5) == pytest.approx(3448.0, abs=1.0)
    # At 14.7054 m/s: m = 4.413; v = sqrt(-2.2066 + sqrt(4.8692 + 1)) = 0.4646; induced 0.3252, profile 0.3 (1 +
    # 4.65 x 0.15005^2) = 0.3314: 2627 W, and 0.2 x 3180.0 = 636 W: 3263 W.
    assert model.power_w(14.7054) == pytest.approx(3263.0, abs=1.5)
    for speed_m_s, climb_m_s in ((7.5, 2.5), (7.5, -1.5), (7.5, -0.5), (0.0, 2.5), (3.0, -1.5), (14.7054, 0.0)):
        assert model.power_w(speed_m_s, climb_m_s) == pytest.approx(power_w(speed_m_s, climb_m_s), rel=1e-6)


def test_charge_and_voltages_of_that_return_by_kirchhoff() -> None:
    """Half of a two-pack aircraft's power out of one pack at 60 %, integrated by scipy."""
    state = PackState(PUBLISHED["lipo"], CELLS, 0.60, CELL_OHM, 1.0 / CAPACITY_AH, 0.0)
    empty = state.empty(2000.0, FLOOR_V)
    # where 2000 W pull a cell to the floor: by scipy's root finder
    exact_empty = brentq(lambda z: cell_v(z, 2000.0) - FLOOR_V, 0.01, 0.5)
    assert empty == pytest.approx(exact_empty, abs=0.001)
    supply = Supply(state, list, 0.5, empty, FLOOR_V, 2000.0)
    arrival = fly(way_home(PLAN, START, WIND), state, supply, PowerModel(4000.0, 7.0, 0.2))

    # the legs of the test above: time, airspeed, climb
    legs = (
        (11.125, 7.5, 2.5),
        (3.0, 7.5, 0.0),
        (41.5, 14.7054, 0.0),
        (21.3333, 7.5, -1.5),
        (30.0, 7.5, 0.0),
        (16.0, 7.5, -0.5),
    )
    charge, lowest_v, energy_j = 0.60, 9.0, 0.0
    for (time_s, *flight), (_, _, leg_v) in zip(legs, arrival.segments, strict=True):
        part_w = 0.5 * power_w(*flight)
        solved = solve_ivp(
            lambda _, z, w=part_w: [-amps(float(z[0]), w) / 3600.0 / CAPACITY_AH],
            (0.0, time_s),
            [charge],
            rtol=1e-9,
        )
        charge = float(solved.y[0, -1])
        energy_j += 2.0 * part_w * time_s
        assert leg_v == pytest.approx(cell_v(charge, part_w), abs=0.002)
        lowest_v = min(lowest_v, cell_v(charge, part_w))
    # climb 4201 W x 11.125 s = 12.98 Wh, turn 3448 W x 3 s = 2.87, cruise 3263 W x 41.5 s = 37.62,
    # descent 2997 W x 21.33 s = 17.76, hold 3448 W x 30 s = 28.73, landing 3298 W x 16 s = 14.66: 114.6 Wh.
    # A half of that out of 12 x 3.75 V x 22 Ah is 5.8 % of the charge.
    assert arrival.energy_wh == pytest.approx(energy_j / 3600.0, rel=1e-5)
    assert arrival.energy_wh == pytest.approx(114.6, abs=0.1)
    assert 100.0 * (0.60 - charge) == pytest.approx(5.8, abs=0.2)
    assert arrival.time_s == pytest.approx(122.9583, abs=1e-3)
    assert arrival.left_pct == pytest.approx(100.0 * (charge - exact_empty) / (1.0 - exact_empty), abs=0.15)
    assert arrival.lowest_v == pytest.approx(lowest_v, abs=0.002)


@pytest.mark.parametrize(
    ("wind", "expected_m_s"),
    [
        (HomeWind(), 8.0),
        (HomeWind(7.0, 7.0), 8.0),  # 16 - 7 leaves 9
        (HomeWind(12.0, 12.0), 4.0),
        (HomeWind(12.0, -12.0), 8.0),  # behind: the ground speed asked for is kept
        (HomeWind(12.0, 0.0, 12.0), 8.0),  # across: sqrt(256 - 144) = 10.58
        (HomeWind(15.0, 0.0, -15.0), math.sqrt(256 - 225)),  # 5.57, from either side
        (HomeWind(17.0, 0.0, 17.0), -17.0),  # cannot hold the track
        (HomeWind(20.0, 20.0), -4.0),
    ],
)
def test_the_wind_triangle(wind: HomeWind, expected_m_s: float) -> None:
    assert speed_home(PLAN, wind) == pytest.approx(expected_m_s)


@pytest.mark.parametrize("head_m_s", [2.0, 6.0, 8.0, 10.0, 14.0, 17.0])
@pytest.mark.parametrize("gust_m_s", [0.5, 2.0, 4.0])
def test_the_mean_speed_in_gusts_by_quadrature(head_m_s: float, gust_m_s: float) -> None:
    """What 16 m/s leave of a normally distributed head wind, cut off at the 8 m/s asked for (scipy)."""
    exact, _ = quad(
        lambda head: min(8.0, 16.0 - head) * norm.pdf(head, head_m_s, gust_m_s),
        head_m_s - 8.0 * gust_m_s, head_m_s + 8.0 * gust_m_s, points=[8.0], limit=200,
    )  # fmt: skip
    assert speed_home(PLAN, HomeWind(head_m_s, head_m_s, 0.0, gust_m_s)) == pytest.approx(exact, abs=3e-4)


def test_what_holding_the_track_takes_of_the_greatest_airspeed() -> None:
    """Gusts of 2.5 m/s across 20 m/s take 0.8 % on the mean (a draw of many); one deviation is 3 %."""
    across = np.random.default_rng(3).normal(0.0, 2.5, 200_000)
    taken = 1.0 - float(np.mean(np.sqrt(400.0 - across**2))) / 20.0
    assert taken == pytest.approx(0.008, abs=0.0005)
    assert taken < LEAN_DOUBT
    assert leaning_less(PLAN).airspeed_m_s == pytest.approx(15.52)
    assert leaning_less(PLAN, 1.65).airspeed_m_s == pytest.approx(16.0 * (1.0 - 0.0495))


def test_the_weakest_wind_of_half_a_minute() -> None:
    lulls = Lulls()
    heads = [9.0, 12.0, 18.0, *([14.0] * 25), 10.0, *([16.0] * 40)]
    told = [lulls.weakest(HomeWind(one, one), second * US).head_m_s for second, one in enumerate(heads)]
    assert told == [min(heads[max(0, i - 30) : i + 1]) for i in range(len(heads))]


def test_what_is_left_for_most_of_half_a_minute() -> None:
    """A gust of 20 s changes nothing, one of 25 s does; what comes and goes is mostly what it is for longer."""
    for gust_s, expected in ((20, 30.0), (25, -100.0)):
        lulls = Lulls()
        told = [lulls.mostly(left, second * US) for second, left in enumerate([30.0] * 60 + [-100.0] * gust_s)]
        assert told[-1] == expected
        assert set(told[:60]) == {30.0}
    lulls = Lulls()
    told = [lulls.mostly(6.0 if second % 27 == 0 else -20.0, second * US) for second in range(120)]
    assert set(told[10:]) == {-20.0}
    # after a silence only what has come since counts
    assert lulls.mostly(9.0, 200 * US) == 9.0


def test_the_wind_triangle_by_vectors() -> None:
    """Air velocity and wind added as vectors make good the track, at no more than the greatest airspeed."""
    for angle in np.linspace(0.0, 2.0 * math.pi, 25):
        for speed in (2.0, 6.0, 10.0, 14.0):
            wind = HomeWind(speed, speed * math.cos(angle), speed * math.sin(angle))
            made_m_s = speed_home(PLAN, wind)
            through_air = np.array([made_m_s, 0.0]) - np.array([-wind.head_m_s, wind.cross_m_s])
            airspeed_m_s = float(np.linalg.norm(through_air))
            legs = way_home(PLAN, Start(400.0, 40.0, done=frozenset({"climb"})), wind)
            assert airspeed_m_s <= 16.0 + 1e-9
            assert legs is not None
            assert legs[0].airspeed_m_s == pytest.approx(airspeed_m_s)
            if made_m_s < 8.0 - 1e-9:
                assert airspeed_m_s == pytest.approx(16.0)  # slower only where it binds


def test_head_wind_of_30_km_h_trebles_a_way_at_45_km_h() -> None:
    # D'Andrea 2014 (reference sheet, section 4): 10 km at an airspeed of 45 km/h against 30 km/h take 0.391 kWh,
    # in still air 0.130: at one power, three times the time.
    plan = PLAN._replace(speed_m_s=12.5, airspeed_m_s=12.5, acceleration_m_s2=20.0)
    start = Start(10_000.0, 40.0)
    against = times(plan, start, HomeWind(30 / 3.6, 30 / 3.6))["cruise"]
    assert against / times(plan, start)["cruise"] == pytest.approx(0.391 / 0.130, rel=0.01)


@pytest.mark.parametrize("way_m", [0.5, 2.0, 10.0, 31.9, 32.0, 32.1, 100.0, 1000.0])
def test_a_way_from_rest_to_rest(way_m: float) -> None:
    """By kinematics: under v^2 / a it never reaches its speed, 2 (s / a)^0.5; else s / v + v / a."""
    exact = 2.0 * math.sqrt(way_m / 2.0) if way_m < 32.0 else way_m / 8.0 + 4.0
    assert times(PLAN, Start(way_m, 40.0))["cruise"] == pytest.approx(exact)


def test_a_short_climb() -> None:
    # 2 m at 0.8 m/s2 from rest to rest: 2 (2 / 0.8)^0.5 = 3.16 s
    assert times(PLAN, Start(300.0, 38.0))["climb"] == pytest.approx(3.1623, abs=1e-4)


def test_what_is_under_way_takes_less_and_what_flies_away_takes_more() -> None:
    # at full speed home only the braking is left: 300 / 8 + 2
    assert times(PLAN, Start(300.0, 40.0, outward_m_s=-8.0))["cruise"] == pytest.approx(39.5)
    # flying away at 8 m/s: 4 s and 16 m to stop, then 316 m: 39.5 + 4
    away = times(PLAN, Start(300.0, 40.0, outward_m_s=8.0))
    assert away["cruise"] == pytest.approx(43.5)
    assert away["turn"] == pytest.approx(3.0 + 4.0)


def test_already_higher_it_comes_down_from_there() -> None:
    found = times(PLAN, Start(0.0, 60.0))
    assert "climb" not in found
    assert found["descend"] == pytest.approx(52.0 / 1.5)


def test_landing_slows_down_in_steps() -> None:
    # straight down from 40 m: 25 m at 1.5, 5 m on the way from 1.5 to 0.5 (1 m/s), 10 m at 0.5
    plan = PLAN._replace(order=("climb", "cruise", "land"), landing_ramp_m=15.0)
    assert times(plan, Start(100.0, 40.0))["land"] == pytest.approx(25.0 / 1.5 + 5.0 + 20.0)


def test_what_stays_in_the_air_is_landed_by_hand_after_the_usual_hold() -> None:
    endless = times(PLAN._replace(hold_s=math.inf), START)
    assert endless["hold"] == 10.0
    assert endless["land"] == 16.0
    no_landing = PLAN._replace(order=("climb", "cruise", "hold"))
    assert not no_landing.lands
    # it holds at 40 m: 30 m at 1.5, 10 m at 0.5
    assert times(no_landing, START)["land"] == pytest.approx(20.0 + 20.0)


def test_legs_behind_are_not_flown_again() -> None:
    found = times(PLAN, Start(3.0, 20.0, done=frozenset({"climb", "cruise"})))
    assert [*found] == ["descend", "hold", "land"]
    held = times(PLAN, Start(0.0, 8.0, done=frozenset({"climb", "cruise", "descend"}), held_s=21.0))
    assert held == {"hold": pytest.approx(9.0), "land": 16.0}
    too_long = times(PLAN, Start(0.0, 8.0, done=frozenset({"climb", "cruise", "descend"}), held_s=99.0))
    assert too_long["hold"] == 0.0


@pytest.mark.parametrize("wind", [HomeWind(16.0, 16.0), HomeWind(17.0, 0.0, 17.0), HomeWind(15.8, 15.8)])
def test_wind_as_great_as_the_airspeed_leaves_no_way(wind: HomeWind) -> None:
    assert way_home(PLAN, START, wind) is None
    # over home there is nothing to fly against it
    over = way_home(PLAN, Start(9.0, 40.0), wind)
    assert over is not None
    assert "cruise" not in [leg.name for leg in over]


def test_20_km_and_no_distance_at_all() -> None:
    assert times(PLAN, Start(20_000.0, 40.0))["cruise"] == pytest.approx(2504.0)
    assert times(PLAN, Start(0.0, 40.0))["cruise"] == 0.0


def test_under_home_it_climbs_out_and_lands_at_once() -> None:
    found = times(PLAN._replace(height_m=None), Start(50.0, -12.0))
    assert "climb" not in found
    assert "descend" not in found
    assert found["land"] == 0.0
