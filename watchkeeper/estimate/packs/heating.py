"""How fast one pack warms up beyond what its current explains: a pack about to fail warms by itself.

What is explained is R I^2 in the pack's heat capacity, nothing given off; twice that is allowed, since a sensor
sits in one spot. The temperature's slope is the median of slopes, which one odd report or a coarse sensor does not
move.
"""

from __future__ import annotations

from collections import deque
from typing import Final

from watchkeeper.estimate.slope import robust_slope

WINDOW_S: Final = 60.0
EVERY_S: Final = 5.0
LEAST_SPAN_S: Final = 45.0
ALLOWED: Final = 2.0
WH_KG: Final = 180.0
"""Of lithium-polymer flight packs, 150 to 200 (common practice)."""
J_KG_K: Final = 1000.0
"""Of a pouch cell, 0.9 to 1.1 kJ/(kg K) (from memory, published calorimetry)."""
UNKNOWN_DEGC_MIN: Final = 10.0
"""Allowed where resistance or capacity is not known: a pack at 10 C with 1.5 mohm at 22 Ah (as above)."""
_LAG: Final = 3
"""Windows before over which a load may still be warming the place of the sensor."""
_RANGE_DEGC: Final = (-40.0, 150.0)
_NOMINAL_V: Final = 3.7


def heat_capacity_j_k(capacity_ah: float, cells: int) -> float:
    """Return a pack's heat capacity, by its energy."""
    return capacity_ah * cells * _NOMINAL_V / WH_KG * J_KG_K


class Heating:
    """One pack's temperature over the last minute."""

    def __init__(self) -> None:
        self._points: deque[tuple[float, float]] = deque()
        self._squares: deque[float] = deque([0.0], maxlen=_LAG * round(WINDOW_S / EVERY_S))
        self._sum = 0.0
        self._n = 0
        self._begun_s = 0.0
        self.beyond: float | None = None
        """Rise beyond what is allowed, degrees C a minute; None while not known, 0 or more else."""

    def update(
        self, time_s: float, degc: float | None, current_a: float | None, ohm: float | None, heat_j_k: float | None
    ) -> None:
        """Take one report in."""
        if degc is None or not _RANGE_DEGC[0] < degc < _RANGE_DEGC[1]:
            self.beyond = None
            return
        points = self._points
        if current_a is not None:
            self._sum += current_a * current_a
            self._n += 1
        if points and not 0.0 <= time_s - points[-1][0] <= WINDOW_S:
            points.clear()  # a hole: what was before says nothing of now
        if points and time_s - self._begun_s < EVERY_S:
            return
        self._begun_s = time_s
        points.append((time_s, degc))
        if self._n:
            self._squares.append(self._sum / self._n)
            self._sum, self._n = 0.0, 0
        while time_s - points[0][0] > WINDOW_S:
            points.popleft()
        if time_s - points[0][0] < LEAST_SPAN_S:
            self.beyond = None
            return
        slope = robust_slope([t for t, _ in points], [d for _, d in points])
        assert slope is not None
        allowed = UNKNOWN_DEGC_MIN
        if ohm is not None and heat_j_k is not None:
            allowed = 60.0 * ALLOWED * ohm * max(self._squares) / heat_j_k
        self.beyond = max(0.0, 60.0 * slope.middle - allowed)
