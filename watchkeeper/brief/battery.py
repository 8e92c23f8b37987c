"""The battery's part of the brief: legs, the threshold to set, the deepest sag before it, time on station."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Final, Literal

from watchkeeper.aircraft.files import Packs
from watchkeeper.brief.along import bounded_along
from watchkeeper.brief.bounds import Route, bounded
from watchkeeper.brief.day import Today, full_v
from watchkeeper.brief.findings import BatteryToday, Deepest, LegToday, PackToday, Threshold
from watchkeeper.brief.route import HOME, Part, Point, back, out
from watchkeeper.brief.threshold import gauges_pct, threshold
from watchkeeper.brief.timeline import Moment, gusty, moments
from watchkeeper.estimate.air.airwind import WindState
from watchkeeper.estimate.home.forecast import fly
from watchkeeper.estimate.home.homeway import Leg
from watchkeeper.estimate.home.limits import aborted_pct
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.packs.cell import usable
from watchkeeper.estimate.packs.packtoday import rated_ah

Case = Literal["as planned", "in a gust", "one pack out"]
GUST_POWER: Final = 1.15
"""Power in a gust over the mean: corrections and the climb against a downdraught (common practice)."""
LONGEST_STAY_S: Final = 3600.0
_STAY_S: Final = 5.0
JOIN_RATE: Final = 1.0
"""Of the capacity an hour: what an empty pack may be charged with when it is joined (common practice)."""
JOIN_CELL_V: Final = 0.05
"""And never more than this a cell (common practice: 50 mV)."""


def required_pct(today: Today) -> float:
    """Return the usable charge that must be left after landing: the reserve, or two aborted landings."""
    return max(today.reserve_pct, *(aborted_pct(one, today.model) for one in today.supplies))


def battery_today(
    today: Today, way: Sequence[Point], labels: Sequence[str | None], sources: Sequence[str]
) -> BatteryToday:
    """Work the battery's part out for a way from home over all its points; stages are for others to add."""
    need_pct = required_pct(today)
    legs = leg_rows(today, way, need_pct)
    far = farthest(today, way)
    limit = threshold(today, far, need_pct) if far is not None else None
    rest_v = rest_difference_v(today.packs)
    return BatteryToday(
        packs=tuple(
            _pack(number, one, today, label, source)
            for number, (one, label, source) in enumerate(zip(today.packs, labels, sources, strict=True), start=1)
        ),
        required_pct=need_pct,
        legs=tuple(legs),
        threshold=limit,
        deepest=tuple(deepest(today, way, limit)),
        stages=(),
        on_station_s=on_station_s(today, way, need_pct),
        rest_difference_v=rest_v,
        rest_difference_why=(
            f"the current between packs stays under {JOIN_RATE:g} of the capacity an hour, "
            f"and the cells within {1000 * JOIN_CELL_V:.0f} mV (common practice)"
            if rest_v is not None
            else ""
        ),
        home_s=_home_s(today, way),
    )


def _home_s(today: Today, way: Sequence[Point]) -> float | None:
    legs = back(today.plan, way[-1], today.wind_at(aloft_m(today, way[-1]))) if way else None
    return math.fsum(leg.time_s for leg in legs) if legs is not None else None


def rest_difference_v(packs: Sequence[Packs]) -> float | None:
    """Return by how much a pack may differ at rest from those that it is joined to side by side, V.

    Ohm's law around the loop of one and all others, I = dU / (R + R of the others side by side), for the loop of
    least resistance. In series nothing flows between packs: None.
    """
    if len(packs) < 2 or packs[0].topology == "series":
        return None
    by_cells_v = JOIN_CELL_V * (packs[0].cells or 1)
    ohms = [one.resistance_ohm for one in packs if one.resistance_ohm is not None]
    if len(ohms) < len(packs):
        return by_cells_v
    conductance = math.fsum(1.0 / one for one in ohms)
    loop_ohm = min(one + 1.0 / (conductance - 1.0 / one) for one in ohms)
    capacity_ah = min(one.capacity_ah or 0.0 for one in packs)
    return min(by_cells_v, JOIN_RATE * capacity_ah * loop_ohm)


def _pack(number: int, one: Packs, today: Today, label: str | None, source: str) -> PackToday:
    supply = today.supplies[number - 1]
    return PackToday(
        number=number,
        label=label,
        cells=one.cells or 0,
        capacity_ah=rated_ah(one),
        usable_ah=(1.0 - supply.empty) / supply.state.per_ah,
        resistance_mohm=1000.0 * supply.state.cell_ohm * supply.state.cells,
        cycles=one.age_cycles,
        temperature_degc=today.temperature_degc,
        rest_v=full_v(one),
        source=source,
    )


def farthest(today: Today, way: Sequence[Point]) -> Point | None:
    """Return the point of the way from which coming home costs most; None without points."""

    def left_pct(at: Point) -> float:
        legs = back(today.plan, at, today.wind_at(aloft_m(today, at)))
        return min(fly(legs, one.state, one, today.model).left_pct for one in today.supplies)

    return min(way, key=left_pct, default=None)


def aloft_m(today: Today, at: Point) -> float:
    """Return the height at which it flies home from a point."""
    return max(at.height_m, today.plan.top_m(at.height_m, at.distance_m))


def plan_parts(today: Today, way: Sequence[Point]) -> list[Part] | None:
    """Return the legs of the plan as expected, in the wind at its top; None where the wind leaves no way."""
    return out(today, today.plan, way, today.wind_at(_top_m(way)))


def _top_m(way: Sequence[Point]) -> float:
    return max((one.height_m for one in way), default=0.0)


def leg_rows(today: Today, way: Sequence[Point], need_pct: float) -> list[LegToday]:
    """Return what each leg of the way out takes, and what a return begun at its end leaves."""
    parts = plan_parts(today, way)
    if not parts:
        return []
    rows: list[LegToday] = []
    ends = _ends(moments(today, parts), len(parts))
    homes = bounded_along(today, way, _top_m(way), lambda at: aloft_m(today, at))
    limits: dict[tuple[float, float, float], Threshold | None] = {}
    for part, end, home in zip(parts, ends, homes, strict=True):
        place = part.to[1:4]
        if place not in limits:
            limits[place] = threshold(today, part.to, need_pct)
        rows.append(
            LegToday(
                name=part.leg.name,
                time_s=part.leg.time_s,
                end_s=end.time_s,
                energy_wh=part.leg.time_s * end.power_w / 3600.0,
                distance_m=part.to.distance_m,
                height_m=part.leg.end_m,
                volt_v=end.volt_v,
                gauge_pct=min(gauges_pct(today, today.whole_ah(end.used_ah))),
                usable_pct=min(usable(z, one.empty) for z, one in zip(end.charges, today.supplies, strict=True)),
                home_pct=home.expected.left_pct if home is not None else None,
                home_low_pct=home.low_pct if home is not None else None,
                turn_back=limits[place],
            )
        )
    return rows


def _ends(seen: Sequence[Moment], count: int) -> list[Moment]:
    """Return the last moment of each leg; legs follow one another under names of their own."""
    found = [one for one, then in itertools.pairwise(seen) if one.leg != then.leg]
    found.append(seen[-1])
    assert len(found) == count
    return found


def over(today: Today, way: Sequence[Point]) -> Route:
    """Return the route over these points, and home from the last of them."""
    end = way[-1] if way else HOME

    def route(plan: ReturnPlan, wind: WindState) -> list[Leg] | None:
        legs, home = out(today, plan, way, wind), back(plan, end, wind)
        return None if legs is None or home is None else [*(part.leg for part in legs), *home]

    return route


def on_station_s(today: Today, way: Sequence[Point], need_pct: float) -> float | None:
    """Return how long it can stay at the farthest point, all other stays as planned, s.

    By the lower bound of the whole flight. 0: not at all; None: there is no point, or no way.
    """
    far = farthest(today, way)
    if far is None:
        return None
    at = way.index(far)
    wind = today.wind_at(aloft_m(today, far))

    if out(today, today.plan, way, wind) is None or back(today.plan, way[-1], wind) is None:
        return None

    def spare_pct(stay_s: float) -> float:
        stayed = [*way[:at], far._replace(stay_s=stay_s), *way[at + 1 :]]
        found = bounded(today, over(today, stayed), wind)
        return -math.inf if found is None or not found.held else found.low_pct - need_pct

    low_s, high_s = 0.0, LONGEST_STAY_S
    if spare_pct(0.0) < 0.0:
        return 0.0
    if spare_pct(high_s) >= 0.0:
        return high_s
    while high_s - low_s > _STAY_S:
        middle_s = 0.5 * (low_s + high_s)
        if spare_pct(middle_s) < 0.0:
            high_s = middle_s
        else:
            low_s = middle_s
    return low_s


def deepest(today: Today, way: Sequence[Point], limit: Threshold | None) -> list[Deepest]:
    """Return the lowest voltage of the bus before the way home begins: as planned, in gusts, with one pack out."""
    parts = plan_parts(today, way)
    if not parts:
        return []
    seen = moments(today, parts)
    cases: list[tuple[Case, list[Moment]]] = [
        ("as planned", seen),
        ("in a gust", gusty(today, seen, GUST_POWER)),
    ]
    if len(today.supplies) > 1 and not today.series:
        cases.append(("one pack out", one_out(today, seen)))
    rows: list[Deepest] = []
    for case, found in cases:
        worst = min(found, key=lambda one: one.volt_v)
        above = limit is not None and worst.volt_v > limit.volt_v
        rows.append(Deepest(case, worst.volt_v, worst.leg, worst.time_s, above))
    return rows


def one_out(today: Today, seen: Sequence[Moment]) -> list[Moment]:
    """Return each moment as it would be just after the strongest pack has gone.

    It is as planned until then, and the others carry all of it: their voltage at that charge.
    """
    strongest = max(range(len(today.supplies)), key=lambda i: today.supplies[i].share)
    rest = math.fsum(one.share for i, one in enumerate(today.supplies) if i != strongest)
    found: list[Moment] = []
    for one in seen:
        volts = [
            supply.state.cells * supply.state.cell_v(charge, one.power_w * supply.share / rest)
            for i, (supply, charge) in enumerate(zip(today.supplies, one.charges, strict=True))
            if i != strongest
        ]
        found.append(one._replace(volt_v=math.fsum(volts) / len(volts)))
    return found
