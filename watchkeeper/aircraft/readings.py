"""The readings of one aircraft: values by catalogue index, each with the stream that last brought it.

A stream is a series of messages (or runs of one estimate): when the last came, how often, how many. All
readings of one message share one stream, so folding a message costs one time stamp and a list write a
reading. This is the hottest data in the program: lists and slots, no dictionaries.
"""

from __future__ import annotations

import math
from typing import Any, Final

from watchkeeper.aircraft.catalogue import CATALOGUE

US = 1_000_000
_BASE_US: Final = [round(r.max_age_s * US) for r in CATALOGUE]
_BOUND_US: Final = [round(r.age_bound_s * US) for r in CATALOGUE]
_HELD: Final = [r.held for r in CATALOGUE]
_RATE: Final = [r.rate for r in CATALOGUE]
_MISSED: Final = 4  # MAVLink's heartbeat protocol takes a system for gone after four to five missed


class Missing:
    """The type of BLIND and FAULT, which stand in for a value that cannot be used."""

    __slots__ = ("name",)

    def __init__(self, name: str) -> None:
        self.name = name

    def __repr__(self) -> str:
        return self.name


BLIND: Final = Missing("BLIND")
"""Never received, unknown, or too old."""
FAULT: Final = Missing("FAULT")
"""Received, and not a finite number; or working it out failed."""


class Stream:
    """A series of messages: time of the last one, smoothed interval, and count. Microseconds."""

    __slots__ = ("count", "interval_us", "time_us")

    def __init__(self) -> None:
        self.time_us = 0
        self.interval_us = 0
        self.count = 0

    def mark(self, now_us: int) -> None:
        """Note that a sample came at `now_us`. The interval is smoothed over about eight samples.

        A silence (over 60 s) says nothing of how often the messages come and is left out.
        """
        if self.count:
            step = now_us - self.time_us
            if step < 60_000_000:
                self.interval_us += (step - self.interval_us) >> 3 if self.interval_us else step
        self.count += 1
        self.time_us = now_us


class Readings:
    """Values and streams by catalogue index. A value of None is "known to be unknown"."""

    __slots__ = ("streams", "values")

    def __init__(self) -> None:
        self.values: list[Any] = [None] * len(CATALOGUE)
        self.streams: list[Stream | None] = [None] * len(CATALOGUE)

    def put(self, index: int, value: Any, stream: Stream) -> None:
        """Set one reading, brought by `stream` (already marked)."""
        self.values[index] = value
        self.streams[index] = stream

    def forget(self, index: int) -> None:
        """Make a reading one that was never received."""
        self.values[index] = None
        self.streams[index] = None

    def limit_us(self, index: int) -> int:
        """Return the maximum age of a reading as its stream really comes."""
        stream = self.streams[index]
        base = _BASE_US[index]
        if stream is None:
            return base
        stretched = stream.interval_us * _MISSED
        return base if stretched <= base else min(stretched, _BOUND_US[index])

    def read(self, index: int, now_us: int) -> Any:
        """Return the usable value at `now_us`, or BLIND or FAULT."""
        value = self.values[index]
        stream = self.streams[index]
        if value is None or stream is None:
            return BLIND
        age_us = now_us - stream.time_us
        if age_us > _BASE_US[index] and not _HELD[index] and age_us > self.limit_us(index):
            return BLIND
        if value.__class__ is float:
            if not math.isfinite(value):
                return FAULT
            rate = _RATE[index]
            if rate:
                return value + rate * age_us / 1e6
        return value
