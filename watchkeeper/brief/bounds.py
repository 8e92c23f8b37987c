"""What a whole flight leaves, with its bound, before anything of it was flown.

The independent errors are those of the forecast in flight (`estimate.forecast`): the packs', the power's, the
model's own, the wind's, the time's; and the greatest airspeed's. All are tried at once, in many worlds (`worlds`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from watchkeeper.brief import worlds
from watchkeeper.brief.day import Today
from watchkeeper.estimate.air.airwind import WindState
from watchkeeper.estimate.home.forecast import BOUND, Arrival, fly
from watchkeeper.estimate.home.homeway import Leg
from watchkeeper.estimate.home.power import PowerModel
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.packs.battery import Supply

Route = Callable[[ReturnPlan, WindState], Sequence[Leg] | None]
"""Legs in a wind, by a plan; None where there is no way."""


class Bounded(NamedTuple):
    """What is left after a route out of the pack that ends with least, %, and its lower bound of 95 %."""

    expected: Arrival
    supply: Supply
    low_pct: float

    @property
    def held(self) -> bool:
        """Whether every leg's power can be held above the cell floor, as expected."""
        return self.expected.lowest_v >= self.supply.floor_v


def bounded(today: Today, route: Route, wind: WindState) -> Bounded | None:
    """Return what a route leaves, out of full packs; None where the expected wind leaves no way."""
    legs = route(today.plan, wind)
    if legs is None:
        return None
    arrivals = [fly(legs, one.state, one, today.model) for one in today.supplies]
    at = min(range(len(arrivals)), key=lambda i: arrivals[i].left_pct)
    supply = today.supplies[at]
    packs_pct = pack_doubt_pct(supply, legs, today.model)
    left = with_packs(left_in_worlds(today, route, wind, supply, legs), len(today.supplies), packs_pct)
    return Bounded(arrivals[at], supply, min(arrivals[at].left_pct, worlds.bound(left)))


def with_packs(left: Sequence[float], packs: int, doubt_pct: float) -> list[float]:
    """Return what is left in each world with what the least of the packs has less."""
    return [one + worlds.least_of(packs, doubt_pct, world) for one, world in zip(left, worlds.WORLDS, strict=True)]


def pack_doubt_pct(supply: Supply, legs: Sequence[Leg], model: PowerModel) -> float:
    """Return the standard deviation of what legs leave that comes of the pack, %."""
    left_pct = fly(legs, supply.state, supply, model).left_pct
    square = 0.0
    for state in supply.doubtful():
        empty = state.empty(supply.mean_power_w, supply.floor_v)
        square += (fly(legs, state, supply, model, empty=empty).left_pct - left_pct) ** 2
    return math.sqrt(square)


def left_in_worlds(
    today: Today, route: Route, wind: WindState, supply: Supply, legs: Sequence[Leg]
) -> list[float]:
    """Return what a route leaves in each world, %, out of a pack as expected; `legs` are those as expected."""
    costs = worlds.models(today, max((leg.airspeed_m_s for leg in legs), default=0.0))
    left: list[float] = []
    for world, model in zip(worlds.WORLDS, costs, strict=True):
        flown = route(worlds.plan_in(world, today, today.plan), worlds.wind_in(world, wind))
        if flown is not None:
            flown = worlds.home_in(world, flown)
        left.append(fly(flown, supply.state, supply, model).left_pct)
    return left


def way_doubt_pct(today: Today, route: Route, wind: WindState, supply: Supply) -> float:
    """Return the standard deviation of what a route leaves that comes of all but the packs, %, by the bound."""
    legs = route(today.plan, wind)
    if not legs:
        return 0.0
    left_pct = fly(legs, supply.state, supply, today.model).left_pct
    return max(0.0, left_pct - worlds.bound(left_in_worlds(today, route, wind, supply, legs))) / BOUND
