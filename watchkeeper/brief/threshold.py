"""What the packs show when the way home has to begin, by each quantity that an aircraft can watch.

Each quantity has an error of its own: a gauge and a charge counted from full are off by what an Ah draws; a
voltage by the curve and the resistance, which on the flat of the curve is many per cent of charge. So each gets
the charge at which, read by it, the return still leaves what is required by the lower bound.

A voltage is taken of packs that have kept all the heat of the flight: they sag less, and a threshold for cold
packs would then be reached too late.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from watchkeeper.brief.asked import LONGEST_DELAY_S
from watchkeeper.brief.bounds import way_doubt_pct
from watchkeeper.brief.day import Today, warmed
from watchkeeper.brief.findings import Threshold
from watchkeeper.brief.route import Point, back
from watchkeeper.estimate.air.airwind import WindState
from watchkeeper.estimate.home.forecast import BOUND, fly
from watchkeeper.estimate.home.homeway import Leg
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.packs.battery import Supply
from watchkeeper.estimate.packs.cell import PackState
from watchkeeper.estimate.packs.packtoday import rated_ah

_HALVINGS: Final = 11
"""To a two thousandth of the charge."""


class Shown(NamedTuple):
    """What the packs show at a charge of one of them."""

    volt_v: float
    compensated_v: float
    used_ah: float


class Charges(NamedTuple):
    """For each quantity the charge (0 to 1) of the deciding pack at which the way home has to begin."""

    supply: Supply
    legs: list[Leg]
    way_doubt_pct: float
    volt: float
    rest: float
    counted: float


def charges(today: Today, at: Point, required_pct: float) -> Charges | None:
    """Return the charges at which the return from a point has to begin; None where full packs do not last."""
    wind = today.wind_at(max(at.height_m, today.plan.top_m(at.height_m, at.distance_m)))

    def acted(plan: ReturnPlan, air: WindState) -> list[Leg] | None:
        """Return the way home, and before it the wait until a threshold has held for long enough."""
        home = back(plan, at, air)
        waits = Leg("delay", LONGEST_DELAY_S, math.hypot(air.north_m_s, air.east_m_s), 0.0, at.height_m)
        return None if home is None else [waits, *home]

    legs = acted(today.plan, wind)
    if legs is None:
        return None
    supply = min(today.supplies, key=lambda one: fly(legs, one.state, one, today.model).left_pct)
    way_pct = way_doubt_pct(today, acted, wind, supply)

    def charge(doubtful: Callable[[float], list[PackState]]) -> float | None:
        return _charge(today, supply, legs, required_pct, way_pct, doubtful)

    off = supply.doubtful()
    volt = charge(lambda z: read_by_voltage(today, supply, off, z, compensated=False))
    rest = charge(lambda z: read_by_voltage(today, supply, off, z, compensated=True))
    count = charge(lambda z: _counted(supply, off, z))
    if volt is None or rest is None or count is None:
        return None
    return Charges(supply, legs, way_pct, volt, rest, count)


def threshold(today: Today, at: Point, required_pct: float) -> Threshold | None:
    """Return what the packs show when the return from a point has to begin; None where full packs do not last."""
    found = charges(today, at, required_pct)
    if found is None:
        return None
    supply = found.supply
    used_ah = shown(today, supply, found.counted).used_ah
    return Threshold(
        at.name,
        shown(today, supply, found.volt).volt_v,
        shown(today, supply, found.rest).compensated_v,
        max(gauges_pct(today, used_ah)),  # whichever pack's it is that is looked at
        1000.0 * used_ah,
        100.0 * (found.counted - supply.empty) / (1.0 - supply.empty),
    )


def gauge_pct(today: Today, used_ah: float) -> float:
    """Return what a gauge shows after so much out of all packs, counting from full with their stated capacity.

    An aged pack holds less than that, and its gauge never gets to 0 %: it shows what was used, not what is left.
    """
    return 100.0 * (1.0 - used_ah / today.whole_ah([rated_ah(one) for one in today.packs]))


def gauges_pct(today: Today, used_ah: float) -> list[float]:
    """Return the same of each pack by itself."""
    return [
        100.0 * (1.0 - used_ah * (1.0 if today.series else supply.share) / (rated_ah(one) or math.inf))
        for one, supply in zip(today.packs, today.supplies, strict=True)
    ]


def at_home(today: Today, found: Charges, charge: float) -> Shown:
    """Return the farthest that the packs get on a return begun at a charge, by the lower bound and cold.

    That is after it, or the sag of a climb at its beginning.
    """
    supply = found.supply
    arrival = fly(found.legs, supply.state._replace(charge=charge), supply, today.model)
    left_pct = arrival.left_pct - BOUND * found.way_doubt_pct
    end = max(0.0, supply.empty + left_pct / 100.0 * (1.0 - supply.empty))
    after = shown(today, supply, end, warm=False)
    sag_v = arrival.lowest_v * supply.state.cells * (len(today.supplies) if today.series else 1)
    return after._replace(volt_v=min(after.volt_v, sag_v))


def shown(today: Today, supply: Supply, charge: float, *, warm: bool = True) -> Shown:
    """Return what the packs show in a hover at a charge of one of them, warm as they can be by then, or cold."""
    state = supply.state
    used_ah = (1.0 - charge) / state.per_ah
    packs = today.packs[today.supplies.index(supply)]
    used_wh = used_ah * state.cells * state.open_v(0.5 * (1.0 + charge))
    power_w = today.model.hover_w * supply.share
    if warm:
        state = warmed(packs, state, today.temperature_degc, used_wh, power_w)
    volt_v = state.cells * state.cell_v(charge, power_w)
    # in series all give the same current and the bus has the voltages of all; side by side the currents add
    times = len(today.supplies) if today.series else 1
    total_ah = used_ah if today.series else used_ah / supply.share
    return Shown(times * volt_v, times * state.cells * state.open_v(charge), total_ah)


def _charge(
    today: Today,
    supply: Supply,
    legs: list[Leg],
    required_pct: float,
    way_pct: float,
    doubtful: Callable[[float], list[PackState]],
) -> float | None:
    """Return the least charge from which legs leave what is required by the bound, or the lowest voltage allows.

    `doubtful` gives the pack as it may really be where a charge (0 to 1) is read: a state for each error.
    """
    more = 1.0 + hover_doubt(today)

    def spare(charge: float) -> float:
        here = supply.state._replace(charge=charge)
        arrival = fly(legs, here, supply, today.model)
        off = [
            fly(legs, one, supply, today.model, empty=one.empty(supply.mean_power_w, supply.floor_v))
            for one in doubtful(charge)
        ]
        doubt_pct = math.hypot(way_pct, *(one.left_pct - arrival.left_pct for one in off))
        sagging = fly(legs, here, supply, today.model, more=more)
        doubt_v = math.hypot(*(one.lowest_v - arrival.lowest_v for one in (*off, sagging)))
        kept_pct = arrival.left_pct - BOUND * doubt_pct - required_pct
        return kept_pct if arrival.lowest_v - BOUND * doubt_v >= supply.floor_v else min(kept_pct, -1.0)

    if spare(1.0) < 0.0:
        return None
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if spare(middle) < 0.0:
            low = middle
        else:
            high = middle
    return high


def read_by_voltage(
    today: Today, supply: Supply, off: Sequence[PackState], charge: float, *, compensated: bool
) -> list[PackState]:
    """Return the pack as it may be where a voltage reads as this charge does: less charged, or dearer to draw on.

    The aircraft compensates by a resistance that is no better known than ours, so both carry its error. What it
    measures without that also falls with a power that is not known before the flight. The curve turns a voltage
    into a charge at the bound, for on its flat a little more error is much more charge; a deviation is that part
    of it. What counts is how far a cell may lie above the curve at the charge that it really has: lower down cells
    differ more. More resistance than expected is no error to the dear side: then it turns back earlier.
    """
    state = supply.state
    drop_v = state.open_v(charge) - state.cell_v(charge, today.model.hover_w * supply.share)
    ohm_doubt = math.hypot(*(math.log(one.cell_ohm / state.cell_ohm) for one in off))
    less_v = (1.0 - math.exp(-BOUND * ohm_doubt)) * drop_v
    power_v = 0.0 if compensated else BOUND * hover_doubt(today) * drop_v
    read_v, least, high = state.open_v(charge), 0.0, charge
    for _ in range(_HALVINGS):
        middle = 0.5 * (least + high)
        error_v = math.hypot(BOUND * state.curve.spread_at(100.0 * middle), less_v, power_v)
        if state.curve.rest_voltage_at(100.0 * middle) + error_v < read_v:
            least = middle
        else:
            high = middle
    here = state._replace(charge=charge)
    draws = [here._replace(per_ah=one.per_ah) for one in off if one.per_ah != state.per_ah]
    return [here._replace(charge=charge - (charge - least) / BOUND), *draws]


def hover_doubt(today: Today) -> float:
    """Return the standard deviation of the hover power as a part of it."""
    hover_w = today.model.hover_w
    return math.hypot(*(one.hover_w / hover_w - 1.0 for one in today.learner.doubtful(0.0)))


def _counted(supply: Supply, off: Sequence[PackState], charge: float) -> list[PackState]:
    """Return the pack as it may be where a count from full reads as this charge: what full was, what an Ah draws.

    With its resistance and curve, which shift where it is empty.
    """
    per_ah = supply.state.per_ah
    return [one._replace(charge=one.charge - (1.0 - charge) * one.per_ah / per_ah) for one in off]
