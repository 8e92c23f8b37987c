"""A pack's load line, learned: V = E - R (I + k F), and how far the voltage lies under it.

A Thevenin model with one relaxing part: F is the current smoothed with the relaxation time, so that R F k is the
slow part of the drop. A Kalman filter follows E (the voltage at rest) and R, both walking slowly; Huber's clipped
innovation keeps a step that current does not explain from being learned at once. How large the slow part is
differs from pack to pack, so E may walk faster while it builds up or decays.
"""

from __future__ import annotations

import math
from typing import Final

CELL_NOISE_V: Final = 0.025  # of one sample, a cell: cheap power modules scatter by 80 mV on three cells
CELL_RESISTANCE_OHM: Final = 0.004  # a guess for a cell of unknown size; large ones have 1 to 2.5 mohm
RESISTANCE_CAPACITY: Final = 0.033  # ohm Ah: 1.5 mohm at 22 Ah, and in inverse proportion to the plate area
RESISTANCE_BOUNDS: Final = (0.0002, 0.1)  # ohm a cell: nothing better is sold; worse is a broken joint
RELAXATION_S: Final = 20.0  # R1 C1 of the reference cell: 1 mohm, 20 kF
RELAXATION_SHARE: Final = 0.67  # R1 over R0 of the reference cell: 1 mohm over 1.5 mohm
_WALK_V: Final = 0.0012  # a cell and root second: discharge at full power is about 1 mV a cell and second
_WALK_RELAXATION: Final = 0.7  # of the slow part's change, taken as unknown
_WALK_R: Final = 0.005  # of R a root second: a cold pack loses half its resistance in two minutes of flight
_CLIP: Final = 2.0  # standard deviations
_GAP_S: Final = 10.0  # after a longer silence the load between is unknown


class LoadLine:
    """Learns one pack's rest voltage and resistance. Voltages in V, current in A, out of the pack positive."""

    def __init__(self, cells: int, resistance_ohm: float | None = None, capacity_ah: float | None = None) -> None:
        """Start from the stated resistance of the pack, else from its capacity, else from its cells alone."""
        self.cells = cells
        if resistance_ohm is not None:
            self.resistance_ohm, doubt = resistance_ohm, 0.5
        else:
            cell = CELL_RESISTANCE_OHM if capacity_ah is None else RESISTANCE_CAPACITY / capacity_ah
            self.resistance_ohm, doubt = cell * cells, 2.0
        self.rest_v: float | None = None
        self.sag_v = 0.0
        """Voltage of the pack under the line, beyond what the line's own doubt explains; never negative."""
        self._p_ee = 0.0
        self._p_er = 0.0
        self._p_rr = (doubt * self.resistance_ohm) ** 2
        self._slow_a = 0.0
        self._time_us = 0

    def update(self, voltage_v: float, current_a: float, time_us: int, fall_v_ah: float = 0.0) -> None:
        """Learn from one sample of voltage and current taken together at `time_us`.

        `fall_v_ah` is by how much a cell's rest voltage falls for each Ah drawn, where the charge is known.
        """
        noise_v = CELL_NOISE_V * self.cells
        step_s = (time_us - self._time_us) / 1e6
        self._time_us = time_us
        if self.rest_v is None or not 0 <= step_s < _GAP_S:
            # Before the first sample the load is taken to have been what it is now.
            self._slow_a = current_a
            load_a = current_a * (1 + RELAXATION_SHARE)
            self.rest_v = voltage_v + self.resistance_ohm * load_a
            self._p_ee = noise_v**2 + load_a**2 * self._p_rr
            self._p_er = load_a * self._p_rr
            self.sag_v = 0.0
            return
        load_a = self._walk(current_a, step_s)
        self.rest_v -= fall_v_ah * self.cells * current_a * step_s / 3600
        error_v = voltage_v - (self.rest_v - self.resistance_ohm * load_a)
        # The gradient of V to (E, R) is (1, -load).
        to_e = self._p_ee - load_a * self._p_er
        to_r = self._p_er - load_a * self._p_rr
        spread = to_e - load_a * to_r + noise_v**2
        deviation_v = math.sqrt(spread)
        self.sag_v = max(0.0, -error_v - _CLIP * math.sqrt(max(0.0, spread - noise_v**2)))
        clipped = max(-_CLIP * deviation_v, min(_CLIP * deviation_v, error_v))
        self.rest_v += to_e / spread * clipped
        low, high = RESISTANCE_BOUNDS
        learned = self.resistance_ohm + to_r / spread * clipped
        self.resistance_ohm = max(low * self.cells, min(high * self.cells, learned))
        self._p_ee -= to_e * to_e / spread
        self._p_er -= to_e * to_r / spread
        self._p_rr -= to_r * to_r / spread

    def _walk(self, current_a: float, step_s: float) -> float:
        """Let the state's doubt grow over a step; return the current with its slow part, I + k F."""
        moved_a = (current_a - self._slow_a) * (1 - math.exp(-step_s / RELAXATION_S))
        self._slow_a += moved_a
        unknown_v = _WALK_RELAXATION * RELAXATION_SHARE * self.resistance_ohm * moved_a
        self._p_ee += (_WALK_V * self.cells) ** 2 * step_s + unknown_v**2
        self._p_rr += (_WALK_R * self.resistance_ohm) ** 2 * step_s
        return current_a + RELAXATION_SHARE * self._slow_a
