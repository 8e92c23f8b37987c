"""Vibration: its level, what is too much for this aircraft, and clipping.

Levels of VIBRATION (241) along an axis under 30 m/s2 are fine, over 60 m/s2 bad (common practice). In between
it depends on the airframe: more than twice this flight's own hover, with a damaged rotor or a loose arm in
mind, is too much. The aircraft file may set the limit instead.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.motors import Vibration
from watchkeeper.aircraft.readings import US, Readings, Stream
from watchkeeper.estimate.airframe.hover import Baseline, Flown

FINE_M_S2: Final = 30.0
BAD_M_S2: Final = 60.0
RISE: Final = 2.0
SMOOTH_US: Final = 2 * US
CLIP_SPAN_US: Final = 10 * US
MOST_ADDED: Final = 100_000
"""A counter that leaps by more within one message has been overwritten, not counted."""


class VibrationLevel:
    """`vibration.level`, `vibration.limit`, `vibration.clipping`."""

    indexes = (INDEX["vibration.level"], INDEX["vibration.limit"], INDEX["vibration.clipping"])

    def __init__(self, readings: Readings, told: Vibration, limit_m_s2: float | None) -> None:
        self.stream = Stream()
        self._told = told
        self._flown = Flown(readings)
        self._own_m_s2 = limit_m_s2
        self._seen = 0
        self._flight = 0
        self._level: float | None = None
        self._last_us = 0
        self._baseline = Baseline()
        self._counts: tuple[int, ...] | None = None
        self._clips: deque[tuple[int, int]] = deque(maxlen=64)

    def run(self, now_us: int) -> Sequence[float | None] | None:
        """Return level and limit in m/s2 and clips of the last 10 s; None when no sample came."""
        told = self._told
        if told.stream.count == self._seen:
            return None
        self._seen = told.stream.count
        flies = self._flown.look(now_us)
        if self._flown.number != self._flight:
            self._flight = self._flown.number
            self._baseline = Baseline()  # another load, another propeller
        axes = told.axes_m_s2
        level = max(abs(axis) for axis in axes) if all(map(math.isfinite, axes)) else None
        if level is None:
            self._level = None
        elif self._level is None:
            self._level = level
        else:
            self._level += (level - self._level) * (1 - math.exp((self._last_us - now_us) / SMOOTH_US))
        self._last_us = now_us
        if level is not None and flies and self._flown.calm(now_us):
            self._baseline.learn((level,), now_us)
        shown = math.nan if self._level is None else self._level  # what came and is no number is a fault
        return shown, self._limit(), self._clip(told.clipping, now_us)

    def _limit(self) -> float:
        if self._own_m_s2 is not None:
            return self._own_m_s2
        hover = self._baseline.values
        return BAD_M_S2 if hover is None else min(BAD_M_S2, max(FINE_M_S2, RISE * hover[0]))

    def _clip(self, counts: tuple[int, ...], now_us: int) -> float:
        """Return how many accelerations were clipped in the last 10 s; a counter that falls was begun anew."""
        before, self._counts = self._counts, counts
        if before is not None:
            # the worst sensor: each counts the same shakes
            added = max(now - then for now, then in zip(counts, before, strict=True))
            if 0 < added <= MOST_ADDED:
                self._clips.append((now_us, added))
        clips = self._clips
        while clips and now_us - clips[0][0] > CLIP_SPAN_US:
            clips.popleft()
        return float(sum(count for _, count in clips))
