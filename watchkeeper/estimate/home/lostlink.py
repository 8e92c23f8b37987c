"""Where it should be while it is not heard: the running forecast of an aircraft that does as it is set.

The last readings stay as they were. From them the aircraft goes on as it then did until its own fail-safe acts,
and then flies its return; every second that passes and every metre that is flown widen the bounds. When it
should be over home, at what height, and when that is overdue: by then it is either there or does not do as it
is set.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX, PHASE_GROUPS
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.aircraft.vocabulary import Settings
from watchkeeper.estimate.home.homeway import OVERHEAD_M, HomeWind, Leg, Start, leaning_less, way_home
from watchkeeper.estimate.home.returnplan import ReturnPlan

SILENT_US: Final = 3_000_000
UNKNOWN_DELAY_S: Final = 5.0
"""Of a fail-safe whose delay is not known (common practice: 1 to 5 s)."""
POSITION_M: Final = 10.0
WAY_SHARE: Final = 0.10
"""Standard deviation of a distance flown unseen: wind, corners, a speed that is not quite the one that is set."""
UNTOLD_SHARE: Final = 0.25
"""The same, where speeds are those of defaults."""
TIME_S: Final = 5.0
BOUND: Final = 2.0
_OVER_HOME_M: Final = 2.0 * OVERHEAD_M
_RETURNS: Final = frozenset({"return", "retrace", "return_or_land"})
_ENDS: Final = frozenset({"land", "stop_motors"})
_KEPT_IN: Final = {
    "mission": frozenset({"mission"}), "external": frozenset({"external"}), "orbit": frozenset({"hold"}),
    "position_hold": frozenset({"hold", "by_hand"}), "land": frozenset({"landing"}),
    "altitude_hold": frozenset({"by_hand"}), "attitude": frozenset({"by_hand"}), "rate": frozenset({"by_hand"}),
}  # fmt: skip
"""By mode, the words of `control_lost_kept` and `station_lost_kept` under which it goes on as it is."""
_MODE: Final = INDEX["flight.mode"]
_PHASE: Final = INDEX["flight.phase"]
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]
NAMES: Final = (
    "forecast.home_distance", "forecast.height", "forecast.doubt", "forecast.overhead_in", "forecast.overdue_in",
    "forecast.landed_in",
)  # fmt: skip


class LastSeen(NamedTuple):
    """What was last known: where a return would begin, how it moved, what had gone before, and when."""

    start: Start
    plan: ReturnPlan
    wind: HomeWind
    returning: bool
    time_us: int


class Forecast(NamedTuple):
    """Where it should be, m, with its standard deviation; s until overhead, until overdue, until landed.

    Negative times: since when.
    """

    distance_m: float
    height_m: float
    doubt_m: float
    overhead_in_s: float
    overdue_in_s: float | None
    landed_in_s: float | None


def delay_s(settings: Settings | None, mode: str | None, *, control_too: bool, stated: bool) -> float | None:
    """Return after how many seconds of silence it returns by itself; None where nothing says that it does.

    `mode` is what it last flew; in some a lost link is disregarded. `control_too`: the pilot's control goes over
    the lost link. `stated`: the crew states a return. One that also lands by itself ends who knows where.
    """
    if settings is not None:
        rows = [(settings.station_lost_action, settings.station_lost_s, settings.station_lost_kept)]
        if control_too:
            rows.append((settings.control_lost_action, settings.control_lost_s, settings.control_lost_kept))
        goes_on = _KEPT_IN.get(mode or "", frozenset())
        acting = [
            (action.word, after.number if after.number is not None else UNKNOWN_DELAY_S)
            for action, after, kept in rows
            if after.word != "off" and not goes_on.intersection(kept.words or ())
        ]
        if any(word in _ENDS for word, _ in acting):
            return None
        delays = [after_s for word, after_s in acting if word in _RETURNS]
        if delays:
            return min(delays)
        if control_too and any(action.word is not None for action, _, _ in rows):
            return None  # it does something else
    return UNKNOWN_DELAY_S if control_too and stated else None


def forecast(seen: LastSeen, after_s: float | None, stated: bool, silent_s: float) -> Forecast | None:
    """Return where it should be `silent_s` after it was last heard; None where it has no way home.

    `after_s` is when its own return begins (None: it does not), `stated` whether speeds are known and not
    defaults. One that is over home already is overdue when it should have landed.
    """
    if not seen.returning and after_s is None:
        return None
    start, plan = seen.start, seen.plan
    if "cruise" in start.done and start.distance_m > _OVER_HOME_M:
        return None  # it lands where it is
    wait_s = 0.0 if seen.returning or after_s is None else after_s
    begin = start._replace(distance_m=max(0.0, start.distance_m + start.outward_m_s * wait_s))
    legs = way_home(plan, begin, seen.wind)
    if legs is None:
        return None
    if not plan.lands:
        legs = [leg for leg in legs if leg.name != "land"]  # nobody is there to land it by hand
    slow = way_home(leaning_less(plan, BOUND), begin, seen.wind)  # where it leans as far as it can
    share = WAY_SHARE if stated else UNTOLD_SHARE
    cruise_end = _cruise_end(legs)
    overhead_s = wait_s + sum(leg.time_s for leg in legs[:cruise_end])
    landed_s = wait_s + sum(leg.time_s for leg in legs) if plan.lands else None
    distance_m, height_m, flown_m = _at(seen, begin, legs, wait_s, silent_s)
    due_s = overhead_s if cruise_end else landed_s
    late_s = behind_m = None
    if slow is not None:
        slower_s = _cruise_s(slow) - _cruise_s(legs)
        late_s = math.hypot(BOUND * math.hypot(TIME_S, share * (due_s or 0.0)), slower_s)
        behind_m = (_at(seen, begin, slow, wait_s, silent_s)[0] - distance_m) / BOUND
    return Forecast(
        distance_m,
        height_m,
        math.hypot(POSITION_M, share * flown_m, behind_m if behind_m is not None else flown_m / BOUND),
        overhead_s - silent_s,
        due_s + late_s - silent_s if due_s is not None and late_s is not None else None,
        landed_s - silent_s if landed_s is not None else None,
    )


def _cruise_s(legs: list[Leg]) -> float:
    return sum(leg.time_s for leg in legs if leg.name == "cruise")


def _cruise_end(legs: list[Leg]) -> int:
    """Return after which leg it is over home."""
    return next((i + 1 for i in range(len(legs) - 1, -1, -1) if legs[i].name == "cruise"), 0)


def _at(
    seen: LastSeen, begin: Start, legs: list[Leg], wait_s: float, silent_s: float
) -> tuple[float, float, float]:
    """Return distance from home, height, and the way flown unseen, m."""
    start = seen.start
    if silent_s < wait_s:
        moved_m = start.outward_m_s * silent_s
        return max(0.0, start.distance_m + moved_m), start.height_m, abs(moved_m)
    left_s = silent_s - wait_s
    distance_m, height_m = begin.distance_m, begin.height_m
    flown_m = abs(begin.distance_m - start.distance_m)
    for name, leg_s, _, _, end_m in legs:
        part = min(1.0, left_s / leg_s) if leg_s > 0.0 else 1.0
        flown_m += part * abs(end_m - height_m)
        height_m += part * (end_m - height_m)
        if name == "turn":  # on its way out it comes to rest further away
            stopping_m = part * 0.5 * max(0.0, begin.outward_m_s) ** 2 / seen.plan.acceleration_m_s2
            flown_m += stopping_m
            distance_m += stopping_m
        if name == "cruise":
            flown_m += part * distance_m
            distance_m *= 1.0 - part
        left_s -= leg_s
        if left_s <= 0.0:
            break
    return distance_m, height_m, flown_m


class LostLink:
    """`forecast.…` while an aircraft in flight is not heard; blind while it is."""

    indexes = tuple(INDEX[name] for name in NAMES)

    def __init__(
        self,
        readings: Readings,
        settings: Callable[[], Settings | None],
        seen: Callable[[], LastSeen | None],
        *,
        control_too: bool,
        stated: bool,
    ) -> None:
        """`seen` gives what was last known; `stated`: the aircraft file says how it returns."""
        self._readings = readings
        self._settings = settings
        self._seen = seen
        self._control_too = control_too
        self._stated = stated
        self._shown = False
        self.stream = Stream()

    def run(self, _: int) -> list[float | None] | None:
        """Return nothing new while it is heard; once, that there is no forecast any more."""
        if not self._shown:
            return None
        self._shown = False
        return [None] * len(NAMES)

    def silent(self, now_us: int, heard_us: int) -> list[float | None] | None:
        """Return the forecast's values, `heard_us` being when it was last heard; None where there is none."""
        if now_us - heard_us < SILENT_US or self._readings.values[_PHASE] not in _IN_FLIGHT:
            return None
        seen = self._seen()
        if seen is None:
            return None
        settings = self._settings()
        after_s = delay_s(
            settings, self._readings.values[_MODE], control_too=self._control_too, stated=self._stated
        )
        stated = self._stated or (settings is not None and settings.return_speed_m_s.value is not None)
        found = forecast(seen, after_s, stated, (now_us - seen.time_us) / 1e6)
        if found is None:
            return None
        self._shown = True
        return list(found)
