"""Which cell of one pack lies under the others, by how much, and whether current or charge makes it.

The difference of a cell to the middle of all, d, is followed over the current: d = a + r I. A bad joint or a worn
cell shows in r (Ohm), a cell with less charge in a. A loose wire of the balance lead lifts the cell beside by as
much.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from watchkeeper.estimate.slope import median

CAUSES: Final = ("unknown", "resistance", "charge", "wire")
_MEMORY: Final = 300  # reports: some minutes
_LEAST: Final = 10
_INDEPENDENT: Final = 4.0  # reports that tell as much as one: errors keep to one side for seconds
_LEAST_SPREAD_A: Final = 3.0  # of the currents seen, one deviation; below, a slope is noise
_MOST: Final = 0.6  # of the difference
_WIRE: Final = 0.7  # of the difference, upwards in the cell beside
_WIRE_V: Final = 0.05  # cells differ by less for no reason (common practice)


class CellSpread:
    """The cells of one pack. V, A."""

    def __init__(self, cells: int) -> None:
        self.cells = cells
        self.under_v = 0.0
        """By how much the lowest lies under the middle of the others."""
        self.lasting_v = 0.0
        """The same in each of the last two reports: one bad report is none."""
        self.lowest_v = 0.0
        self.weak = 0
        """The lowest cell, from 0."""
        self.cause = "unknown"
        self._n = 0
        self._mean_a = 0.0
        self._mean_aa = 0.0
        self._mean_d = [0.0] * cells
        self._mean_dd = [0.0] * cells
        self._mean_da = [0.0] * cells

    def update(self, cells_v: Sequence[float], current_a: float | None) -> None:
        """Take one report in, of as many cells as the pack has."""
        ordered = sorted(cells_v)
        lowest_v, middle_v = ordered[0], median(ordered[1:])
        weak = self.weak = cells_v.index(lowest_v)
        self.lowest_v = lowest_v
        under_v = middle_v - lowest_v
        self.lasting_v = min(under_v, self.under_v)
        self.under_v = under_v
        if current_a is not None:
            self._learn(cells_v, middle_v, current_a)
        beside = [cells_v[j] for j in (weak - 1, weak + 1) if 0 <= j < len(cells_v)]
        over_v = max(beside) - middle_v
        if self.under_v >= _WIRE_V and over_v >= _WIRE * self.under_v:
            self.cause = "wire"
        else:
            self.cause = self._by_current(weak, current_a)

    def _learn(self, cells_v: Sequence[float], middle_v: float, current_a: float) -> None:
        self._n = min(self._n + 1, _MEMORY)
        part = 1.0 / self._n
        self._mean_a += part * (current_a - self._mean_a)
        self._mean_aa += part * (current_a * current_a - self._mean_aa)
        mean_d, mean_dd, mean_da = self._mean_d, self._mean_dd, self._mean_da
        for i, volts in enumerate(cells_v):
            d = middle_v - volts
            mean_d[i] += part * (d - mean_d[i])
            mean_dd[i] += part * (d * d - mean_dd[i])
            mean_da[i] += part * (d * current_a - mean_da[i])

    def _by_current(self, weak: int, current_a: float | None) -> str:
        """Return what explains most of the difference, beyond two standard deviations."""
        variance = self._mean_aa - self._mean_a**2
        if current_a is None or self._n < _LEAST or variance < _LEAST_SPREAD_A**2:
            return "unknown"
        ohm = (self._mean_da[weak] - self._mean_d[weak] * self._mean_a) / variance
        left = self._mean_dd[weak] - self._mean_d[weak] ** 2 - ohm * ohm * variance
        doubt = 2.0 * math.sqrt(max(0.0, left) * _INDEPENDENT / (self._n * variance))
        if (ohm - doubt) * current_a > _MOST * self.under_v:
            return "resistance"
        # without a load nothing is explained by it: then what a usual load would make counts
        by_load_v = (ohm + doubt) * max(current_a, self._mean_a)
        return "charge" if by_load_v < (1.0 - _MOST) * self.under_v else "unknown"
