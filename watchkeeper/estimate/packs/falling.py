"""A pack's voltage that falls with less current than would explain it: a leak, a cell that fails, a wrong sensor.

The cell's voltage with the load's drop put back is compared over tens of seconds; what the charge drawn takes off
the curve, at its steepest within the charge's doubt, and all that resistance, curve and slow parts may be off by,
is allowed. Thevenin: E = V + R (I + shares of what is still relaxing).
"""

from __future__ import annotations

import math
from collections import deque
from typing import Final, NamedTuple

from watchkeeper.estimate.packs.cell import RELAXING, SETTLED, PackState, charge_factor
from watchkeeper.estimate.packs.chargefilter import TRANSIENT
from watchkeeper.estimate.packs.curve import CURVE_MEMORY

BIN_S: Final = 5.0
BINS: Final = 9
"""Compared over eight of them: 40 s."""
_NOISE_V: Final = 0.004  # of a cell, the mean of a bin: a sample's 10 mV, a few samples
_GAP_S: Final = 10.0
_LEAST: Final = 2  # samples in a bin


class _Bin(NamedTuple):
    cell_v: float
    load_a: float
    drawn: float
    """Part of full charge drawn since the beginning."""


class Falling:
    """One pack."""

    def __init__(self) -> None:
        self._bins: deque[_Bin] = deque(maxlen=BINS)
        self._parts_a = [0.0 for _ in RELAXING]
        self._drawn = 0.0
        self._time_s = self._begun_s = 0.0
        self._v: list[float] = []
        self._a: list[float] = []
        self.unexplained_v: float | None = None
        """Fall of a cell's voltage beyond what is allowed, V; 0 if none, None while not known."""

    def update(
        self, time_s: float, cell_v: float, current_a: float, state: PackState, doubts: tuple[float, float]
    ) -> None:
        """Take one report in; `doubts` are standard deviations of the charge and of the resistance's logarithm."""
        step_s = time_s - self._time_s
        self._time_s = time_s
        if not 0.0 <= step_s <= _GAP_S:
            self._bins.clear()
            self._v.clear()
            self._a.clear()
            self._parts_a = [current_a for _ in RELAXING]
            self._begun_s = time_s
            self.unexplained_v = None
            step_s = 0.0
        for i, (_, tau_s) in enumerate(RELAXING):
            self._parts_a[i] += (current_a - self._parts_a[i]) * (1.0 - math.exp(-step_s / tau_s))
        self._drawn += max(0.0, current_a) * step_s / 3600.0 * state.per_ah
        self._v.append(cell_v)
        self._a.append(current_a + sum(s * a for (s, _), a in zip(RELAXING, self._parts_a, strict=True)))
        if time_s - self._begun_s < BIN_S or len(self._v) < _LEAST:
            return
        n = len(self._v)
        self._bins.append(_Bin(sum(self._v) / n, sum(self._a) / n, self._drawn))
        self._v.clear()
        self._a.clear()
        self._begun_s = time_s
        if len(self._bins) == BINS:
            self.unexplained_v = self._judge(state, *doubts)

    def _judge(self, state: PackState, charge_doubt: float, ohm_doubt: float) -> float:
        then, now = self._bins[0], self._bins[-1]
        ohm = state.cell_ohm / SETTLED * charge_factor(state.charge)
        change_a = now.load_a - then.load_a
        fallen_v = then.cell_v - now.cell_v - ohm * change_a
        drawn = now.drawn - then.drawn
        explained_v = max(
            state.open_v(at + drawn)
            - state.open_v(at)
            + state.cell_ohm / SETTLED * now.load_a * (charge_factor(at) - charge_factor(at + drawn))
            for at in (state.charge - 2.0 * charge_doubt, state.charge, state.charge + 2.0 * charge_doubt)
        )
        curve_v = state.curve.spread_at(100.0 * state.charge)
        off = (
            curve_v * math.sqrt(2.0 * (1.0 - math.exp(-drawn / CURVE_MEMORY))),
            (math.exp(ohm_doubt) - 1.0 + TRANSIENT) * ohm * abs(change_a),
            _NOISE_V,
        )
        return max(0.0, fallen_v - explained_v - 2.0 * math.hypot(*off))
