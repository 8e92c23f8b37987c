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
_GOES_ON_MS: Final = 5000
_EARLY_US: Final = 5_000_000


class BootClock:
    """Follows `time_boot_ms` of one power-up. Lag in seconds."""

    __slots__ = ("_bucket_us", "_doubted_us", "_earlier_us", "_least_us", "heard_us", "lag_s", "newest_ms")

    def __init__(self) -> None:
        self.lag_s: float | None = None
        self.newest_ms = -1
        self.heard_us = 0
        """When the newest was heard."""
        self._bucket_us = 0
        self._least_us: int | None = None
        self._earlier_us: int | None = None
        self._doubted_us: int | None = None

    def starts_anew(self, boot_ms: int, now_us: int) -> bool:
        """Whether a message can only be of another power-up than the last.

        Time that runs back may also be a message that comes late over another link. A start is only one if it
        lies after the moment at which the old time was last heard. After a long silence the new time may even be
        the greater one; a time that goes on where it stopped is no start, however late it comes.
        """
        if self.newest_ms < 0 or now_us - boot_ms * 1000 <= self.heard_us - _SLACK_US:
            return False
        ahead_ms = boot_ms - self.newest_ms
        if ahead_ms < 0:
            return ahead_ms < -_STEP_MS
        return ahead_ms > _GOES_ON_MS and now_us - boot_ms * 1000 > self.heard_us

    def is_old(self, boot_ms: int, now_us: int) -> bool:
        """Whether a message is of this power-up and clearly older than the newest."""
        return boot_ms < self.newest_ms - _STEP_MS and not self.starts_anew(boot_ms, now_us)

    def note(self, boot_ms: int, now_us: int) -> None:
        """Take the time of a message of this power-up."""
        started_us = now_us - boot_ms * 1000
        least_us = self._least_us
        if least_us is not None and started_us < least_us - _EARLY_US:
            # before it was sent: either the clock was set or this one time is wrong; the next one tells
            doubted_us, self._doubted_us = self._doubted_us, started_us
            if doubted_us is None or abs(doubted_us - started_us) > _EARLY_US:
                return
            least_us = self._least_us = started_us
            self._earlier_us = None
        self._doubted_us = None
        if boot_ms >= self.newest_ms:
            self.newest_ms = boot_ms
            self.heard_us = now_us
        if least_us is None or now_us - self._bucket_us > _BUCKET_US:
            self._earlier_us = least_us
            self._least_us = least_us = started_us
            self._bucket_us = now_us
        elif started_us < least_us:
            self._least_us = least_us = started_us
        if self._earlier_us is not None and self._earlier_us < least_us:
            least_us = self._earlier_us
        self.lag_s = (started_us - least_us) / 1e6
