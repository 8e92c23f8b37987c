"""The aircraft's own clock: how late its messages arrive, and whether it was started anew.

Its messages carry the time since its start. Arrival less that time is when it started plus how late the
message is; the least of it over the last minutes is a message that was not late.
"""

from __future__ import annotations

from typing import Final

_BUCKET_US: Final = 150_000_000
"""The least is taken over one to two of these: clocks drift apart by some 20 ppm, 6 ms in five minutes."""
_STEP_MS: Final = 1000
_SLACK_US: Final = 500_000
_GOES_ON_MS: Final = 5000
_EARLY_US: Final = 5_000_000
_GOES_ON_US: Final = 3_000_000
"""Heard within this, the old time goes on."""


class BootClock:
    """Follows `time_boot_ms` of one power-up. Lag in seconds."""

    __slots__ = (
        "_before_us", "_bucket_us", "_doubted_us", "_earlier_us", "_least_us", "heard_us", "lag_s", "newest_ms",
    )  # fmt: skip

    def __init__(self, before: BootClock | None = None) -> None:
        """Take the clock of the power-up before, whose messages may still arrive over another link."""
        self.lag_s: float | None = None
        self.newest_ms = -1
        self.heard_us = 0
        """When the newest was heard."""
        self._bucket_us = 0
        self._least_us: int | None = None
        self._earlier_us: int | None = None
        self._doubted_us: int | None = None
        self._before_us = before.started_us if before is not None else None

    def starts_anew(self, boot_ms: int, now_us: int) -> bool:
        """Whether a message can only be of another power-up than the last.

        Time that runs back may also be a message that comes late over another link. A start is only one once the
        old time goes on no more, and if it lies after the moment at which the old time was last sent. After a long
        silence the new time may even be the greater one; a time that goes on where it stopped is no start, however
        late it comes.
        """
        if self.newest_ms < 0 or self._least_us is None:
            return False
        started_us = now_us - boot_ms * 1000
        ahead_ms = boot_ms - self.newest_ms
        if ahead_ms >= 0:
            return ahead_ms > _GOES_ON_MS and started_us > self.heard_us
        over = ahead_ms < -_STEP_MS and now_us - self.heard_us > _GOES_ON_US
        return over and started_us > self._sent_us - _SLACK_US

    @property
    def started_us(self) -> int | None:
        """When this power-up began, plus the time a message takes at its best; None before the first message."""
        return self._least_us

    @property
    def _sent_us(self) -> int:
        """When the newest message was sent, by what is known."""
        return min(self.heard_us, (self._least_us or 0) + self.newest_ms * 1000)

    def is_past(self, boot_ms: int, now_us: int) -> bool:
        """Whether a message was sent before this power-up, in the one before."""
        if self._before_us is None or self._least_us is None:
            return False
        fits = self._before_us - _SLACK_US <= now_us - boot_ms * 1000 < self._least_us - _EARLY_US
        return fits and self._before_us + boot_ms * 1000 <= self._least_us + _SLACK_US

    def is_old(self, boot_ms: int, now_us: int) -> bool:
        """Whether a message is of this power-up and clearly older than the newest."""
        return boot_ms < self.newest_ms - _STEP_MS and not self.starts_anew(boot_ms, now_us)

    def note(self, boot_ms: int, now_us: int) -> None:
        """Take the time of a message of this power-up; one of the power-up before changes nothing."""
        if self.is_past(boot_ms, now_us):
            return
        started_us = now_us - boot_ms * 1000
        least_us = self._least_us
        if boot_ms < self.newest_ms - _STEP_MS and started_us > self._sent_us - _SLACK_US:
            return  # very likely a start, which shows once the old time goes on no more: no lag in any case
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
