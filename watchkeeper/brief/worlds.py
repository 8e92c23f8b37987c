"""Worlds: all that is in doubt before a flight, drawn at once, so that a bound holds what errors do together.

Wind, power and airspeed cost more the more they err, and more still together: a wind that still can be flown
against, and one in which an aircraft with a little more drag does not come home, lie close to each other. One
error after the other, added as independent ones are, held only in 77 to 92 of a hundred worlds. So every flight
is flown in the same worlds, spread evenly over all errors: a lattice of rank 1 (Korobov), whose points stand in
as many even steps of each error (Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods, ch. 5; from
memory). Nothing is random: the same files give the same brief.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist
from typing import Final, NamedTuple

from watchkeeper.brief.day import Today
from watchkeeper.estimate.air.airwind import WindState
from watchkeeper.estimate.home.forecast import TIME_DOUBT, TIME_DOUBT_S
from watchkeeper.estimate.home.homeway import Leg
from watchkeeper.estimate.home.power import PowerModel
from watchkeeper.estimate.home.returnplan import ReturnPlan

COUNT: Final = 127
"""A prime."""
_GENERATOR: Final = 22
"""Of those one whose errors, and their squares, are least correlated with each other: 0.11 at most."""
_ERRORS: Final = 9
_BELOW: Final = 4
"""So many of the worlds may leave less than the bound: few stand at the edges. Against worlds drawn by chance it
so holds 94 to 99 % (tests)."""
_NORMAL: Final = NormalDist()


class World(NamedTuple):
    """How far each error is off, in standard deviations; `pack` is a share (0 to 1) of what packs do worse."""

    power: tuple[float, float, float]
    model: float
    time: float
    wind: tuple[float, float]
    airspeed: float
    pack: float


def _all() -> tuple[World, ...]:
    found: list[World] = []
    for i in range(COUNT):
        even = [(i * pow(_GENERATOR, j, COUNT) % COUNT + 0.5) / COUNT for j in range(_ERRORS)]
        off = [_NORMAL.inv_cdf(one) for one in even]
        found.append(World((off[0], off[1], off[2]), off[3], off[4], (off[5], off[6]), off[7], even[8]))
    return tuple(found)


WORLDS: Final = _all()


def bound(left: Sequence[float]) -> float:
    """Return the lower bound of 95 % of what is left in all worlds."""
    return 0.5 * sum(sorted(left)[_BELOW - 1 : _BELOW + 1])  # halfway to the next: single worlds stand far apart


def models(today: Today, fastest_m_s: float) -> list[PowerModel]:
    """Return what flying costs in each world, the model's own error in it."""
    learner = today.learner
    base = [math.log(max(one, 1e-12)) for one in today.model]
    off = [
        [math.log(max(one, 1e-12)) - was for one, was in zip(some, base, strict=True)]
        for some in learner.doubtful(fastest_m_s)
    ]
    own = learner.model_doubt(fastest_m_s)
    plain = today.model
    found: list[PowerModel] = []
    for world in WORLDS:
        logs = list(base)
        for n, some in zip(world.power, off, strict=False):
            logs = [one + n * by for one, by in zip(logs, some, strict=True)]
        hover_w, inflow_m_s, drag = (math.exp(one) for one in logs)
        more = max(0.0, 1.0 + own * world.model)
        found.append(plain._replace(hover_w=hover_w * more, inflow_m_s=inflow_m_s, drag=drag * more))
    return found


def wind_in(world: World, wind: WindState) -> WindState:
    """Return a wind as it is in a world: its covariance's Cholesky factor times the errors."""
    first = math.sqrt(max(0.0, wind.var_nn))
    both = wind.var_ne / first if first > 0.0 else 0.0
    second = math.sqrt(max(0.0, wind.var_ee - both * both))
    north, east = world.wind
    return wind._replace(
        north_m_s=wind.north_m_s + first * north, east_m_s=wind.east_m_s + both * north + second * east
    )


def plan_in(world: World, today: Today, plan: ReturnPlan) -> ReturnPlan:
    """Return a plan with the greatest airspeed that it has in a world."""
    if math.isinf(today.lean_m_s):
        return plan
    lean_m_s = today.lean_m_s * math.exp(today.lean_doubt * world.airspeed)
    return plan._replace(airspeed_m_s=max(today.least_m_s, lean_m_s))


def time_in(world: World, leg: Leg) -> Leg:
    """Return a leg with the time that it takes in a world: corners, braking, hunting."""
    return leg._replace(time_s=leg.time_s * (1.0 + TIME_DOUBT * world.time))


def home_in(world: World, legs: Sequence[Leg]) -> list[Leg]:
    """Return legs home with the time that they take in a world; the last has what all have in common."""
    found = [time_in(world, leg) for leg in legs]
    if found:
        time_s = found[-1].time_s + TIME_DOUBT_S * world.time
        found[-1] = found[-1]._replace(time_s=max(0.0, time_s))
    return found


def least_of(packs: int, doubt_pct: float, world: World) -> float:
    """Return by how much the least of some packs is off in a world, %, each off by its own error of one kind."""
    return -doubt_pct * _NORMAL.inv_cdf((1.0 - world.pack) ** (1.0 / packs))
