"""Which packs carry the load. One that did and no more does has come off the bus: its energy is out of reach.

Packs in parallel share the current by their resistance and charge, so each carries something near its part. A pack
that never showed current in this flight is not measured, and says nothing here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

CARRIES: Final = (
    0.25  # of the mean of the others: twice unequal packs share no worse (Kirchhoff at 1 to 3 mohm a cell)
)
GIVES_NOTHING: Final = 0.04  # of the mean of the others: noise and offset of a hall sensor near zero
LEAST_A: Final = 5.0  # the others must carry so much, or motors idle and offsets decide
SURE_S: Final = 2.5  # two or three samples of a battery that reports once a second


class Carrying:
    """Judges packs by their currents, each time that one of them is told."""

    def __init__(self) -> None:
        self._carried: set[int] = set()
        self._since_us: dict[int, int] = {}
        self.out: set[int] = set()
        """Positions of the packs that carried and give nothing now."""

    def reset(self) -> None:
        """Begin a flight."""
        self._carried.clear()
        self._since_us.clear()
        self.out.clear()

    def update(self, currents_a: Sequence[float | None], now_us: int) -> None:
        """Take the present current of every pack, in A; None where it is not told, which changes nothing."""
        for position, current_a in enumerate(currents_a):
            if current_a is None:
                continue
            others = [a for i, a in enumerate(currents_a) if i != position and a is not None and i not in self.out]
            mean_a = sum(others) / len(others) if others else 0.0
            if mean_a < LEAST_A:
                self._since_us.pop(position, None)
                continue
            carries, nothing = current_a >= CARRIES * mean_a, current_a <= GIVES_NOTHING * mean_a
            changing = carries if position in self.out else nothing and position in self._carried
            if carries:
                self._carried.add(position)
            if not changing:
                self._since_us.pop(position, None)
            elif now_us - self._since_us.setdefault(position, now_us) >= SURE_S * 1e6:
                self._since_us.pop(position)
                self.out.symmetric_difference_update({position})
