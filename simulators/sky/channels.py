"""The receiver's channels: satellites are acquired and lost with hysteresis, never at once."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Final

HOLD_DB_HZ: Final = 28.0
ACQUIRE_DB_HZ: Final = 33.0
"""Common thresholds of small receivers, from memory."""
DROP_S: Final = 2
"""With a look a second the second one that finds it too weak drops it: 1 to 2 s after it was hidden."""
AGAIN_S: Final = (3.0, 7.0)
"""A satellite known before is acquired again after a time in this range, its own in each flight."""


class Channels:
    """Which satellites are held: `held[index]`."""

    __slots__ = ("_again_s", "_contrary_s", "_needed_s", "held")

    def __init__(self, satellites: int, cold_start_s: float, dice: random.Random) -> None:
        """Start with none held; in a cold start the search for each takes a share of `cold_start_s`."""
        self._again_s = [dice.uniform(*AGAIN_S) for _ in range(satellites)]
        self._needed_s = [max(again_s, cold_start_s * dice.uniform(0.2, 0.9)) for again_s in self._again_s]
        self._contrary_s = [0] * satellites
        self.held = [False] * satellites

    def take(self, strengths_db_hz: Sequence[float]) -> None:
        """Hold at once all that are strong enough, as a receiver that has been on for long."""
        self.held = [strength >= ACQUIRE_DB_HZ for strength in strengths_db_hz]

    def lose(self) -> None:
        """Drop them all."""
        self.held = [False] * len(self.held)
        self._contrary_s = [0] * len(self.held)

    def follow(self, strengths_db_hz: Sequence[float], elapsed_s: int) -> None:
        """Acquire and drop by what was heard in the last `elapsed_s` seconds."""
        held, contrary_s = self.held, self._contrary_s
        for index, strength in enumerate(strengths_db_hz):
            if held[index]:
                if strength >= HOLD_DB_HZ:
                    contrary_s[index] = 0
                    continue
                contrary_s[index] += elapsed_s
                if contrary_s[index] >= DROP_S:
                    held[index] = False
                    contrary_s[index] = 0
            elif strength >= ACQUIRE_DB_HZ:
                contrary_s[index] += elapsed_s
                if contrary_s[index] >= self._needed_s[index]:
                    held[index] = True
                    contrary_s[index] = 0
                    self._needed_s[index] = self._again_s[index]
            else:
                contrary_s[index] = 0
