"""What a way home takes out of the packs, with its bounds: errors are carried through, not guessed at the end.

Every independent error is tried by itself, one standard deviation to the dear side, and the differences at home
are added as independent errors are: the charge filter's and the power model's own directions, the wind, the
model's own error, and the time that segments take beyond their length.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

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
from watchkeeper.estimate.home.power import PowerModel
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.packs.battery import Supply
from watchkeeper.estimate.packs.cell import PackState, usable

BOUND: Final = 1.65
"""Standard deviations of a one-sided 95 %."""
TIME_DOUBT: Final = 0.03
"""Of the time home: corners, braking, hunting."""
TIME_DOUBT_S: Final = 3.0
UNREACHABLE_PCT: Final = -100.0
"""What is left after a way that cannot be flown."""


class Costs(NamedTuple):
    """What flying costs: the model, one model for each independent error, and the model's own error as a part."""

    model: PowerModel
    doubtful: Sequence[PowerModel]
    own_doubt: float


class Arrival(NamedTuple):
    """At home: usable charge in %, lowest cell voltage on the way, V, and time and energy that it took, s and Wh.

    `segments` are (name, time in s, lowest cell voltage in V) of each leg.
    """

    left_pct: float
    lowest_v: float
    time_s: float
    energy_wh: float
    segments: tuple[tuple[str, float, float], ...]


class Answer(NamedTuple):
    """An arrival with its doubt: standard deviations of the charge left (%) and of the lowest voltage (V).

    The packs' part of it is there already, the way's grows with the way.
    """

    expected: Arrival
    pack_doubt_pct: float
    way_doubt_pct: float
    lowest_doubt_v: float

    @property
    def doubt_pct(self) -> float:
        """Standard deviation of the charge left, in %."""
        return math.hypot(self.pack_doubt_pct, self.way_doubt_pct)

    @property
    def low_pct(self) -> float:
        """The lower bound of the charge left."""
        return self.expected.left_pct - BOUND * self.doubt_pct

    @property
    def lowest_low_v(self) -> float:
        """The lower bound of the lowest cell voltage."""
        return self.expected.lowest_v - BOUND * self.lowest_doubt_v


NO_WAY: Final = Arrival(UNREACHABLE_PCT, 0.0, math.inf, math.inf, ())


def fly(
    legs: Sequence[Leg] | None,
    state: PackState,
    supply: Supply,
    model: PowerModel,
    *,
    empty: float | None = None,
    more: float = 1.0,
    share: float | None = None,
) -> Arrival:
    """Fly legs out of one pack; `more` scales all power, `share` replaces the pack's part of it."""
    if legs is None:
        return NO_WAY
    part = supply.share if share is None else share
    charge, lowest_v = state.charge, 9.9
    energy_j = time_s = 0.0
    segments: list[tuple[str, float, float]] = []
    for name, leg_s, airspeed_m_s, climb_m_s, _ in legs:
        power_w = model.power_w(airspeed_m_s, climb_m_s) * more
        charge, volt = state.drawn(charge, power_w * part, leg_s)
        lowest_v = min(lowest_v, volt)
        energy_j += power_w * leg_s
        time_s += leg_s
        segments.append((name, leg_s, volt))
    left = usable(charge, supply.empty if empty is None else empty)
    return Arrival(left, lowest_v, time_s, energy_j / 3600.0, tuple(segments))


def answer(
    plan: ReturnPlan,
    start: Start,
    wind: HomeWind,
    wind_doubt: WindDoubt,
    supplies: Sequence[Supply],
    costs: Costs,
) -> tuple[Answer, Supply]:
    """Work out a return from `start`, for the pack that ends with least."""
    legs = way_home(plan, start, wind)
    arrivals = [fly(legs, supply.state, supply, costs.model) for supply in supplies]
    at = min(range(len(supplies)), key=lambda i: arrivals[i].left_pct)
    expected, supply = arrivals[at], supplies[at]
    if legs is None:
        return Answer(expected, 0.0, 0.0, 0.0), supply
    of_pack: list[Arrival] = []
    for state in supply.doubtful():
        empty = state.empty(supply.mean_power_w, supply.floor_v)
        of_pack.append(fly(legs, state, supply, costs.model, empty=empty))
    of_way = [fly(legs, supply.state, supply, model) for model in costs.doubtful]
    of_way.append(fly(legs, supply.state, supply, costs.model, more=1.0 + costs.own_doubt))
    dear = wind.stronger(wind_doubt.rest_m_s)
    of_way.append(fly(way_home(plan, start, dear), supply.state, supply, costs.model))
    if wind_doubt.scale > 0.0:
        factor = 1.0 + (wind_doubt.scale if wind.head_m_s > 0.0 else -wind_doubt.scale)
        plan_then, wind_then = scaled(plan, wind, factor)
        of_way.append(fly(way_home(plan_then, start, wind_then), supply.state, supply, costs.model))
    less = leaning_less(plan)
    if speed_home(less, wind) < plan.speed_m_s:
        of_way.append(fly(way_home(less, start, wind), supply.state, supply, costs.model))
    longer = [leg._replace(time_s=leg.time_s * (1.0 + TIME_DOUBT)) for leg in legs]
    if longer:
        longer[-1] = longer[-1]._replace(time_s=longer[-1].time_s + TIME_DOUBT_S)
    of_way.append(fly(longer, supply.state, supply, costs.model))
    way_doubt = math.sqrt(sum((one.left_pct - expected.left_pct) ** 2 for one in of_way))
    pack_doubt = math.sqrt(sum((one.left_pct - expected.left_pct) ** 2 for one in of_pack))
    volts = math.sqrt(sum((one.lowest_v - expected.lowest_v) ** 2 for one in (*of_pack, *of_way)))
    return Answer(expected, pack_doubt, way_doubt, volts), supply
