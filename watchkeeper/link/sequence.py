"""Loss from sequence numbers, one tracker for each component on each source.

lost = (sequence - previous - 1) mod 256 (https://mavlink.io/en/guide/packet_loss.html), except that a frame
that comes twice or late is not 255 lost ones, and a counter that begins anew is a restart.
"""

from __future__ import annotations

from typing import Final

LATE: Final = 31
"""A number up to so many behind the newest is late or doubled; further behind, it is ahead."""
FRESH: Final = 4
"""A counter that began anew is met at one of its first numbers."""
FAR: Final = 64
"""A jump ahead of at least so many to a fresh number is a counter that began anew."""
RUN: Final = 8
"""So many doubled numbers in unbroken order from a fresh one on: not doubled, the counter began anew."""
_MASK: Final = (1 << LATE + 1) - 1


class SequenceTracker:
    """Counts frames of one component: `received` all, `lost` the gaps less what came late."""

    __slots__ = (
        "_gaps", "_late_next", "_late_run", "_mark", "_next", "_seen", "duplicates", "lost", "received",
        "reordered", "restarts",
    )  # fmt: skip

    def __init__(self) -> None:
        self._next = -1
        self._mark = 0
        """`received` at the last irregular frame: since then everything came in order."""
        self._seen = 0
        """One bit a number at `_mark`, the newest in bit 0: was it received."""
        self._gaps = 0
        """Likewise: was it counted as lost."""
        self._late_next = -1
        self._late_run = 0
        self.received = 0
        self.lost = 0
        self.duplicates = 0
        self.reordered = 0
        self.restarts = 0

    def receive(self, sequence: int) -> int:
        """Note one frame; return how many were lost just before it (negative: a late one fills a gap)."""
        self.received += 1
        if sequence == self._next:
            self._next = (sequence + 1) & 0xFF
            return 0
        return self._irregular(sequence)

    def _irregular(self, sequence: int) -> int:
        if self._next < 0:
            self._begin(sequence)
            return 0
        self._catch_up()
        behind = (self._next - 1 - sequence) & 0xFF
        if behind <= LATE:
            return self._late(sequence, 1 << behind)
        missed = 255 - behind
        if sequence < FRESH and missed >= FAR:
            self.restarts += 1
            self._begin(sequence)
            return 0
        self.lost += missed
        self._seen = (self._seen << missed + 1 | 1) & _MASK
        self._gaps = (self._gaps << missed + 1 | (1 << missed + 1) - 2) & _MASK
        self._next = (sequence + 1) & 0xFF
        self._late_run = 0
        return missed

    def _begin(self, sequence: int) -> None:
        self._next = (sequence + 1) & 0xFF
        self._mark = self.received
        self._seen = 1
        self._gaps = 0
        self._late_run = 0

    def _catch_up(self) -> None:
        """Bring the bits up to the newest number."""
        run = self.received - 1 - self._mark
        self._mark = self.received
        if run:
            self._late_run = 0
            run = min(run, LATE + 1)
            self._seen = (self._seen << run | (1 << run) - 1) & _MASK
            self._gaps = self._gaps << run & _MASK

    def _late(self, sequence: int, bit: int) -> int:
        if self._gaps & bit:
            self._gaps ^= bit
            self._seen |= bit
            self._late_run = 0
            self.reordered += 1
            self.lost -= 1
            return -1
        if not self._seen & bit:  # from before the first one heard: never counted as lost
            self._seen |= bit
            self._late_run = 0
            self.reordered += 1
            return 0
        self.duplicates += 1
        if self._late_run and sequence == self._late_next:
            self._late_run += 1
        else:
            self._late_run = 1 if sequence < FRESH else 0
        self._late_next = (sequence + 1) & 0xFF
        if self._late_run == RUN:
            self.duplicates -= RUN
            self.restarts += 1
            self._begin(sequence)
        return 0
