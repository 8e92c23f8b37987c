"""What the aircraft's own navigation filter says of itself: whether it knows where it is, and how well that fits.

Flags of ESTIMATOR_STATUS and EKF_STATUS_REPORT (MAVLink common.xml, ardupilotmega.xml): the low ten bits are the
same in both; 1024 is a rejected satellite position in the first and "never healthy" in the second.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.readings import US, Stream

PLACED: Final = 16
STANDS_STILL: Final = 128
"""It takes the position for constant, as it does not know it."""
ESTIMATOR_REJECTS: Final = 1024
REPORT_NEVER_HEALTHY: Final = 1024
REPORT_REJECTS: Final = 32768
_LIVE_US: Final = 5 * US
_MISSED: Final = 4
_SLOWEST_US: Final = 30 * US


class FilterHealth:
    """Of one power-up."""

    __slots__ = ("placed", "stream", "validity")

    def __init__(self) -> None:
        self.stream = Stream()
        self.validity = Stream()
        """Series of judgements of `position.valid`."""
        self.placed: bool | None = None
        """Whether it knows its horizontal position on the Earth."""

    def is_live(self, now_us: int) -> bool:
        """Whether it was heard within 5 s, or four of its intervals where it comes more seldom (30 s at most)."""
        if not self.stream.count:
            return False
        age_us = now_us - self.stream.time_us
        return age_us <= _LIVE_US or age_us <= min(_MISSED * self.stream.interval_us, _SLOWEST_US)
