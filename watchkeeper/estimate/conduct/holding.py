"""Whether it keeps the place that it holds.

It holds where it has come to rest, in a mode that keeps its place. From there it may be moved by the pilot's
sticks, by an order to go somewhere, or against its will. Sticks are seen where their channels are in the stream;
orders where stations are heard, or where the aircraft tells how far it has to go. Where neither an order nor its
absence can be seen, two things tell a hold that gives way from a flight that was ordered: who is ordered gets up
speed, who gives way creeps; and who gives way to the wind leans against its own motion, as far as it can. Where
the sticks cannot be seen only the last of these counts.
"""

from __future__ import annotations

import math
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.geodesy import Around
from watchkeeper.aircraft.intended import STICK_US
from watchkeeper.aircraft.readings import US, Stream
from watchkeeper.estimate.conduct.leanspeed import lean_speed_m_s
from watchkeeper.estimate.packs.pack import number
from watchkeeper.estimate.part import Known

REST_M_S: Final = 0.5
RESTS_US: Final = 3 * US
REST_M: Final = 1.0
SURE_US: Final = 20 * US
"""Within a metre for so long it does not creep: slower than 0.05 m/s is how a satellite position wanders."""
CREEP_M_S: Final = 2.0
"""An ordered way of 10 m with the usual 1 to 2 m/s2 passes this in its middle; a hold gives way slower."""
LEAN_SHARE: Final = 0.85
"""Of the tilt limit: what is left is wanted to correct."""
AGAINST: Final = 0.5
"""Cosine between lean and motion, negative: it leans within 60 degrees of straight against it."""
_GAP_US: Final = 5 * US

_PHASE: Final = INDEX["flight.phase"]
_MODE: Final = INDEX["flight.mode"]
_SPEED: Final = INDEX["position.ground_speed"]
_TILT: Final = INDEX["flight.tilt"]
_LIMIT: Final = INDEX["flight.tilt_limit"]


class Holding:
    """`hold.moved_away`."""

    indexes = (INDEX["hold.moved_away"],)

    def __init__(self, known: Known) -> None:
        self._aircraft = known.aircraft
        self._count = 0
        self._last_us = 0
        self._rest_us = 0
        self._rest_at: Around | None = None
        self._anchor: Around | None = None
        self._anchored_us = 0
        self._neutral: tuple[int, ...] = ()
        self._holds: bool | None = None
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float] | None:
        """Return the distance in m; None when no position came or it does not hold."""
        aircraft = self._aircraft
        values = aircraft.readings.values
        if values[_PHASE] != "airborne" or values[_MODE] != "position_hold":
            if self._holds is False or not aircraft.streams.position.count:
                return None
            self._let_go()
            self._holds = False
            return (0.0,)
        stream = aircraft.streams.position
        if stream.count == self._count:
            return None
        self._count, position = stream.count, aircraft.position
        gap_us, self._last_us, self._holds = stream.time_us - self._last_us, stream.time_us, True
        speed_m_s = number(aircraft.readings, _SPEED, now_us)
        moved = self._sticks_moved()
        if position is None or speed_m_s is None or gap_us > _GAP_US or moved:
            self._let_go()
            return (0.0,)
        self._rest(position, speed_m_s, stream.time_us)
        if self._anchor is None:
            return (0.0,)
        return (self._moved_away(position, speed_m_s, now_us),)

    def _let_go(self) -> None:
        self._anchor = self._rest_at = None
        self._neutral = ()

    def _rest(self, position: tuple[float, float], speed_m_s: float, now_us: int) -> None:
        """Hold where it has come to rest: at first soon, after giving way when that is sure."""
        rest = self._rest_at
        if rest is None or rest.to(*position)[0] > REST_M or (self._anchor is None and speed_m_s > REST_M_S):
            self._rest_at, self._rest_us = Around(*position), now_us
        elif now_us - self._rest_us >= (RESTS_US if self._anchor is None else SURE_US):
            self._anchor, self._anchored_us, self._rest_us = rest, now_us, now_us

    def _sticks_moved(self) -> bool:
        """Whether the sticks left the place that they had when it came to rest, or a station sent other ones."""
        intended = self._aircraft.intended
        seen = intended.take_sticks()
        if intended.stick_us > self._last_us - _GAP_US:
            return True
        if seen is None:
            return False
        low, high = seen
        if not self._neutral:
            self._neutral = tuple((least + most) // 2 for least, most in zip(low, high, strict=True))
        return any(
            least < middle - STICK_US or most > middle + STICK_US
            for least, most, middle in zip(low, high, self._neutral, strict=True)
        )

    def _moved_away(self, position: tuple[float, float], speed_m_s: float, now_us: int) -> float:
        """Return how far it is from where it came to rest, if it was neither flown nor sent."""
        intended = self._aircraft.intended
        assert self._anchor is not None
        if max(intended.move_us, intended.target_us) > self._anchored_us:
            self._let_go()
            return 0.0
        away_m, _ = self._anchor.to(*position)
        if self._gives_way(now_us):
            return away_m
        if not intended.sticks_seen(now_us):
            return 0.0
        if speed_m_s > CREEP_M_S and not intended.orders:
            self._let_go()
            return 0.0
        return away_m

    def _gives_way(self, now_us: int) -> bool:
        """Whether it leans against its own motion as far as it can."""
        aircraft = self._aircraft
        readings, motion = aircraft.readings, aircraft.motion
        tilt_deg, limit_deg = number(readings, _TILT, now_us), number(readings, _LIMIT, now_us)
        if tilt_deg is None or limit_deg is None or tilt_deg < LEAN_SHARE * limit_deg:
            return False
        along_m_s, north_m_s, east_m_s = lean_speed_m_s(motion, now_us), motion.north_m_s, motion.east_m_s
        if along_m_s is None or north_m_s is None or east_m_s is None:
            return False
        return along_m_s < -AGAINST * math.hypot(north_m_s, east_m_s)
