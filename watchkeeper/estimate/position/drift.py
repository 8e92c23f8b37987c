"""Drift: which way and how fast it goes while nothing holds its place.

In a mode without position hold it is what the aircraft tells of its motion over ground, as long as nobody flies
it: for some seconds it hardly leaned, did not slow down (it would coast) and kept its way. Where the position is
not known, its own velocity says nothing any more; then it is the last known wind, with which it ends up.
"""

from __future__ import annotations

import math
from collections import deque
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import US, Stream
from watchkeeper.aircraft.readingtypes import COMPASS
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.estimate.air.wind import WindEstimate

UNHELD: Final = frozenset({"altitude_hold", "attitude", "rate"})
"""Modes that hold no place."""
WINDOW_US: Final = 4 * US
LEVEL: Final = math.tan(math.radians(5.0))
"""Leaning further it is flown: a level error is 2 degrees at most, gusts add some, hands off the sticks nothing
(common practice)."""
SLOWS_M_S: Final = 0.2
"""Slower by this than at the beginning of the window it coasts to a stop."""
STEADY: Final = math.cos(math.radians(45))
_VELOCITY_US: Final = 2 * US
_EVERY_US: Final = US // 2
_VALID: Final = INDEX["position.valid"]
_MODE: Final = INDEX["flight.mode"]
_TIME_LEFT: Final = INDEX["battery.time_left"]


class _Moment(NamedTuple):
    time_us: int
    north_m_s: float
    east_m_s: float
    lean: float


Values = tuple[float | None, str | None, float | None, float | None, float | None]


class Drift:
    """`drift.speed`, `drift.towards`, `drift.to`, `drift.distance`, and `position.time_left` beside them."""

    indexes = tuple(
        INDEX[name]
        for name in ("drift.speed", "drift.towards", "drift.to", "drift.distance", "position.time_left")
    )

    def __init__(self, aircraft: Aircraft, wind: WindEstimate) -> None:
        self._aircraft = aircraft
        self._wind = wind
        self._lost_us: int | None = None
        self._run_us = 0
        self._velocity_us = 0
        self._past: deque[_Moment] = deque(maxlen=32)
        self.stream = Stream()

    def run(self, now_us: int) -> Values | None:
        """Return m/s, direction as a word and in deg, m drifted, minutes left; None while nothing is new."""
        readings = self._aircraft.readings
        valid = readings.read(_VALID, now_us)
        if valid is True:
            self._lost_us = None
        elif valid is False and self._lost_us is None:
            self._lost_us = now_us
        if self._lost_us is not None:
            if now_us - self._run_us < _EVERY_US:
                return None
            self._run_us = now_us
            return self._by_wind((now_us - self._lost_us) / US, self._minutes(now_us))
        return self._by_motion(now_us)

    def _minutes(self, now_us: int) -> float | None:
        left_s = self._aircraft.readings.read(_TIME_LEFT, now_us)
        return left_s / 60 if isinstance(left_s, float) else None

    def _by_wind(self, lost_s: float, minutes: float | None) -> Values:
        wind = self._wind.state
        if wind is None:
            return None, None, None, None, minutes
        speed, to_deg, word = _way(wind.north_m_s, wind.east_m_s)
        return speed, word, to_deg, speed * lost_s, minutes

    def _by_motion(self, now_us: int) -> Values | None:
        aircraft = self._aircraft
        mode, motion = aircraft.readings.values[_MODE], aircraft.motion
        north, east = motion.north_m_s, motion.east_m_s
        if motion.velocity_us == self._velocity_us or north is None or east is None:
            return None
        self._velocity_us = motion.velocity_us
        if mode is None or mode == "other":
            return None, None, None, None, None
        if mode not in UNHELD:
            self._past.clear()
            return 0.0, None, None, None, None
        if now_us - motion.attitude_us > _VELOCITY_US:
            self._past.clear()
            return None, None, None, None, None
        self._past.append(_Moment(now_us, north, east, math.hypot(motion.lean_north, motion.lean_east)))
        if not self._unflown(now_us):
            return 0.0, None, None, None, None
        speed, to_deg, word = _way(north, east)
        return speed, word, to_deg, None, None

    def _unflown(self, now_us: int) -> bool:
        """Tell whether for the whole window nobody flew it, as far as lean and motion tell."""
        past = self._past
        while len(past) > 1 and now_us - past[1].time_us >= WINDOW_US:
            past.popleft()
        first, last = past[0], past[-1]
        if now_us - first.time_us < WINDOW_US or max(moment.lean for moment in past) > LEVEL:
            return False
        before, speed = math.hypot(first.north_m_s, first.east_m_s), math.hypot(last.north_m_s, last.east_m_s)
        if speed < before - SLOWS_M_S:
            return False
        along = first.north_m_s * last.north_m_s + first.east_m_s * last.east_m_s
        return before < 0.5 * speed or along > STEADY * before * speed  # from a standstill it had no way yet


def _way(north_m_s: float, east_m_s: float) -> tuple[float, float, str]:
    to_deg = math.degrees(math.atan2(east_m_s, north_m_s)) % 360
    return math.hypot(north_m_s, east_m_s), to_deg, COMPASS[round(to_deg / 45) % len(COMPASS)]
