"""The hover of one flight: what something usually is there, learned in the first calm minute in the air."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.phase import FLYING
from watchkeeper.aircraft.readings import BLIND, FAULT, US, Readings

CALM_SPEED_M_S: Final = 3.0
CALM_CLIMB_M_S: Final = 1.0
"""Slower than this along and up it hovers, near enough (common practice)."""
LEARN_US: Final = 60 * US
FEWEST: Final = 5
SETTLE_US: Final = 3 * US
"""After take-off, until it has come to rest in the air."""
MOST: Final = 120
_PHASE: Final = INDEX["flight.phase"]
_SPEED: Final = INDEX["position.ground_speed"]
_CLIMB: Final = INDEX["position.climb_rate"]


class Flown:
    """Whether it flies, since when, and whether it hovers. `number` counts flights."""

    __slots__ = ("_readings", "number", "since_us")

    def __init__(self, readings: Readings) -> None:
        self._readings = readings
        self.since_us: int | None = None
        self.number = 0

    def look(self, now_us: int) -> bool:
        """Look at the phase; return whether it is in flight."""
        if self._readings.values[_PHASE] in FLYING:
            if self.since_us is None:
                self.since_us = now_us
                self.number += 1
            return True
        self.since_us = None
        return False

    def calm(self, now_us: int) -> bool:
        """Whether it hovers, as far as speeds tell; what is not known is not calm."""
        if self.since_us is None or now_us - self.since_us < SETTLE_US:
            return False
        speed, climb = self._readings.read(_SPEED, now_us), self.climb(now_us)
        if speed is BLIND or speed is FAULT or climb is None:
            return False
        return bool(abs(speed) < CALM_SPEED_M_S and abs(climb) < CALM_CLIMB_M_S)

    def climb(self, now_us: int) -> float | None:
        """Return the climb rate in m/s, None where it is not known."""
        climb = self._readings.read(_CLIMB, now_us)
        return None if climb is BLIND or climb is FAULT else float(climb)


class Baseline:
    """The medians of some quantities over a minute of calm flight, usable after a few samples.

    The median: a gust or two, or one sample that is wrong, moves it little.
    """

    __slots__ = ("_begun_us", "_rows", "values")

    def __init__(self) -> None:
        self._rows: list[Sequence[float]] = []
        self._begun_us: int | None = None
        self.values: list[float] | None = None

    def learn(self, row: Sequence[float], now_us: int) -> None:
        """Take a sample of calm flight in, while the minute lasts."""
        if self._begun_us is None:
            self._begun_us = now_us
        over = now_us - self._begun_us > LEARN_US or len(self._rows) >= MOST
        if (over and self.values is not None) or not all(map(math.isfinite, row)):
            return
        if self._rows and len(self._rows[0]) != len(row):
            self._rows.clear()
        self._rows.append(tuple(row))
        if len(self._rows) >= FEWEST:
            self.values = [median(column) for column in zip(*self._rows, strict=True)]

    @property
    def over(self) -> bool:
        """Whether enough was seen to judge by."""
        return self.values is not None
