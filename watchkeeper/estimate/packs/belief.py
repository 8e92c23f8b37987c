"""What is believed of a pack against what was supposed before: the difference is what a flight has shown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

MOST_AH: Final = 10_000.0
"""Drawn in one sitting."""
MOST_VARIANCE: Final = 100.0
_TELLS: Final = 0.9
"""Of the variance supposed: above, nothing was shown that is worth its name."""


class Belief(NamedTuple):
    """A logarithm that is believed, and its variance."""

    value: float
    variance: float

    def without(self, supposed: Belief) -> Belief | None:
        """Return what was shown alone, without what was supposed before; None if nothing was.

        A product of two normal distributions, undone: what was shown and what was supposed make the belief.
        """
        if self.variance > _TELLS * supposed.variance:
            return None
        weight = 1.0 / self.variance - 1.0 / supposed.variance
        value = (self.value / self.variance - supposed.value / supposed.variance) / weight
        return Belief(value, 1.0 / weight)


class Unbooked(NamedTuple):
    """What is not written into a ledger yet: the beliefs that were supposed before it, and the Ah drawn since."""

    resistance: Belief
    draw: Belief
    drawn_ah: float = 0.0

    def values(self) -> list[float]:
        """Return it as plain numbers, to be kept over a restart of the watch."""
        return [*self.resistance, *self.draw, self.drawn_ah]

    @classmethod
    def kept(cls, values: Sequence[float]) -> Unbooked:
        """Return what was kept as `values`. ValueError if it cannot be that."""
        if len(values) != 5 or not all(map(math.isfinite, values)):
            raise ValueError("no draw that was kept")
        found = cls(Belief(*values[:2]), Belief(*values[2:4]), values[4])
        variances = found.resistance.variance, found.draw.variance
        if abs(found.drawn_ah) > MOST_AH or not all(0.0 < one <= MOST_VARIANCE for one in variances):
            raise ValueError("no draw that was kept")
        return found
