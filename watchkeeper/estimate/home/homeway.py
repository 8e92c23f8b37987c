"""The way home as legs: what the aircraft is set to fly, from where it is now, in today's wind.

A ground speed is demanded; airspeed and power follow. Where the greatest airspeed binds, ground speed falls,
and home is out of reach when it cannot stay positive (the wind triangle; ICAO Doc 8168 calls its parts head and
cross wind).
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from watchkeeper.estimate.home.returnplan import DEFAULT_HOLD_S, ReturnPlan

LEAST_SPEED_M_S: Final = 0.5
"""Slower over ground than this is no way home."""
OVERHEAD_M: Final = 10.0
"""Nearer than this a return has arrived; position error included."""
LEAN_DOUBT: Final = 0.03
"""Of the airspeed that the greatest tilt gives, one deviation: what holding the track in gusts takes of it. Gusts
of 2.5 m/s across 20 m/s take 0.8 %, by geometry; how far it really leans is the rest (common practice)."""
_CLEAR: Final = 4.0
"""Deviations of the gusts, beyond which they take nothing of a speed."""
RISE_M_S2: Final = 0.8
"""Vertical acceleration (common practice): a climb of 20 m at 2.5 m/s takes 3 s more than its length."""


class Leg(NamedTuple):
    """A part of the way: name, time in s, airspeed and climb in m/s, and the height above home at its end in m."""

    name: str
    time_s: float
    airspeed_m_s: float
    climb_m_s: float
    end_m: float


class HomeWind(NamedTuple):
    """Wind as it meets a flight home, m/s: speed, its parts against and across the track, and its gusts.

    `gust_m_s` is the standard deviation of the gusts along the track.
    """

    speed_m_s: float = 0.0
    head_m_s: float = 0.0
    cross_m_s: float = 0.0
    gust_m_s: float = 0.0

    def stronger(self, more_m_s: float) -> HomeWind:
        """Return a wind with so much more against the track."""
        return self._replace(speed_m_s=self.speed_m_s + more_m_s, head_m_s=self.head_m_s + more_m_s)


STILL: Final = HomeWind()


class WindDoubt(NamedTuple):
    """How uncertain the wind home is, as standard deviations.

    `scale`: of its speed as a part, together with the airspeed that a tilt gives: where both come of a drag that
    is not known, more wind is also more airspeed to fly against it. `rest_m_s`: of the head wind beyond that.
    """

    scale: float = 0.0
    rest_m_s: float = 0.0


def scaled(plan: ReturnPlan, wind: HomeWind, factor: float) -> tuple[ReturnPlan, HomeWind]:
    """Return a plan and a wind with the scale of all airspeeds changed."""
    return plan._replace(airspeed_m_s=plan.airspeed_m_s * factor), HomeWind(*(part * factor for part in wind))


def leaning_less(plan: ReturnPlan, deviations: float = 1.0) -> ReturnPlan:
    """Return a plan in which less of the greatest tilt can be used for the way."""
    return plan._replace(airspeed_m_s=plan.airspeed_m_s * (1.0 - deviations * LEAN_DOUBT))


class Start(NamedTuple):
    """Where a return begins: distance and height, speed away from home, and what of it is behind already.

    `done` holds names of legs; `held_s` is how long the hold has lasted.
    """

    distance_m: float
    height_m: float
    outward_m_s: float = 0.0
    climb_m_s: float = 0.0
    done: frozenset[str] = frozenset()
    held_s: float = 0.0


def speed_home(plan: ReturnPlan, wind: HomeWind) -> float:
    """Return the mean speed made good on the way home, m/s; negative when it would be blown back.

    What the greatest airspeed leaves of a head wind comes and goes with the gusts, and the speed that is asked for
    cuts off what would be over it: the mean of the lesser of the two (Clark, Operations Research 9, 1961; from
    memory).
    """
    along = plan.airspeed_m_s**2 - wind.cross_m_s**2
    if along <= 0.0:
        return -wind.speed_m_s
    short_m_s = plan.speed_m_s - (math.sqrt(along) - wind.head_m_s)
    if wind.gust_m_s <= 0.0 or short_m_s < -_CLEAR * wind.gust_m_s:
        return plan.speed_m_s - max(0.0, short_m_s)
    off = short_m_s / wind.gust_m_s
    below = 0.5 * math.erfc(-off / math.sqrt(2.0))
    return plan.speed_m_s - short_m_s * below - wind.gust_m_s * math.exp(-0.5 * off * off) / math.sqrt(math.tau)


def way_home(plan: ReturnPlan, start: Start, wind: HomeWind = STILL) -> list[Leg] | None:
    """Return the legs home in the plan's order; None where the wind leaves no way home.

    One that stays in the air over home is taken to be landed by hand after the usual hold.
    """
    order = plan.order if plan.lands else (*(name for name in plan.order if name != "land"), "land")
    hold_s = plan.hold_s if math.isfinite(plan.hold_s) else DEFAULT_HOLD_S
    height = start.height_m
    top = plan.top_m(height, start.distance_m)
    legs: list[Leg] = []
    faced = "cruise" in start.done or bool(start.done)
    for name in order:
        if name in start.done:
            continue
        match name:
            case "climb":
                up = max(0.0, top - height)
                if up > 0.0:
                    begun = min(1.0, max(0.0, start.climb_m_s / plan.climb_m_s))
                    time_s = _moved_s(up, plan.climb_m_s, RISE_M_S2, begun)
                    legs.append(Leg(name, time_s, wind.speed_m_s, plan.climb_m_s, top))
                    height = top
            case "cruise":
                leg = _cruise(plan, start, wind, height, faced=faced)
                if leg is None:
                    return None
                legs.extend(leg)
            case "descend":
                bottom = plan.hold_m if plan.hold_m is not None else plan.landing_from_m
                down = max(0.0, height - bottom)
                if down > 0.0:
                    legs.append(Leg(name, down / plan.descent_m_s, wind.speed_m_s, -plan.descent_m_s, bottom))
                    height = bottom
            case "hold":
                legs.append(Leg(name, max(0.0, hold_s - start.held_s), wind.speed_m_s, 0.0, height))
            case _:
                legs.extend(_landing(plan, max(0.0, height), wind))
                height = 0.0
    return legs


def _cruise(plan: ReturnPlan, start: Start, wind: HomeWind, height_m: float, *, faced: bool) -> list[Leg] | None:
    speed_m_s = speed_home(plan, wind)
    distance_m = start.distance_m
    if speed_m_s < LEAST_SPEED_M_S:
        return None if distance_m > OVERHEAD_M else []
    # an aircraft on its way out first comes to rest, further away
    stopping_m = 0.5 * max(0.0, start.outward_m_s) ** 2 / plan.acceleration_m_s2
    way_m = distance_m + stopping_m
    under_way = min(1.0, max(0.0, -start.outward_m_s / speed_m_s))  # of the speed home that it already has
    time_s = _moved_s(way_m, speed_m_s, plan.acceleration_m_s2, under_way)
    airspeed_m_s = math.hypot(speed_m_s + wind.head_m_s, wind.cross_m_s)
    legs = [] if faced else [Leg("turn", plan.turn_s + max(0.0, start.outward_m_s) / plan.acceleration_m_s2,
                                 wind.speed_m_s, 0.0, height_m)]  # fmt: skip
    return [*legs, Leg("cruise", time_s, airspeed_m_s, 0.0, height_m)]


def _moved_s(way_m: float, speed_m_s: float, acceleration_m_s2: float, begun: float) -> float:
    """Return the time from rest to rest over a way, s; `begun` is the share of the speed that it has at its start.

    Each change of speed takes half its time more than the way at full speed. A short way never sees full speed.
    """
    time_s = way_m / speed_m_s + speed_m_s / acceleration_m_s2 * (1.0 - 0.5 * begun)
    if way_m < speed_m_s**2 / acceleration_m_s2:
        return min(time_s, 2.0 * math.sqrt(way_m / acceleration_m_s2))
    return time_s


def _landing(plan: ReturnPlan, height_m: float, wind: HomeWind) -> list[Leg]:
    """Return the way down: fast, slowing down, and slow near the ground."""
    legs: list[Leg] = []
    low_m = min(height_m, plan.landing_from_m)
    ramp_m = min(height_m, max(low_m, plan.landing_ramp_m))
    between_m_s = 0.5 * (plan.landing_fast_m_s + plan.landing_m_s)
    for from_m, to_m, sink_m_s in (
        (height_m, ramp_m, plan.landing_fast_m_s),
        (ramp_m, low_m, between_m_s),
        (low_m, 0.0, plan.landing_m_s),
    ):
        if from_m > to_m or to_m == 0.0:
            legs.append(Leg("land", (from_m - to_m) / sink_m_s, wind.speed_m_s, -sink_m_s, to_m))
    return legs
