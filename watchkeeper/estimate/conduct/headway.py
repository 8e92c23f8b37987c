"""Whether a return gets on: it closes on home, or does what else returns do, for as long as they do it.

A return turns, climbs, descends and holds in place, in an order of its own; what is flown in place does not carry
the aircraft away. So vertical motion, a turn and a hold count as headway only while it is not carried away, and
turn and hold only for as long as they last. Braking at the start has its time too.
"""

from __future__ import annotations

import math
from collections import deque
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.modes import RETRACES
from watchkeeper.aircraft.readings import US, Stream
from watchkeeper.estimate.home.homeway import LEAST_SPEED_M_S
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.packs.pack import number
from watchkeeper.estimate.part import Known

WINDOW_S: Final = 6.0
SPAN_S: Final = 2.5
"""Speeds out of less than this are noise (position errors of half a metre give 0.3 m/s)."""
VERTICAL_M_S: Final = 0.3
CARRIED_M_S: Final = 1.0
"""Faster away from home than this it does not stay in place."""
TURN_RAD_S: Final = math.radians(4.0)
TURNING_S: Final = 20.0
"""All turning on the spot of one return: half a turn at 9 deg/s (common practice: 20 to 90 deg/s)."""
USUAL_HOLD_S: Final = 45.0
"""A hold of an order that is not known (facts.md 14)."""
SETTLING_S: Final = 8.0
"""Coming to rest in a hold, and out of it again."""
STEADY_SHARE: Final = 0.8
"""Of the tilt limit. Who holds on purpose leans less; more, and it is held by the wind."""
STICKS_US: Final = 4 * US
_GAP_S: Final = 5.0

_PHASE: Final = INDEX["flight.phase"]
_DISTANCE: Final = INDEX["position.home_distance"]
_HEIGHT: Final = INDEX["position.height"]
_SPEED: Final = INDEX["position.ground_speed"]
_TILT: Final = INDEX["flight.tilt"]
_LIMIT: Final = INDEX["flight.tilt_limit"]


class _Look(NamedTuple):
    time_us: int
    distance_m: float
    height_m: float
    yaw_rad: float


class Headway:
    """`return.standstill`."""

    indexes = (INDEX["return.standstill"],)

    def __init__(self, known: Known) -> None:
        self._aircraft = known.aircraft
        self._own = known.own
        self._looks: deque[_Look] = deque()
        self._count = 0
        self._still_s = 0.0
        self._brake_s = 0.0
        self._turned_s = 0.0
        self._held_s = 0.0
        self._returns = False
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None] | None:
        """Return the time in s, None within for unknown; None when no position came or it does not return."""
        readings = self._aircraft.readings
        if readings.values[_PHASE] != "returning":
            self._returns = False
            return None
        stream = readings.streams[_DISTANCE]
        distance_m, height_m = number(readings, _DISTANCE, now_us), number(readings, _HEIGHT, now_us)
        if stream is None or distance_m is None or height_m is None:
            self._looks.clear()
            return (None,)
        if stream.count == self._count:
            return None
        self._count = stream.count
        yaw_rad = self._aircraft.intended.yaw_rad
        look = _Look(stream.time_us, distance_m, height_m, yaw_rad)
        speed_m_s = number(readings, _SPEED, now_us) or 0.0
        plan = self._own.plan()
        if not self._returns:
            self._begin(speed_m_s, plan)
        step_s = (look.time_us - self._looks[-1].time_us) / US if self._looks else 0.0
        if step_s > _GAP_S:
            self._looks.clear()
            step_s = 0.0
        self._looks.append(look)
        while look.time_us - self._looks[0].time_us > WINDOW_S * US:
            self._looks.popleft()
        self._judge(look, step_s, speed_m_s, plan, now_us)
        return (self._still_s,)

    def _begin(self, speed_m_s: float, plan: ReturnPlan) -> None:
        self._returns = True
        self._looks.clear()
        self._still_s = self._turned_s = self._held_s = 0.0
        # to come to rest from the way out, and to face home meanwhile
        self._brake_s = max(speed_m_s / plan.acceleration_m_s2, plan.turn_s)

    def _judge(self, look: _Look, step_s: float, speed_m_s: float, plan: ReturnPlan, now_us: int) -> None:
        """Count on, or begin anew."""
        if self._brake_s > 0.0:
            self._brake_s -= step_s
            return
        first = self._looks[0]
        span_s = (look.time_us - first.time_us) / US
        if span_s < SPAN_S:
            return
        away_m_s = (look.distance_m - first.distance_m) / span_s
        up_m_s = (look.height_m - first.height_m) / span_s
        if self._gets_on(away_m_s, up_m_s, speed_m_s, now_us) or self._in_place(
            away_m_s, speed_m_s, step_s, plan, now_us
        ):
            self._still_s = 0.0
        else:
            self._still_s += step_s

    def _gets_on(self, away_m_s: float, up_m_s: float, speed_m_s: float, now_us: int) -> bool:
        """Whether it moves as a return does, or is flown by hand."""
        intended = self._aircraft.intended
        if away_m_s < -LEAST_SPEED_M_S or 0 < now_us - intended.stick_us < STICKS_US:
            return True
        if self._elsewhere() and speed_m_s > LEAST_SPEED_M_S:
            return True
        return away_m_s < CARRIED_M_S and abs(up_m_s) > VERTICAL_M_S

    def _elsewhere(self) -> bool:
        """Whether it may return to another place than home, or along the way it came."""
        settings = self._own.settings()
        to = settings.return_to.word if settings is not None else None
        return to in {"nearest", "safe_points"} or self._aircraft.modes.name in RETRACES

    def _in_place(self, away_m_s: float, speed_m_s: float, step_s: float, plan: ReturnPlan, now_us: int) -> bool:
        """Whether it turns or holds on the spot, and has not done so for too long."""
        if away_m_s > CARRIED_M_S or speed_m_s > CARRIED_M_S:
            return False
        first, last = self._looks[0], self._looks[-1]
        turned_rad = abs(math.remainder(last.yaw_rad - first.yaw_rad, math.tau))
        if turned_rad > TURN_RAD_S * (last.time_us - first.time_us) / US and self._turned_s < TURNING_S:
            self._turned_s += step_s
            return True
        if self._leans_hard(now_us):
            return False
        self._held_s += step_s
        return self._held_s < self._hold_s(plan) + SETTLING_S

    def _leans_hard(self, now_us: int) -> bool:
        readings = self._aircraft.readings
        tilt_deg, limit_deg = number(readings, _TILT, now_us), number(readings, _LIMIT, now_us)
        return tilt_deg is not None and limit_deg is not None and tilt_deg > STEADY_SHARE * limit_deg

    def _hold_s(self, plan: ReturnPlan) -> float:
        """Return how long it may hold away from home: only its own settings say for sure where its hold comes."""
        settings = self._own.settings()
        order = settings.return_order.words if settings is not None else None
        if order is None:
            return USUAL_HOLD_S
        if "hold" in order and ("cruise" not in order or order.index("hold") < order.index("cruise")):
            return plan.hold_s
        return 0.0
