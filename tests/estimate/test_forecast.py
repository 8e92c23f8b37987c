"""Doubt that is carried through, against Monte Carlo with numpy on the same models."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import pytest

from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.estimate.home.forecast import (
    NO_WAY,
    TIME_DOUBT,
    TIME_DOUBT_S,
    UNREACHABLE_PCT,
    Answer,
    Costs,
    answer,
    fly,
)
from watchkeeper.estimate.home.homeway import (
    HomeWind,
    Leg,
    Start,
    WindDoubt,
    leaning_less,
    scaled,
    speed_home,
    way_home,
)
from watchkeeper.estimate.home.power import PowerLearner, PowerModel, Seen
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.packs.battery import Supply
from watchkeeper.estimate.packs.chargefilter import ChargeFilter
from watchkeeper.estimate.packs.curve import PUBLISHED

PLAN = ReturnPlan(speed_m_s=8.0, hold_s=30.0, hold_m=8.0, airspeed_m_s=16.0)
FLOOR_V = 3.3
FILE = load_aircraft_file(
    "packs: {cells: 12, capacity: 22 Ah, count: 2}\nhover_power: 4 kW at 30 kg\n"
    "mass: {empty: 20 kg, maximum: 35 kg}",
    "a.yaml",
)
PACKS = FILE.packs


def flown_filter(minutes: float, current_a: float) -> ChargeFilter:
    """Return a charge filter after a flight at an even current, its voltages as its own curve would have them."""
    kept = ChargeFilter(PACKS, 12, 22.0)
    assert kept.begin(4.18, None, resting=True, load_a=0.0)
    step_s = 1.0
    for i in range(int(minutes * 60.0 / step_s)):
        kept.draw(current_a * step_s / 3600.0, 0.0)
        state = kept.state()
        settled_v = state.open_v(state.charge) - state.cell_ohm * current_a
        kept.hear(settled_v, current_a, 20.0, round((i + 1) * step_s * 1e6))
    return kept


def flown_power(speeds_m_s: tuple[float, ...], doubt_m_s: float) -> PowerLearner:
    """Return a power learner after stretches at some airspeeds."""
    learner = PowerLearner(FILE)
    truth = PowerModel(3900.0, 7.0, 0.25)
    now_us = 0
    for speed_m_s in speeds_m_s:
        for _ in range(30):
            now_us += 500_000
            seen = Seen(truth.power_w(speed_m_s), speed_m_s, doubt_m_s, 0.0)
            learner.see(seen, 0.5, now_us)
    return learner


class Situation(NamedTuple):
    """What a return begins with."""

    minutes: float
    start: Start
    wind: HomeWind
    head_doubt_m_s: float
    scale: float = 0.0


SITUATIONS = (
    Situation(5.0, Start(400.0, 30.0), HomeWind(), 1.0),
    Situation(8.0, Start(1500.0, 60.0), HomeWind(5.0, 4.0, 3.0), 1.0),
    Situation(3.0, Start(1500.0, 60.0), HomeWind(5.0, 5.0, 0.0), 1.5),
    Situation(9.0, Start(50.0, 20.0), HomeWind(4.0, -4.0, 0.0), 0.8),
    Situation(1.0, Start(3000.0, 60.0), HomeWind(3.0, -3.0, 0.0), 1.0),
    Situation(3.0, Start(1500.0, 60.0), HomeWind(5.0, 4.0, 3.0), 0.5, 0.15),
)


def worked_out(of: Situation) -> tuple[Answer, ChargeFilter, PowerLearner, Supply]:
    kept, learner = flown_filter(of.minutes, 45.0), flown_power((0.0, 8.0), 0.5)
    state, mean_w = kept.state(), 1900.0
    supply = Supply(state, kept.doubtful, 0.5, state.empty(mean_w, FLOOR_V), FLOOR_V, mean_w)
    speed_m_s = speed_home(PLAN, of.wind)
    airspeed_m_s = math.hypot(speed_m_s + of.wind.head_m_s, of.wind.cross_m_s)
    costs = Costs(learner.model(), learner.doubtful(airspeed_m_s), learner.model_doubt(airspeed_m_s))
    found, worst = answer(PLAN, of.start, of.wind, WindDoubt(of.scale, of.head_doubt_m_s), [supply], costs)
    assert worst is supply
    return found, kept, learner, supply


def _at_scale(factor: float, start: Start, wind: HomeWind) -> tuple[ReturnPlan, Start, HomeWind]:
    plan, blown = scaled(PLAN, wind, factor)
    return plan, start, blown


def drawn(of: Situation, count: int) -> tuple[np.ndarray, np.ndarray, Answer]:
    """Return charge at home and lowest cell voltage of many returns whose errors are all drawn, and the answer."""
    found, kept, learner, supply = worked_out(of)
    dice = np.random.default_rng(7)
    pack, power = kept.learned(), learner.learned()
    pack_x = dice.multivariate_normal(pack["x"], np.reshape(pack["p"], (4, 4)), count)
    power_x = dice.multivariate_normal(power["x"], np.reshape(power["p"], (3, 3)), count)
    airspeed_m_s = math.hypot(speed_home(PLAN, of.wind) + of.wind.head_m_s, of.wind.cross_m_s)
    own = 1.0 + learner.model_doubt(airspeed_m_s) * dice.standard_normal(count)
    heads = of.wind.head_m_s + of.head_doubt_m_s * dice.standard_normal(count)
    longer, scale = dice.standard_normal(count), 1.0 + of.scale * dice.standard_normal(count)
    left, lowest = np.empty(count), np.empty(count)
    warm = supply.state.cell_ohm / math.exp(pack["x"][1])  # resistance before the filter's logarithm
    for i in range(count):
        z, r, b, k = pack_x[i]
        state = supply.state._replace(
            charge=float(min(1.0, z)),
            cell_ohm=float(warm * math.exp(r)),
            per_ah=math.exp(k) / 22.0,
            curve_off=float(b) / PUBLISHED["lipo"].spread_at(100.0 * min(1.0, z)),
        )
        model = PowerModel(*(math.exp(v) for v in power_x[i]))
        wind = HomeWind(math.hypot(heads[i], of.wind.cross_m_s), float(heads[i]), of.wind.cross_m_s)
        legs = way_home(*_at_scale(float(scale[i]), of.start, wind))
        assert legs is not None
        legs = [leg._replace(time_s=leg.time_s * (1.0 + TIME_DOUBT * longer[i])) for leg in legs]
        legs[-1] = legs[-1]._replace(time_s=max(0.0, legs[-1].time_s + TIME_DOUBT_S * longer[i]))
        empty = state.empty(supply.mean_power_w, FLOOR_V)
        arrival = fly(legs, state, supply, model, empty=empty, more=float(own[i]))
        left[i], lowest[i] = arrival.left_pct, arrival.lowest_v
    return left, lowest, found


@pytest.mark.parametrize("of", SITUATIONS)
def test_doubt_at_home_against_monte_carlo(of: Situation) -> None:
    """The standard deviation within 20 %, and the lower bound where one in twenty ends.

    Measured: ratio 0.90 to 1.00, under the bound 6 % of those in still air or with the wind behind, 9 to 10 % of
    those against a wind of 5 m/s, for the cost of wind grows faster than the wind.
    """
    left, lowest, found = drawn(of, 1500)
    assert found.doubt_pct == pytest.approx(left.std(), rel=0.20)
    assert found.expected.left_pct == pytest.approx(left.mean(), abs=1.0)
    assert 0.03 < np.mean(left < found.low_pct) < (0.12 if of.wind.head_m_s > 0.0 else 0.075)
    assert found.lowest_doubt_v == pytest.approx(lowest.std(), rel=0.35)
    assert 0.01 < np.mean(lowest < found.lowest_low_v) < 0.14


def test_each_error_by_itself_makes_the_doubt_greater() -> None:
    of = SITUATIONS[1]
    found, _, learner, supply = worked_out(of)
    plain = Costs(learner.model(), [], 0.0)
    sure = answer(PLAN, of.start, of.wind, WindDoubt(), [supply._replace(doubtful=list)], plain)[0]
    # only what the time may be more is left: 3 % and 3 s of it, at about the mean power of the way
    share = TIME_DOUBT + TIME_DOUBT_S / sure.expected.time_s
    spent_pct = 100.0 * (supply.state.charge - supply.empty) / (1.0 - supply.empty) - sure.expected.left_pct
    assert sure.doubt_pct == pytest.approx(share * spent_pct, rel=0.05)
    sure_pack = [supply._replace(doubtful=list)]
    for one in (
        answer(PLAN, of.start, of.wind, WindDoubt(0.0, 1.0), sure_pack, plain)[0],
        answer(PLAN, of.start, of.wind, WindDoubt(), [supply], plain)[0],
        answer(PLAN, of.start, of.wind, WindDoubt(), sure_pack, plain._replace(own_doubt=0.05))[0],
        answer(
            PLAN, of.start, of.wind, WindDoubt(), sure_pack, plain._replace(doubtful=learner.doubtful(10.0))
        )[0],
    ):  # fmt: skip
        assert sure.doubt_pct < one.doubt_pct < found.doubt_pct
        assert one.expected == sure.expected


def test_the_pack_that_ends_with_least_decides() -> None:
    _, _, learner, supply = worked_out(SITUATIONS[0])
    weak = supply._replace(state=supply.state._replace(charge=supply.state.charge - 0.1))
    found, worst = answer(
        PLAN, Start(400.0, 30.0), HomeWind(), WindDoubt(0.0, 1.0), [supply, weak], Costs(learner.model(), [], 0.0)
    )
    assert worst is weak
    alone, _ = answer(
        PLAN, Start(400.0, 30.0), HomeWind(), WindDoubt(0.0, 1.0), [weak], Costs(learner.model(), [], 0.0)
    )
    assert found == alone


def test_a_way_that_cannot_be_flown() -> None:
    _, _, learner, supply = worked_out(SITUATIONS[0])
    costs = Costs(learner.model(), learner.doubtful(8.0), 0.03)
    found, _ = answer(PLAN, Start(400.0, 30.0), HomeWind(17.0, 17.0), WindDoubt(0.0, 1.0), [supply], costs)
    assert found.expected is NO_WAY
    assert found.low_pct == UNREACHABLE_PCT
    # a wind that leaves a way, but none if it is stronger by one deviation: the bound promises nothing
    doubtful, _ = answer(PLAN, Start(400.0, 30.0), HomeWind(14.0, 14.0), WindDoubt(0.0, 2.0), [supply], costs)
    assert doubtful.expected.left_pct > 0.0
    assert doubtful.low_pct < 0.0


def test_a_wind_that_takes_all_it_can_lean_widens_the_doubt_and_leaves_what_is_expected() -> None:
    """By hand: 16 m/s against 12 leave 4; 3 % less of the 16 leave 3.52, and 400 m take 14 s longer."""
    _, _, learner, supply = worked_out(SITUATIONS[0])
    costs = Costs(learner.model(), [], 0.0)
    start = Start(400.0, 40.0, done=frozenset({"climb", "turn"}))
    plan, wind = PLAN, HomeWind(12.0, 12.0)
    strong, _ = answer(plan, start, wind, WindDoubt(), [supply], costs)
    less = fly(way_home(leaning_less(plan), start, wind), supply.state, supply, costs.model)
    longer = [leg._replace(time_s=leg.time_s * (1.0 + TIME_DOUBT)) for leg in way_home(plan, start, wind) or ()]
    longer[-1] = longer[-1]._replace(time_s=longer[-1].time_s + TIME_DOUBT_S)
    late = fly(longer, supply.state, supply, costs.model)
    off = [one.left_pct - strong.expected.left_pct for one in (less, late)]
    assert less.time_s - strong.expected.time_s == pytest.approx(400.0 / 3.52 - 400.0 / 4.0, abs=1.0)
    assert off[0] < -0.5
    assert strong.way_doubt_pct == pytest.approx(math.hypot(*off), rel=1e-6)
    weak, _ = answer(plan, start, HomeWind(3.0, 3.0), WindDoubt(), [supply], costs)
    assert leaning_less(plan).airspeed_m_s - 3.0 > plan.speed_m_s  # there it does not bind
    assert weak.way_doubt_pct < strong.way_doubt_pct


def test_legs_without_time_take_nothing() -> None:
    _, _, learner, supply = worked_out(SITUATIONS[0])
    nothing = fly([Leg("hold", 0.0, 5.0, 0.0, 8.0)], supply.state, supply, learner.model())
    now_pct = 100.0 * (supply.state.charge - supply.empty) / (1.0 - supply.empty)
    assert nothing.left_pct == pytest.approx(now_pct)
    assert nothing.energy_wh == 0.0
    assert fly([], supply.state, supply, learner.model()).left_pct == pytest.approx(now_pct)


def test_a_pack_that_cannot_give_the_power_ends_below_nothing() -> None:
    """Ten hours of hover out of one charge: what is missing is negative, and no cell holds."""
    _, _, learner, supply = worked_out(SITUATIONS[0])
    arrival = fly([Leg("hold", 36_000.0, 0.0, 0.0, 8.0)], supply.state, supply, learner.model())
    assert arrival.left_pct == -100.0  # by then it is of no use to say how much is missing
    assert arrival.lowest_v == 0.0
    assert math.isfinite(arrival.energy_wh)
