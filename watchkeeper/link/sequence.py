"""Loss from sequence numbers, one tracker for each component on each source.

lost = (sequence - previous - 1) mod 256 (https://mavlink.io/en/guide/packet_loss.html), except that a frame
that comes twice or late is not 255 lost ones, and a counter that begins anew is a restart.
"""

from __future__ import annotations

from typing import Final

LATE: Final = 31
"""A number up to so many behind the newest is late or doubled; further behind, it is ahead."""
_FRESH: Final = 4
_FAR: Final = 64
"""A jump of at least so many that lands on one of the first numbers is a counter that began anew."""


class SequenceTracker:
    """Counts frames of one component."""

    __slots__ = ("_newest", "_seen", "duplicates", "lost", "received", "reordered", "restarts")

    def __init__(self) -> None:
        self._newest = -1
        self._seen = 0
        """One bit a number, the newest in bit 0: was it received."""
        self.received = 0
        self.lost = 0
        self.duplicates = 0
        self.reordered = 0
        self.restarts = 0

    def receive(self, sequence: int) -> int:
        """Note one frame; return how many were lost just before it (negative: a late one fills a gap)."""
        self.received += 1
        newest = self._newest
        if sequence == (newest + 1) & 0xFF and newest >= 0:
            self._newest = sequence
            self._seen = (self._seen << 1 | 1) & 0xFFFFFFFF
            return 0
        return self._irregular(sequence)

    def _irregular(self, sequence: int) -> int:
        if self._newest < 0:
            self._newest = sequence
            self._seen = 0xFFFFFFFF
            return 0
        behind = (self._newest - sequence) & 0xFF
        if behind == 0:
            self.duplicates += 1
            return 0
        if behind <= LATE:
            if self._seen >> behind & 1:
                self.duplicates += 1
                return 0
            self._seen |= 1 << behind
            self.reordered += 1
            self.lost -= 1
            return -1
        missed = 255 - behind
        if sequence < _FRESH and missed >= _FAR:
            self.restarts += 1
            self._newest = sequence
            self._seen = 0xFFFFFFFF
            return 0
        self.lost += missed
        self._newest = sequence
        self._seen = (self._seen << missed + 1 | 1) & 0xFFFFFFFF
        return missed
