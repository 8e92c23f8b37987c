"""When a return is no longer good: the last moment to turn back, the reach, what one pack less would do.

All by the lower bound of what a return leaves, and by the lowest voltage of its legs, whichever comes first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.estimate.home.forecast import BOUND, TIME_DOUBT, Answer, Costs, fly
from watchkeeper.estimate.home.homeway import (
    LEAST_SPEED_M_S,
    OVERHEAD_M,
    HomeWind,
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

LONGEST_S: Final = 3600.0
"""A turn back later than that is no news."""
ABORTED_CLIMB_M: Final = 10.0
ABORTED_CLIMB_M_S: Final = 2.0
ABORTED_S: Final = 25.0
"""An aborted landing: up by so much, around, and down again (common practice)."""
_LOW: Final = (0.05, 0.25)
"""Charges between which a voltage margin is turned into charge: where the floor lies."""
_PAST_S: Final = 20.0
_NEAR_S: Final = 1.0
_NEAR_PCT: Final = 0.02
_ROUNDS: Final = 12
_HALVINGS: Final = 12


class Case(NamedTuple):
    """One return: what was found of it, out of which pack, as it is set, from where, in which wind, at what cost.

    `required_pct` is the usable charge that must be left after landing.
    """

    found: Answer
    worst: Supply
    plan: ReturnPlan
    start: Start
    wind: HomeWind
    model: PowerModel
    required_pct: float


def aborted_pct(worst: Supply, model: PowerModel) -> float:
    """Return the usable charge that two aborted landings take, in %."""
    climb_s = ABORTED_CLIMB_M / ABORTED_CLIMB_M_S
    energy_j = 2.0 * (model.power_w(0.0, ABORTED_CLIMB_M_S) * climb_s + model.hover_w * ABORTED_S)
    volt = worst.state.cells * worst.state.open_v(_LOW[1])
    part = energy_j * worst.share / 3600.0 / volt * worst.state.per_ah
    return 100.0 * part / max(0.05, 1.0 - worst.empty)


def spare(case: Case, power_w: float, after_s: float) -> float:
    """Return what the lower bound keeps over the requirement, in %, for a return begun `after_s` from now.

    Until then `power_w` is drawn and the aircraft goes on as it moves; one that comes nearer may stop to work, so
    only what takes it away is counted on. A voltage counts in % by the curve's slope.
    """
    return min(_spares(case, power_w, after_s))


def _spares(case: Case, power_w: float, after_s: float) -> tuple[float, float]:
    """Return what is spare by charge and by voltage, both in %."""
    found, worst, start = case.found, case.worst, case.start
    arrival = found.expected
    if after_s > 0.0:
        charge, _ = worst.state.drawn(worst.state.charge, power_w * worst.share, after_s)
        state = worst.state.at(charge)
        further_m = start.distance_m + max(0.0, start.outward_m_s) * after_s
        legs = way_home(case.plan, start._replace(distance_m=further_m), case.wind)
        arrival = fly(legs, state, worst, case.model)
    longer = min(10.0, arrival.energy_wh / max(1e-3, found.expected.energy_wh))
    doubt_pct = math.hypot(found.pack_doubt_pct, found.way_doubt_pct * longer)
    by_charge = arrival.left_pct - BOUND * doubt_pct - case.required_pct
    over_v = arrival.lowest_v - BOUND * found.lowest_doubt_v - worst.floor_v
    low, high = _LOW
    pct_v = 100.0 * (high - low) / max(0.1, worst.state.open_v(high) - worst.state.open_v(low))
    return by_charge, over_v * pct_v


def turn_back_s(case: Case, power_w: float, guess_s: float) -> float:
    """Return the seconds until turning back is too late, going on as now at a power; negative: since when."""
    return min(_spent_s(case, power_w, guess_s), carried_past_s(case))


def binds(case: Case, power_w: float, turn_back_in_s: float) -> str | None:
    """Return what sets the last moment to turn back: charge, voltage or wind; None where none is near."""
    if turn_back_in_s >= LONGEST_S:
        return None
    if carried_past_s(case) <= turn_back_in_s:
        return "wind"
    by_charge, by_voltage = _spares(case, power_w, max(0.0, turn_back_in_s))
    return "charge" if by_charge <= by_voltage else "voltage"


def carried_past_s(case: Case) -> float:
    """Return in how many seconds it is carried over home, to where it cannot fly against the wind; else LONGEST_S.

    What comes nearer may stop to work; what the wind carries cannot, and downwind of home there is no way back.
    """
    wind, closing_m_s = case.wind, -case.start.outward_m_s
    if closing_m_s <= 0.0 or wind.head_m_s >= 0.0:
        return LONGEST_S
    beyond = wind._replace(head_m_s=-wind.head_m_s)
    if speed_home(leaning_less(case.plan, BOUND), beyond) >= LEAST_SPEED_M_S:
        return LONGEST_S
    return min(LONGEST_S, case.start.distance_m / closing_m_s)


def _spent_s(case: Case, power_w: float, guess_s: float) -> float:
    """Return the seconds until nothing is spare any more, going on at a power; negative: since when.

    A root between two times, by false position with halved ends (the Illinois way; Dowell and Jarratt, BIT 11,
    1971, from memory): what is spare has a kink where another limit begins to bind, which a secant runs past.
    """
    now = spare(case, power_w, 0.0)
    if now <= 0.0:
        fall = (now - spare(case, power_w, _PAST_S)) / _PAST_S
        return max(-LONGEST_S, now / fall) if fall > 1e-6 else 0.0
    low_s, low = 0.0, now
    high_s = min(max(1.1 * guess_s, _PAST_S), LONGEST_S)
    while (high := spare(case, power_w, high_s)) > 0.0:
        if high_s >= LONGEST_S:
            return LONGEST_S
        low_s, low = high_s, high
        high_s = min(2.0 * high_s, LONGEST_S)
    side = 0
    for _ in range(_ROUNDS):
        if high_s - low_s < _NEAR_S:
            break
        at_s = low_s + (high_s - low_s) * low / (low - high)
        left = spare(case, power_w, at_s)
        if abs(left) < _NEAR_PCT:
            return at_s
        if left > 0.0:
            low_s, low = at_s, left
            high *= 0.5 if side == 1 else 1.0
            side = 1
        else:
            high_s, high = at_s, left
            low *= 0.5 if side == -1 else 1.0
            side = -1
    return low_s + (high_s - low_s) * low / (low - high)


def reaches(case: Case, costs: Costs, winds: Sequence[tuple[HomeWind, WindDoubt]]) -> list[float]:
    """Return the distance from which a return now begun still keeps the requirement, m, in each wind.

    Of a return that has no way to fly, s is spare, with the packs' doubt and the way's own. A way that costs w
    adds w, its doubt as a part of w (model, airspeed, wind, time), and that of the charge an Ah draws. The
    reach is where the bound has used s up, over the cost of a metre in that wind. The voltage as a limit is
    left out.
    """
    found, worst, plan, start, model = case.found, case.worst, case.plan, case.start, case.model
    here = start._replace(distance_m=OVERHEAD_M, outward_m_s=0.0, climb_m_s=0.0, done=start.done | {"cruise"})
    top_m = plan.top_m(start.height_m, max(start.distance_m, plan.near_m))
    legs = way_home(plan._replace(height_m=top_m, near_m=0.0, cone=0.0), here, case.wind)
    overhead = fly(legs, worst.state, worst, model)
    spare_pct = overhead.left_pct - case.required_pct
    if spare_pct <= BOUND * found.pack_doubt_pct:
        return [0.0] * len(winds)
    least_wh = max(1e-3, found.expected.energy_wh)
    fixed_doubt_pct = found.way_doubt_pct * min(1.0, overhead.energy_wh / least_wh)
    draw_doubt = math.sqrt(sum((one.per_ah / worst.state.per_ah - 1.0) ** 2 for one in worst.doubtful()))
    middle = 0.5 * (worst.state.charge + worst.empty)
    volt = worst.state.cells * max(0.5, worst.state.cell_v(middle, worst.mean_power_w))
    pct_j = 100.0 * worst.share * worst.state.per_ah / volt / 3600.0 / max(0.05, 1.0 - worst.empty)
    found_m: list[float] = []
    for wind, doubt in winds:
        per_m = _cost_m(plan, wind, model)
        if per_m is None:
            found_m.append(0.0)
            continue
        part = _cruise_doubt(plan, wind, doubt, costs, per_m)
        way_pct = _longest_way(spare_pct, found.pack_doubt_pct, fixed_doubt_pct, part, draw_doubt)
        found_m.append(way_pct / (per_m * pct_j))
    return found_m


def _cost_m(plan: ReturnPlan, wind: HomeWind, model: PowerModel) -> float | None:
    """Return what a metre of the way home costs, J; None where there is no way."""
    speed_m_s = speed_home(plan, wind)
    if speed_m_s < LEAST_SPEED_M_S:
        return None
    return model.power_w(math.hypot(speed_m_s + wind.head_m_s, wind.cross_m_s)) / speed_m_s


def _cruise_doubt(plan: ReturnPlan, wind: HomeWind, doubt: WindDoubt, costs: Costs, per_m: float) -> float:
    """Return the standard deviation of the cost of a metre, as a part of it; a metre that cannot be flown is 1."""
    factor = 1.0 + (doubt.scale if wind.head_m_s > 0.0 else -doubt.scale)
    tries = [
        *(_cost_m(plan, wind, one) for one in costs.doubtful),
        _cost_m(plan, wind.stronger(doubt.rest_m_s), costs.model),
        _cost_m(leaning_less(plan), wind, costs.model),
        _cost_m(*scaled(plan, wind, factor), costs.model),
    ]
    square = costs.own_doubt**2 + TIME_DOUBT**2
    for one in tries:
        square += (one / per_m - 1.0) ** 2 if one is not None else 1.0
    return math.sqrt(square)


def _longest_way(spare_pct: float, pack_pct: float, fixed_pct: float, part: float, draw: float) -> float:
    """Return the way, in %, that uses up what is spare by the bound."""
    low, high = 0.0, spare_pct
    for _ in range(_HALVINGS):
        way = 0.5 * (low + high)
        # the same model flies both: what it is off in the one, it is off in the other
        doubt = math.sqrt(pack_pct**2 + (draw * way) ** 2 + (fixed_pct + part * way) ** 2)
        if spare_pct - way - BOUND * doubt > 0.0:
            low = way
        else:
            high = way
    return low


def lowest_one_out(case: Case, supplies: Sequence[Supply]) -> float | None:
    """Return the lowest cell voltage on the way home with one more pack off the bus, V; None with one pack."""
    if len(supplies) < 2:
        return None
    legs = way_home(case.plan, case.start, case.wind)
    if legs is None:
        return None
    share = 1.0 / (len(supplies) - 1)
    return min(fly(legs, one.state, one, case.model, share=share).lowest_v for one in supplies)
