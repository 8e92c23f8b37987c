"""What today asks of the aircraft's settings, out of what the other parts of the brief have found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.brief.asked import Asked, Fence, LinkLost, LowBattery, Quantity, Trigger, Window
from watchkeeper.brief.battery import GUST_POWER, aloft_m, farthest, plan_parts
from watchkeeper.brief.bounds import bounded
from watchkeeper.brief.chart import chart
from watchkeeper.brief.day import Today
from watchkeeper.brief.findings import HeightToday, Threshold
from watchkeeper.brief.monitors import measured, measured_a, measured_ohm
from watchkeeper.brief.route import Point, back, met, out
from watchkeeper.brief.threshold import at_home, charges, gauges_pct
from watchkeeper.brief.timeline import gusty, moments
from watchkeeper.estimate.home.forecast import BOUND
from watchkeeper.estimate.home.homeway import leaning_less
from watchkeeper.estimate.packs.packtoday import rated_ah

LINK_LOST_WITHIN_S: Final = 10.0
"""A lost control link: waiting longer is flying blind (common practice: a few seconds)."""
STATION_LOST_WITHIN_S: Final = 60.0
FENCE_ROOM_M: Final = 15.0
"""Position error and overshoot inside a fence (common practice)."""
FENCE_ROOM_UP_M: Final = 5.0
_SPEED_STEP_M_S: Final = 0.5


def asking(
    sortie: SortieFile,
    file: AircraftFile | None,
    height: HeightToday,
    way: Sequence[Point],
    today: Today | None,
    limit: Threshold | None,
    need_pct: float,
) -> Asked:
    """Return all that today asks. Without `today` nothing is asked that hangs on energy."""
    highest_m = max((one.height_m for one in way), default=0.0)
    same = sortie.radio.control == "same"
    moving = sortie.crew.moving
    return Asked(
        return_height_m=Window(
            height.required_m, height.allowed_m, height.advised_m, height.required_by, height.allowed_by
        ),
        return_speed_m_s=_speeds(today, way, need_pct) if today is not None else None,
        plan_highest_m=highest_m,
        free_around_m=_free_around_m(sortie),
        hold_least_m=height.hold_least_m if sortie.payload.line_m > 0.0 else None,
        hold_most_s=today.plan.hold_s if today is not None and math.isfinite(today.plan.hold_s) else None,
        low_battery=_low_battery(today, file, way, limit, need_pct) if today is not None else None,
        control_lost=LinkLost(LINK_LOST_WITHIN_S, moving_crew=moving),
        station_lost=LinkLost(STATION_LOST_WITHIN_S, moving_crew=moving) if same else None,
        fence=_fence(sortie, height, way, highest_m),
    )


def _free_around_m(sortie: SortieFile) -> float:
    """Return the distance from home within which nothing stands; infinite where nothing does."""
    if sortie.home is None:
        return 0.0
    return min((one.distance_m - one.radius_m for one in chart(sortie, sortie.home).obstacles), default=math.inf)


def _fence(sortie: SortieFile, height: HeightToday, way: Sequence[Point], highest_m: float) -> Fence | None:
    if not way:
        return None
    top_m = max(highest_m, height.advised_m or 0.0)
    return Fence(
        radius_least_m=float(math.ceil(max(one.distance_m for one in way) + FENCE_ROOM_M)),
        height_least_m=float(math.ceil(top_m + FENCE_ROOM_UP_M)),
        height_most_m=sortie.ceiling_m,
        wanted=sortie.ceiling_m is not None or any(one.kind == "boundary" for one in sortie.areas),
    )


def _speeds(today: Today, way: Sequence[Point], need_pct: float) -> Window | None:
    """Return the speeds over ground home from the farthest point: what keeps the reserve, what can be held."""
    far = farthest(today, way)
    if far is None or far.distance_m <= 0.0:
        return None
    wind = today.wind_at(aloft_m(today, far))
    meets = met(wind, -far.north_m / far.distance_m, -far.east_m / far.distance_m)
    along = leaning_less(today.plan, BOUND).airspeed_m_s ** 2 - meets.cross_m_s**2
    most_m_s = math.sqrt(along) - meets.head_m_s if along > 0.0 else 0.0
    parts = out(today, today.plan, way[: way.index(far) + 1], wind)
    least_m_s = None
    speed_m_s = 2.0 * _SPEED_STEP_M_S
    while parts is not None and speed_m_s <= most_m_s:
        slow = today._replace(plan=today.plan._replace(speed_m_s=speed_m_s))
        found = bounded(
            slow,
            lambda plan, air: None if (legs := back(plan, far, air)) is None
            else [*(part.leg for part in parts), *legs],
            wind,
        )  # fmt: skip
        if found is not None and found.low_pct >= need_pct:
            least_m_s = speed_m_s
            break
        speed_m_s += _SPEED_STEP_M_S
    if least_m_s is None:
        return None
    return Window(least_m_s, most_m_s, None, "coming home with the reserve", "today's wind")


def _low_battery(
    today: Today, file: AircraftFile | None, way: Sequence[Point], limit: Threshold | None, need_pct: float
) -> LowBattery | None:
    far = farthest(today, way)
    found = charges(today, far, need_pct) if far is not None else None
    if far is None or limit is None or found is None:
        return None
    parts = plan_parts(today, way)
    if not parts:
        return None
    planned = moments(today, parts)
    gusts = gusty(today, planned, GUST_POWER)
    first = next(iter(measured(file, today).values()))
    pack_ohm = measured_ohm(today, first)
    used_ah = today.whole_ah(planned[-1].used_ah)
    home_ah = at_home(today, found, found.counted).used_ah
    triggers: dict[Quantity, Trigger] = {
        "gauge": _trigger(limit.gauge_pct, min(gauges_pct(today, used_ah)), min(gauges_pct(today, home_ah))),
        "charge_used": _trigger(limit.used_mah, 1000.0 * used_ah, 1000.0 * home_ah, rises=True),
    }
    if not today.series or len(first) == len(today.packs):  # else its monitors see a pack's voltage, not the bus's
        sags_v = min(one.volt_v for one in gusts)
        by_rest_v = min(one.volt_v + pack_ohm * measured_a(today, one, first) for one in gusts)
        home_v = at_home(today, found, found.volt).volt_v
        rest_v = at_home(today, found, found.rest).compensated_v
        triggers = {
            "voltage": _trigger(limit.volt_v, sags_v, home_v),
            "compensated_voltage": _trigger(limit.compensated_v, by_rest_v, rest_v),
            **triggers,
        }
    return LowBattery(
        triggers,
        pack_ohm=pack_ohm,
        capacity_mah=1000.0 * today.whole_ah([rated_ah(today.packs[i]) for i in first]),
        used_share=_used_share(file, today),
    )


def _trigger(at: float, planned: float, way_home: float, *, rises: bool = False) -> Trigger:
    """Return a trigger; not usable where the plan itself takes it there."""
    if planned >= at if rises else planned <= at:
        return Trigger(
            at, planned, way_home, usable=False, why="the plan itself takes it there before the way home"
        )
    return Trigger(at, planned, way_home)


def _used_share(file: AircraftFile | None, today: Today) -> dict[int, float]:
    return {
        battery: 1.0 if today.series else math.fsum(today.supplies[i].share for i in packs)
        for battery, packs in measured(file, today).items()
    }
