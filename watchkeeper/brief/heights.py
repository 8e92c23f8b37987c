"""The window of return heights: over what stands in today's area, under the ceiling; and the hold over home.

Clearance: 10 to 15 % of an obstacle's height, or some metres if that is more, under whatever hangs lowest (common
practice). Ceilings are above ground: over ground that lies below home, the same ceiling is lower above home.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import Clearance, SortieFile
from watchkeeper.brief.chart import Chart, Spot, chart, listed, on_way, where
from watchkeeper.brief.findings import HeightToday, Remark, Weight
from watchkeeper.estimate.home.homeway import Start, way_home
from watchkeeper.estimate.home.places import ASIDE_M, DIGITS, clearing_m
from watchkeeper.estimate.home.returnplan import ReturnPlan

HOLD_MARGIN_M: Final = 3.0
"""Between a hanging load (or the aircraft) and the ground in a hold: barometers wander (common practice)."""
ADVISED_OVER_M: Final = 2.0
"""By this much the advised height is above the least: the drift of a barometer in a flight (common practice)."""
CUSTOMARY_M: Final = 120.0
"""Above ground; (EU) 2019/947, open category; 14 CFR 107.51: 400 ft, 121.92 m. For a heavy one only a custom."""
_FAR_M: Final = 1e6
"""So far from home no rule of a return for near home holds."""
LEVEL: Final = Spot("level ground at home's height", 0.0, 0.0)


class Asked(NamedTuple):
    """What a spot asks of a return over it: the least height, and that of its top with what hangs below, m."""

    spot: Spot
    least_m: float
    touch_m: float


def asked(today: Chart, clearance: Clearance, line_m: float) -> list[Asked]:
    """Return what everything in today's area asks, level ground at home's height included, the most first."""
    spots = [LEVEL, *today.today((*today.obstacles, *today.ground, *today.places))]
    found = [
        Asked(one, clearing_m(one.height_m, clearance, line_m), round(one.height_m + line_m, DIGITS))
        for one in spots
    ]
    return sorted(found, key=lambda one: -one.least_m)


def return_height(
    sortie: SortieFile,
    home: tuple[float, float],
    plan: ReturnPlan,
    set_by: str,
    *,
    hold_margin_m: float = HOLD_MARGIN_M,
) -> HeightToday:
    """Return the window of return heights, and how what is set lies in it.

    `set_by` says who knows `plan`, as it is to be shown; "" where nobody does: then nothing set is judged.
    """
    today = chart(sortie, home)
    line_m = sortie.payload.line_m
    asks = asked(today, sortie.clearance, line_m)
    allowed_m, allowed_by = _allowed(today, sortie.ceiling_m)
    required_m = asks[0].least_m
    advised_m = advised(required_m, allowed_m)
    set_m, hold_m, low = _set(today, plan) if set_by else (None, None, ())
    hold_least_m = line_m + hold_margin_m
    remarks = [
        *_window(today, asks, allowed_m, allowed_by, line_m),
        *_custom(sortie, today, set_m, advised_m),
        *_over_ceiling(today, plan if set_by else None, allowed_m, allowed_by),
        *_judged(asks, allowed_m, allowed_by, set_m, set_by, advised_m),
        *low,
        *(_near_home(today, plan, asks, set_by) if set_by else ()),
        *(_hold(plan, hold_m, hold_least_m, line_m) if set_by else ()),
        *_at_home(today),
    ]
    return HeightToday(
        required_m=required_m,
        required_by=_by(asks[0]),
        allowed_m=allowed_m,
        allowed_by=allowed_by,
        set_m=set_m,
        set_by=set_by,
        advised_m=advised_m,
        hold_m=hold_m,
        hold_least_m=hold_least_m,
        remarks=tuple(remarks),
    )


def advised(required_m: float, allowed_m: float | None) -> float | None:
    """Return a height inside the window, a little over its low end and on a whole metre where it has one."""
    if allowed_m is None:
        return float(math.ceil(required_m + ADVISED_OVER_M))
    if required_m > allowed_m:
        return None
    for over_m in (ADVISED_OVER_M, 0.0):
        height_m = float(math.ceil(required_m + over_m))
        if height_m <= allowed_m:
            return height_m
    return (required_m + allowed_m) / 2.0


def flown_m(plan: ReturnPlan, height_m: float, distance_m: float) -> tuple[float | None, float | None]:
    """Return the heights at which a return from there flies home, and at which it holds; None: it does not."""
    still = plan._replace(speed_m_s=5.0, airspeed_m_s=15.0)  # wind and speed do not matter for heights
    legs = way_home(still, Start(distance_m, height_m)) or []
    heights = {leg.name: leg.end_m for leg in legs}
    down = "land" in plan.order and "hold" in plan.order and plan.order.index("land") < plan.order.index("hold")
    hold_m = heights.get("hold") if plan.hold_s > 0.0 and not down else None
    return heights.get("cruise"), hold_m


def climbs(plan: ReturnPlan) -> bool:
    """Whether it goes to a height of its own before it flies home."""
    order = plan.order
    if plan.height_m is None or "climb" not in order:
        return False
    return "cruise" not in order or order.index("climb") < order.index("cruise")


def _by(one: Asked) -> str:
    return one.spot.name if one.spot is LEVEL else f"{one.spot.name} ({one.spot.height_m:.0f} m)"


def _allowed(today: Chart, ceiling_m: float | None) -> tuple[float | None, str]:
    if ceiling_m is None:
        return None, ""
    lowest = min(today.today((*today.ground, *today.places)), key=lambda one: one.height_m, default=LEVEL)
    if lowest.height_m >= 0.0:
        return ceiling_m, f"ceiling of {ceiling_m:.0f} m"
    below = f"{lowest.name}, {-lowest.height_m:.0f} m below home"
    return ceiling_m + lowest.height_m, f"ceiling of {ceiling_m:.0f} m over {below}"


def _set(today: Chart, plan: ReturnPlan) -> tuple[float | None, float | None, tuple[Remark, ...]]:
    """Return the set height and the hold's; for a return at the height it has, from the plan's lowest point."""
    if "cruise" not in plan.order:
        remark = Remark("warning", "return", "As set, the return does not fly home", "Set it so that it does")
        return None, None, (remark,)
    if climbs(plan):
        return *flown_m(plan, 0.0, _FAR_M), ()
    if not today.points:
        what = "The return flies at the height it has when it begins; without a plan, that is not known"
        return None, flown_m(plan, 0.0, _FAR_M)[1], (Remark("caution", "return height", what, "Name the plan"),)
    flown = [(flown_m(plan, point.height_m, point.distance_m), point) for point in today.points]
    (least_m, hold_m), point = min(flown, key=lambda one: one[0][0] or 0.0)
    what = (
        f"The return flies at the height it has when it begins: least from {point.name}, at {least_m or 0:.0f} m"
    )
    return least_m, hold_m, (Remark("advisory", "return height", what),)


def _window(
    today: Chart, asks: list[Asked], allowed_m: float | None, allowed_by: str, line_m: float
) -> tuple[Remark, ...]:
    if allowed_m is None or asks[0].least_m <= allowed_m:
        return ()
    short_m = asks[0].least_m - allowed_m
    binds = [one for one in asks if one.least_m > allowed_m]
    what = (
        f"No return height fits: {_by(asks[0])} asks for {asks[0].least_m:.0f} m, "
        f"the {allowed_by} allows {allowed_m:.0f} m: {_up(short_m)} short"
    )
    return (
        Remark("warning", "return height", what, "; or ".join(_ways_out(today, asks, binds, short_m, line_m))),
    )


def _ways_out(today: Chart, asks: list[Asked], binds: list[Asked], short_m: float, line_m: float) -> list[str]:
    ways = []
    if line_m >= short_m:
        ways.append(f"Shorten the line to {math.floor(10 * (line_m - short_m)) / 10:g} m")
    if all(one.spot is not LEVEL for one in binds):
        left_m = next(one.least_m for one in asks if one not in binds)
        names = listed([one.spot.name for one in binds])
        aside = [one.spot.name for one in binds if not any(on_way(p, one.spot) for p in today.points)]
        seen = f" ({listed(aside)} not on a straight way home)" if aside and today.points else ""
        ways.append(f"Plan a way that stays well clear of {names}{seen}: without, {left_m:.0f} m is enough")
    ways.append(f"Have a ceiling {_up(short_m)} higher allowed by whoever may allow it")
    return ways


def _custom(sortie: SortieFile, today: Chart, set_m: float | None, advised_m: float | None) -> tuple[Remark, ...]:
    if sortie.ceiling_m is not None:
        return ()
    heights = {"the advised return height": advised_m, "the set return height": set_m}
    heights |= {point.name: point.height_m for point in today.points}
    over = [f"{name} at {height:.0f} m" for name, height in heights.items() if (height or 0.0) > CUSTOMARY_M]
    customary = "the customary 120 m (EU) or 400 ft (122 m, USA) above ground"
    do = "Find out what local rules and your authorisation allow here, and name it as ceiling; they decide"
    if over:
        return (Remark("caution", "ceiling", f"No ceiling is named; above {customary}: {listed(over)}", do),)
    return (Remark("advisory", "ceiling", f"No ceiling is named; nothing planned is above {customary}", do),)


def _over_ceiling(
    today: Chart, plan: ReturnPlan | None, allowed_m: float | None, allowed_by: str
) -> tuple[Remark, ...]:
    """Return which points are too high, and from which a return climbs too high whatever height is set."""
    if allowed_m is None:
        return ()
    more_m = plan.least_climb_m if plan is not None and "climb" in plan.order else 0.0
    over = [f"{point.name} at {point.height_m:.0f} m" for point in today.points if point.height_m > allowed_m]
    tops = [(point.name, point.height_m, point.height_m + more_m) for point in today.points]
    over += [f"a return from {name} at {top:.0f} m" for name, high, top in tops if high <= allowed_m < top]
    if not over:
        return ()
    what = f"Above the {allowed_by}, {allowed_m:.0f} m above home: {listed(over)}"
    return (Remark("caution", "ceiling", what, "Plan lower, or have it allowed by whoever may allow it"),)


def _judged(
    asks: list[Asked],
    allowed_m: float | None,
    allowed_by: str,
    set_m: float | None,
    set_by: str,
    advised_m: float | None,
) -> tuple[Remark, ...]:
    if set_m is None:
        return ()
    to = f"Set {advised_m:g} m" if advised_m is not None else "No height fits both ways: see the window"
    is_set = f"The return height of {set_m:.0f} m ({set_by}) is"
    most, reached = asks[0], max(asks, key=lambda one: one.touch_m)
    if set_m < reached.touch_m:
        hangs_m = reached.touch_m - reached.spot.height_m
        line = f", with {hangs_m:g} m of line" if hangs_m else ""
        what = f"{is_set} {_up(reached.touch_m - set_m)} under the top of {_by(reached)}{line}"
        return (Remark("warning", "return height", what, to),)
    if set_m < most.least_m:
        what = f"{is_set} {_up(most.least_m - set_m)} under what {_by(most)} asks"
        return (Remark("caution", "return height", what, to),)
    if allowed_m is not None and set_m > allowed_m:
        what = f"{is_set} {_up(set_m - allowed_m)} over the {allowed_by}"
        return (Remark("caution", "return height", what, to),)
    return ()


def _near_home(today: Chart, plan: ReturnPlan, asks: list[Asked], set_by: str) -> tuple[Remark, ...]:
    """Return what a return for near home, or up a cone, does not clear, though one from further away would."""
    if not climbs(plan) or (plan.near_m <= 0.0 and plan.cone <= 0.0):
        return ()
    from_m = max(0.0, min((point.height_m for point in today.points), default=0.0))
    far_m = flown_m(plan, from_m, _FAR_M)[0] or 0.0
    worst: tuple[float, float, Asked] | None = None
    for one in asks:
        beyond_m = one.spot.distance_m + one.spot.radius_m + ASIDE_M
        low_m = plan.top_m(from_m, beyond_m)
        short_m = one.least_m - low_m
        if one.spot is not LEVEL and low_m < far_m and short_m > (worst[0] if worst else 0.0):
            worst = short_m, low_m, one
    if worst is None:
        return ()
    short_m, low_m, one = worst
    what = (
        f"A return from just beyond {_by(one)}, at {where(one.spot.north_m, one.spot.east_m)}, climbs to "
        f"{low_m:.0f} m only ({set_by}), {_up(short_m)} less than it asks"
    )
    weight: Weight = "warning" if low_m < one.touch_m else "caution"
    return (Remark(weight, "return height", what, "Set it to climb as high near home, or begin no return there"),)


def _hold(plan: ReturnPlan, hold_m: float | None, least_m: float, line_m: float) -> tuple[Remark, ...]:
    found = []
    if hold_m is not None and hold_m < least_m:
        dragged = line_m > 0.0 and hold_m <= line_m
        hangs = f" with {line_m:g} m of line" if line_m else ""
        so = "the load lies on the ground" if dragged else f"less than {least_m:g} m"
        what = f"The return holds at {hold_m:.0f} m{hangs}: {so}"
        weight: Weight = "warning" if dragged else "caution"
        found.append(Remark(weight, "hold", what, f"Set the hold to {math.ceil(least_m)} m or more"))
    if line_m > 0.0 and plan.lands:
        what = f"A return that lands by itself puts the load down first, then the aircraft on {line_m:g} m of line"
        found.append(Remark("advisory", "hold", what, "Agree who takes over in the hold, and where the line goes"))
    return tuple(found)


def _at_home(today: Chart) -> tuple[Remark, ...]:
    on = [one.name for one in today.obstacles if one.distance_m - one.radius_m <= ASIDE_M and one.height_m > 0.0]
    if not on:
        return ()
    what = f"Within {ASIDE_M:.0f} m of home, where a return comes down: {listed(on)}"
    return (Remark("caution", "home", what, "Move home into the open, or land by hand"),)


def _up(metres: float) -> str:
    """Return metres rounded up to a tenth, so that what is said to be enough is."""
    return f"{math.ceil(round(metres * 10.0, 6)) / 10.0:g} m"
