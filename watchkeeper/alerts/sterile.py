"""The sterile phase: close to the ground eyes and ears belong to the aircraft, and only what must be said is said.

The term is that of 14 CFR 121.542 (below 10 000 ft no talk but what the flight needs); its measure here is the
crew's (the first 5 m, the last 10 m). When it is, a pack says by a condition. One that cannot be judged is no
sterile phase, and none lasts longer than MOST_US: a hover at that height is not a landing, and nothing must wait
behind it.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.readings import Readings
from watchkeeper.rules.condition import Condition, View
from watchkeeper.rules.verdict import Verdict

MOST_US: Final = 60_000_000
"""From 10 m a landing at 0.3 m/s, slower than most, takes 33 s (common practice)."""


class Sterile:
    """Follows whether it is a sterile phase for one aircraft. To be looked at once a second at least."""

    __slots__ = ("_condition", "_since_us", "_view")

    def __init__(self, condition: Condition | None, readings: Readings) -> None:
        self._condition = condition
        self._view = View(readings, 0, [])
        self._since_us: int | None = None

    def look(self, now_us: int) -> bool:
        """Return whether it is a sterile phase now."""
        if self._condition is None:
            return False
        self._view.now_us = now_us
        if self._condition.evaluate(self._view) is not Verdict.MET:
            self._since_us = None
            return False
        if self._since_us is None:
            self._since_us = now_us
        return now_us - self._since_us < MOST_US
