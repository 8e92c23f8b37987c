"""What part of a flight an aircraft is in: a table first.

The landed state is taken from EXTENDED_SYS_STATE where it is sent, else inferred from height, speed and
throttle. What is inferred has to hold for a while before the phase follows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from watchkeeper.aircraft.readings import US

UNDEFINED, ON_GROUND, IN_AIR, TAKING_OFF, LANDING = range(5)  # MAV_LANDED_STATE

LIFT_M: Final = 1.5
"""Higher than this over the place of arming it flies: above the drift of a barometer in a minute or two."""
CLIMBED_M: Final = 5.0
"""The take-off ends at this height, about the usual first hover of 10 to 15 ft (common practice)."""
STILL_M_S: Final = 0.3
STILL_US: Final = 2 * US
STILL_IDLE_US: Final = 1 * US
"""With the throttle at idle less is enough: falling, it would not be still."""
IDLE_PCT: Final = 5
SINK_M_S: Final = -0.25
SLOW_M_S: Final = 1.5
SINK_US: Final = 1 * US
RISE_US: Final = 2 * US
TAKE_OFF_LIMIT_US: Final = 60 * US
LOW_M: Final = 1.0
LIGHT_PCT: Final = 15
"""No multirotor hovers on so little throttle."""


@dataclass(slots=True)
class Facts:
    """What the phase is judged by. Unknown is None (heights and speeds in m and m/s, up positive)."""

    armed: bool
    mode: str
    landed: int = UNDEFINED
    height_m: float | None = None
    climb_m_s: float | None = None
    speed_m_s: float | None = None
    throttle_pct: float | None = None
    plan_returns: bool = False
    plan_lands: bool = False


class PhaseTracker:
    """Follows the phase of one power-up. `update` returns it, None until it can be known."""

    __slots__ = ("_armed", "_ground_m", "_off_us", "_rise_us", "_sink_us", "_still_us", "phase")

    def __init__(self) -> None:
        self.phase: str | None = None
        self._armed = False
        self._ground_m: float | None = None
        self._still_us: int | None = None
        self._sink_us: int | None = None
        self._rise_us: int | None = None
        self._off_us = 0

    def update(self, facts: Facts, now_us: int) -> str | None:
        """Take in what is known now."""
        still_us = self._held("_still_us", self._is_still(facts), now_us)
        idle = facts.throttle_pct is not None and facts.throttle_pct < IDLE_PCT
        still = still_us >= (STILL_IDLE_US if idle else STILL_US)
        sinking = self._held("_sink_us", self._is_sinking(facts), now_us) >= SINK_US
        rising = self._held("_rise_us", (facts.climb_m_s or 0.0) > -SINK_M_S, now_us) >= RISE_US
        phase = self._next(facts, now_us, still=still, sinking=sinking, rising=rising)
        if phase != self.phase:
            if phase == "taking_off":
                self._off_us = now_us
            if phase in {"on_ground", "landed", "armed"}:
                self._ground_m = facts.height_m
            self.phase = phase
        self._armed = facts.armed
        return phase

    def _next(self, facts: Facts, now_us: int, *, still: bool, sinking: bool, rising: bool) -> str | None:
        phase = self.phase
        if phase is None:
            return self._first(facts)
        if phase in {"on_ground", "landed", "armed"}:
            if not facts.armed:
                if facts.height_m is not None and phase == "on_ground":
                    self._ground_m = facts.height_m
                return (
                    "landed"
                    if phase == "armed" and self._ground_m is None
                    else "on_ground"
                    if phase == "armed"
                    else phase
                )
            if phase == "landed" and not self._armed:
                return "armed"
            if self._flies(facts):
                return self._airborne(facts, sinking=False, rising=True) if phase == "landed" else "taking_off"
            return "armed" if phase == "on_ground" else phase
        if self._is_down(facts, still=still):
            return "landed"
        if phase == "taking_off" and facts.landed in {UNDEFINED, TAKING_OFF}:
            low = facts.height_m is None or facts.height_m - (self._ground_m or 0.0) < CLIMBED_M
            if low and facts.mode not in {"safe_recovery", "land"} and now_us - self._off_us < TAKE_OFF_LIMIT_US:
                return phase
        return self._airborne(facts, sinking=sinking, rising=rising)

    def _first(self, facts: Facts) -> str | None:
        """Return the phase of an aircraft that is heard for the first time."""
        if not facts.armed:
            high = (
                facts.landed in {UNDEFINED, IN_AIR} and (facts.height_m or 0.0) > 3.0 and not self._is_still(facts)
            )
            return "airborne" if high and facts.landed == IN_AIR else "on_ground"
        if facts.landed == ON_GROUND:
            return "armed"
        if facts.landed != UNDEFINED:
            return self._airborne(facts, sinking=False, rising=False)
        if facts.height_m is None:
            return None  # unknown counts as in flight
        if facts.height_m > LIFT_M or (facts.speed_m_s or 0.0) > SLOW_M_S:
            return self._airborne(facts, sinking=False, rising=False)
        return "armed"

    def _flies(self, facts: Facts) -> bool:
        if facts.landed != UNDEFINED:
            return facts.landed != ON_GROUND
        if facts.height_m is None:
            return False
        return facts.height_m - (self._ground_m or 0.0) > LIFT_M and (
            facts.throttle_pct is None or facts.throttle_pct > 0
        )

    def _is_down(self, facts: Facts, *, still: bool) -> bool:
        if facts.landed != UNDEFINED:
            return facts.landed == ON_GROUND
        if not facts.armed:
            low = facts.height_m is None or facts.height_m - (self._ground_m or 0.0) < 2 * LIFT_M
            return still or low
        above_m = None if facts.height_m is None else facts.height_m - (self._ground_m or 0.0)
        if facts.throttle_pct is not None and facts.throttle_pct >= IDLE_PCT and facts.mode != "land":
            return still and above_m is not None and abs(above_m) < LOW_M and facts.throttle_pct < LIGHT_PCT
        return still and (above_m is None or above_m < 2 * LIFT_M)

    def _airborne(self, facts: Facts, *, sinking: bool, rising: bool) -> str:
        if facts.mode == "land" or facts.landed == LANDING or facts.plan_lands:
            return "landing"
        if facts.mode == "safe_recovery" or facts.plan_returns:
            if self.phase == "landing":
                return "returning" if rising else "landing"
            return "landing" if sinking else "returning"
        return "airborne"

    @staticmethod
    def _is_still(facts: Facts) -> bool:
        moving = (facts.speed_m_s or 0.0) > 2 * STILL_M_S or abs(facts.climb_m_s or 0.0) > STILL_M_S
        return not moving and facts.climb_m_s is not None

    @staticmethod
    def _is_sinking(facts: Facts) -> bool:
        return (facts.climb_m_s or 0.0) < SINK_M_S and facts.speed_m_s is not None and facts.speed_m_s < SLOW_M_S

    def _held(self, name: str, holds: bool, now_us: int) -> int:
        """Return for how long something has held, -1 if it does not."""
        since: int | None = getattr(self, name)
        if not holds:
            setattr(self, name, None)
            return -1
        if since is None:
            setattr(self, name, now_us)
            return 0
        return now_us - since
