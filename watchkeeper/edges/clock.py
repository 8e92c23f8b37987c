"""The clock of a live watch: wall time at its start, carried on by a clock that nobody sets."""

from __future__ import annotations

import time


def steady_us() -> int:
    """Return microseconds of a clock that nobody sets and that, where the system can, counts time asleep."""
    kind = getattr(time, "CLOCK_BOOTTIME", None)
    return (time.monotonic_ns() if kind is None else time.clock_gettime_ns(kind)) // 1000


class Clock:
    """Whole microseconds since 1970, strictly increasing: no two readings of `now_us` are the same.

    So every call of the engine has a stamp of its own, and a recording sorted by stamps is in the order of the
    calls. Setting the computer's clock during a watch changes nothing; where the system counts time asleep
    (CLOCK_BOOTTIME), that counts as well: an aircraft has been silent all that while.
    """

    def __init__(self) -> None:
        self._offset_us = time.time_ns() // 1000 - steady_us()
        self._last_us = 0

    def now_us(self) -> int:
        """Return the time, at least one microsecond after that of the last call."""
        self._last_us = max(steady_us() + self._offset_us, self._last_us + 1)
        return self._last_us

    def now_s(self) -> float:
        """Return `now_us` in seconds. round(1e6 * now_s) gives back the microsecond (exact until 2041)."""
        return self.now_us() / 1e6


def utc_text(time_us: int) -> str:
    """Return `2026-05-04T09:30:00.123456Z` for microseconds since 1970; years outside 1970 to 9999 are bounded."""
    seconds, micros = divmod(min(max(time_us, 0), 253_402_300_799_999_999), 1_000_000)
    day = time.gmtime(seconds)
    return f"{time.strftime('%Y-%m-%dT%H:%M:%S', day)}.{micros:06d}Z"


def utc_name(time_us: int) -> str:
    """Return a UTC stamp fit for the name of a folder: `20260504T093000Z`."""
    return utc_text(time_us)[:19].replace("-", "").replace(":", "") + "Z"
