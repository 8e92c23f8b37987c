"""Notices afterwards that the computer slept, or that the watch stood still, and says for how long.

Sleep is what CLOCK_BOOTTIME counts and CLOCK_MONOTONIC does not (Linux, clock_gettime(2)). On macOS the pair is
CLOCK_MONOTONIC and CLOCK_UPTIME_RAW. Where there is no such pair, sleep reads as standing still.
"""

from __future__ import annotations

import asyncio
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

from watchkeeper.edges.reports import Report

PART = "gap"
LOOK_EVERY_S = 1.0
SLEPT_S = 1.0
"""A sleep shorter than this takes nothing from anybody."""
STILL_S = 4.0
"""Looks come this much late only when the whole program stood still. The minder sounds from 5 s on."""
TOLD_FOR_S = 30.0
"""How long it stands as an alert."""


def steady_s() -> float:
    """Return seconds on a clock that stops while the computer sleeps, where there is one."""
    clock = getattr(time, "CLOCK_UPTIME_RAW", None) if sys.platform == "darwin" else None
    return time.clock_gettime(clock) if clock is not None else time.monotonic()


def whole_s() -> float:
    """Return seconds on a clock that nobody sets and that counts sleep, where there is one."""
    clock = getattr(time, "CLOCK_BOOTTIME", None)
    return time.clock_gettime(clock) if clock is not None else time.monotonic()


def spoken_length(length_s: float) -> str:
    """Return a length of time with one number, e.g. "14 seconds", "4 minutes", "3 hours"."""
    for size_s, least, name in ((3600.0, 2.0, "hours"), (60.0, 2.0, "minutes")):
        if length_s >= least * size_s:
            return f"{round(length_s / size_s)} {name}"
    whole = max(1, round(length_s))
    return f"{whole} second{'s' if whole != 1 else ''}"


@dataclass(slots=True)
class Gaps:
    """Compares two clocks from look to look. `run` is one of the watch's tasks; it keeps no sleep of its own."""

    report: Report
    steady_s: Callable[[], float] = steady_s
    whole_s: Callable[[], float] = whole_s
    _last_steady_s: float | None = None
    _last_whole_s: float = 0.0
    _told_s: float | None = None

    def look(self) -> None:
        """Compare with the last look."""
        steady, whole = self.steady_s(), self.whole_s()
        last = self._last_steady_s
        if last is not None:
            still_s = steady - last
            slept_s = whole - self._last_whole_s - still_s
            if slept_s >= SLEPT_S:
                self._tell(f"Computer slept {spoken_length(slept_s)}. Look at the aircraft.", steady)
            elif still_s >= LOOK_EVERY_S + STILL_S:
                self._tell(f"Stood still {spoken_length(still_s)}. Look at the aircraft.", steady)
            elif self._told_s is not None and steady - self._told_s >= TOLD_FOR_S:
                self._told_s = None
                self.report(PART, True, "the watch runs again")
        self._last_steady_s, self._last_whole_s = steady, whole

    async def run(self) -> None:
        """Look until cancelled."""
        while True:
            self.look()
            await asyncio.sleep(LOOK_EVERY_S)

    def _tell(self, text: str, now_s: float) -> None:
        if self._told_s is not None:  # anew, though the last one still stands
            self.report(PART, True, "")
        self._told_s = now_s
        self.report(PART, False, text)
