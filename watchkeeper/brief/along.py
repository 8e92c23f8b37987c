"""What a return leaves that is begun at the end of each leg of the plan, with its bound: one pass for each world.

The bound is that of `bounds`. Leg by leg anew, a plan of many points would take the square of their number.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from watchkeeper.brief import worlds
from watchkeeper.brief.bounds import Bounded, with_packs
from watchkeeper.brief.day import Today
from watchkeeper.brief.route import Part, Point, as_far, back
from watchkeeper.brief.worlds import World
from watchkeeper.estimate.home.forecast import UNREACHABLE_PCT, Arrival
from watchkeeper.estimate.home.homeway import Leg
from watchkeeper.estimate.home.power import PowerModel
from watchkeeper.estimate.packs.battery import Supply
from watchkeeper.estimate.packs.cell import PackState, usable


class _Flight(NamedTuple):
    """The legs of the plan as far as it gets, and from the end of each the legs home (None: no way)."""

    parts: Sequence[Part]
    homes: Sequence[Sequence[Leg] | None]


def bounded_along(
    today: Today, way: Sequence[Point], out_m: float, aloft_m: Callable[[Point], float]
) -> list[Bounded | None]:
    """Return what a return begun at the end of each leg of the plan leaves; None where there is no way home.

    `out_m` is the height for whose wind the plan is flown, `aloft_m` gives that of the way home from a point.
    """

    def flight(world: World | None) -> _Flight:
        plan, out_wind = today.plan, today.wind_at(out_m)
        if world is None:
            parts = as_far(today, plan, way, out_wind)
            return _Flight(parts, [back(plan, part.to, today.wind_at(aloft_m(part.to))) for part in parts])
        plan = worlds.plan_in(world, today, plan)
        parts = as_far(today, plan, way, worlds.wind_in(world, out_wind))
        homes: list[Sequence[Leg] | None] = []
        for part in parts:
            legs = back(plan, part.to, worlds.wind_in(world, today.wind_at(aloft_m(part.to))))
            homes.append(worlds.home_in(world, legs) if legs is not None else None)
        return _Flight([part._replace(leg=worlds.time_in(world, part.leg)) for part in parts], homes)

    expected = flight(None)
    count = len(expected.parts)
    legs = [*(part.leg for part in expected.parts), *(leg for some in expected.homes for leg in some or ())]
    costs = worlds.models(today, max((leg.airspeed_m_s for leg in legs), default=0.0))
    flights = [flight(world) for world in worlds.WORLDS] if count else []
    arrivals = [_arrivals(expected, one, one.state, one.empty, today.model) for one in today.supplies]
    found: list[Bounded | None] = [None for _ in range(count)]
    for i, supply in enumerate(today.supplies):
        at = [k for k in range(count) if arrivals[i][k] is not None and _least(arrivals, k) == i]
        if not at:
            continue
        packs = [
            _arrivals(expected, supply, one, one.empty(supply.mean_power_w, supply.floor_v), today.model)
            for one in supply.doubtful()
        ]
        ways = [
            _arrivals(one, supply, supply.state, supply.empty, model)
            for one, model in zip(flights, costs, strict=True)
        ]
        for k in at:
            arrival = arrivals[i][k]
            assert arrival is not None
            packs_pct = math.hypot(*(_left_pct(one, k) - arrival.left_pct for one in packs))
            left = with_packs([_left_pct(one, k) for one in ways], len(today.supplies), packs_pct)
            found[k] = Bounded(arrival, supply, min(arrival.left_pct, worlds.bound(left)))
    return found


def _least(arrivals: Sequence[Sequence[Arrival | None]], k: int) -> int:
    """Return which pack ends with least."""
    return min(range(len(arrivals)), key=lambda i: _left_pct(arrivals[i], k))


def _left_pct(arrivals: Sequence[Arrival | None], k: int) -> float:
    arrival = arrivals[k] if k < len(arrivals) else None
    return arrival.left_pct if arrival is not None else UNREACHABLE_PCT


def _arrivals(
    flown: _Flight, supply: Supply, state: PackState, empty: float, model: PowerModel
) -> list[Arrival | None]:
    """Return for the end of each leg the arrival after a return begun there, out of one pack; None: no way."""
    found: list[Arrival | None] = []
    at = Arrival(state.charge, 9.9, 0.0, 0.0, ())  # the charge itself, until it is home
    for part, legs in zip(flown.parts, flown.homes, strict=True):
        at = _drawn(at, part.leg, supply, state, model)
        if legs is None:
            found.append(None)
            continue
        end = at
        for leg in legs:
            end = _drawn(end, leg, supply, state, model)
        found.append(end._replace(left_pct=usable(end.left_pct, empty)))
    return found


def _drawn(at: Arrival, leg: Leg, supply: Supply, state: PackState, model: PowerModel) -> Arrival:
    power_w = model.power_w(leg.airspeed_m_s, leg.climb_m_s)
    charge, volt_v = state.drawn(at.left_pct, power_w * supply.share, leg.time_s)
    energy_wh = at.energy_wh + power_w * leg.time_s / 3600.0
    return Arrival(charge, min(at.lowest_v, volt_v), at.time_s + leg.time_s, energy_wh, ())
