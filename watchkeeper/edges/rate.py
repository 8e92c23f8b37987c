"""How many orders are taken: more than hands can press, far fewer than a program can send."""

from __future__ import annotations

BURST = 10
ORDERS_PER_S = 2.0


class Rate:
    """Lets BURST through at once, then ORDERS_PER_S."""

    def __init__(self, now_us: int) -> None:
        self._left = float(BURST)
        self._filled_us = now_us
        self._told = False
        self.dropped = 0
        """How many were too many."""

    def lets(self, now_us: int) -> bool:
        """Whether one more is within the rate."""
        gained = max(now_us - self._filled_us, 0) / 1e6 * ORDERS_PER_S
        self._filled_us = now_us
        self._left = min(self._left + gained, float(BURST))
        if self._left < 1.0:
            self.dropped += 1
            return False
        self._left -= 1.0
        if self._left >= 1.0:
            self._told = False
        return True

    def tells(self) -> bool:
        """Whether the excess is to be told: once, until it ends."""
        told, self._told = self._told, True
        return not told
