"""The aircraft's own clock: how late its messages arrive, and whether it was started anew.

Its messages carry the time since its start. Arrival less that time is when it started plus how late the
message is; the least of it over the last minutes is a message that was not late.
"""

from __future__ import annotations

from typing import Final

_BUCKET_US: Final = 150_000_000
"""The least is taken over one to two of these: clocks drift apart by some 20 ppm, 6 ms in five minutes."""
_STEP_MS: Final = 1000
_SLACK_US: Final = 2_000_000


class BootClock:
    """Follows `time_boot_ms` of one aircraft. Lag in seconds."""

    __slots__ = ("_bucket_us", "_earlier_us", "_heard_us", "_least_us", "_newest_ms", "lag_s")

    def __init__(self) -> None:
        self.lag_s: float | None = None
        self._newest_ms = -1
        self._heard_us = 0
        self._bucket_us = 0
        self._least_us: int | None = None
        self._earlier_us: int | None = None

    def note(self, boot_ms: int, now_us: int) -> bool:
        """Take the time of a message; return True if the aircraft has been started anew since the last.

        Time that runs back may also be a message that comes late over another link. A start is only one if it
        lies after the moment at which the old time was last heard.
        """
        started_us = now_us - boot_ms * 1000
        if boot_ms < self._newest_ms - _STEP_MS and started_us > self._heard_us - _SLACK_US:
            self.__init__()  # type: ignore[misc]  # everything begins anew
            self.note(boot_ms, now_us)
            return True
        if boot_ms >= self._newest_ms:
            self._newest_ms = boot_ms
            self._heard_us = now_us
        if self._least_us is None or now_us - self._bucket_us > _BUCKET_US:
            self._earlier_us = self._least_us
            self._least_us = started_us
            self._bucket_us = now_us
        elif started_us < self._least_us:
            self._least_us = started_us
        least_us = self._least_us if self._earlier_us is None else min(self._least_us, self._earlier_us)
        self.lag_s = (started_us - least_us) / 1e6
        return False
