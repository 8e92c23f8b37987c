"""When a return is no longer good: the last moment to turn back, the reach, what one pack less would do.

All by the lower bound of what a return leaves, and by the lowest voltage of its legs, whichever comes first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.estimate.battery import Supply
from watchkeeper.estimate.forecast import BOUND, Answer, fly
from watchkeeper.estimate.homeway import LEAST_SPEED_M_S, OVERHEAD_M, HomeWind, Start, speed_home, way_home
from watchkeeper.estimate.power import PowerModel
from watchkeeper.estimate.returnplan import ReturnPlan

LONGEST_S: Final = 3600.0
"""A turn back later than that is no news."""
ABORTED_CLIMB_M: Final = 10.0
ABORTED_CLIMB_M_S: Final = 2.0
ABORTED_S: Final = 25.0
"""An aborted landing: up by so much, around, and down again (common practice)."""
_LOW: Final = (0.05, 0.25)
"""Charges between which a voltage margin is turned into charge: where the floor lies."""
_AHEAD_S: Final = (10.0, 900.0)
_SAME_ROOT_S: Final = 5.0


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
    found, worst, start = case.found, case.worst, case.start
    arrival = found.expected
    if after_s > 0.0:
        charge, _ = worst.state.drawn(worst.state.charge, power_w * worst.share, after_s)
        state = worst.state._replace(charge=charge)
        further_m = start.distance_m + max(0.0, start.outward_m_s) * after_s
        legs = way_home(case.plan, start._replace(distance_m=further_m), case.wind)
        arrival = fly(legs, state, worst, case.model)
    longer = min(10.0, arrival.energy_wh / max(1e-3, found.expected.energy_wh))
    doubt_pct = math.hypot(found.pack_doubt_pct, found.way_doubt_pct * longer)
    by_charge = arrival.left_pct - BOUND * doubt_pct - case.required_pct
    over_v = arrival.lowest_v - BOUND * found.lowest_doubt_v - worst.floor_v
    low, high = _LOW
    pct_v = 100.0 * (high - low) / max(0.1, worst.state.open_v(high) - worst.state.open_v(low))
    return min(by_charge, over_v * pct_v)


def turn_back_s(case: Case, power_w: float, guess_s: float) -> float:
    """Return the seconds until nothing is spare any more, going on at a power; negative: since when.

    By the secant through now and a guess (the root found last), and once more through what that gave.
    """
    least_s, most_s = _AHEAD_S
    now = spare(case, power_w, 0.0)
    ahead_s = min(max(abs(guess_s), 2.0 * least_s), most_s) if now > 0.0 else 2.0 * least_s
    root_s = LONGEST_S
    for _ in range(2):
        fall = (now - spare(case, power_w, ahead_s)) / ahead_s
        if fall <= 1e-6:
            return LONGEST_S if now > 0.0 else 0.0
        root_s = max(-LONGEST_S, now / fall)
        if now <= 0.0 or abs(root_s - ahead_s) < _SAME_ROOT_S:
            break
        ahead_s = min(max(root_s, least_s), most_s)
    return root_s


def reaches(case: Case, winds: Sequence[HomeWind]) -> list[float]:
    """Return the distance from which a return now begun still keeps the requirement, m, in each wind.

    With s what is spare of a return that has no way to fly, and w the cost of the way, s - w = BOUND (pack^2 +
    (part w)^2)^0.5: the packs' doubt stays, the way's grows with it. The reach is the smaller root, over the
    cost a metre.
    """
    found, worst, plan, start = case.found, case.worst, case.plan, case.start
    here = start._replace(distance_m=OVERHEAD_M, outward_m_s=0.0, climb_m_s=0.0, done=start.done | {"cruise"})
    top_m = plan.top_m(start.height_m, max(start.distance_m, plan.near_m))
    legs = way_home(plan._replace(height_m=top_m, near_m=0.0, cone=0.0), here, case.wind)
    spare_pct = fly(legs, worst.state, worst, case.model).left_pct - case.required_pct
    usable_part = max(0.05, 1.0 - worst.empty)
    volt = worst.state.cells * worst.state.open_v(0.5 * (worst.state.charge + worst.empty))
    pct_j = 100.0 * worst.share * worst.state.per_ah / volt / 3600.0 / usable_part
    spent_pct = 100.0 * (worst.state.charge - worst.empty) / usable_part - found.expected.left_pct
    part = min(0.5, found.way_doubt_pct / max(0.1, spent_pct))
    a = 1.0 - (BOUND * part) ** 2
    c = spare_pct**2 - (BOUND * found.pack_doubt_pct) ** 2
    if spare_pct <= 0.0 or c <= 0.0:
        return [0.0] * len(winds)
    most_pct = (spare_pct - math.sqrt(max(0.0, spare_pct**2 - a * c))) / a
    found_m: list[float] = []
    for wind in winds:
        speed_m_s = speed_home(plan, wind)
        if speed_m_s < LEAST_SPEED_M_S:
            found_m.append(0.0)
            continue
        airspeed_m_s = math.hypot(speed_m_s + wind.head_m_s, wind.cross_m_s)
        found_m.append(most_pct / (case.model.power_w(airspeed_m_s) / speed_m_s * pct_j))
    return found_m


def lowest_one_out(case: Case, supplies: Sequence[Supply]) -> float | None:
    """Return the lowest cell voltage on the way home with one more pack off the bus, V; None with one pack."""
    if len(supplies) < 2:
        return None
    legs = way_home(case.plan, case.start, case.wind)
    if legs is None:
        return None
    share = 1.0 / (len(supplies) - 1)
    return min(fly(legs, one.state, one, case.model, share=share).lowest_v for one in supplies)
