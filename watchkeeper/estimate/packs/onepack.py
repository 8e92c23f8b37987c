"""What is followed of one pack's health, report by report."""

from __future__ import annotations

import math
from typing import Final

from watchkeeper.aircraft.pack import Pack
from watchkeeper.estimate.packs.cells import CellSpread
from watchkeeper.estimate.packs.falling import Falling
from watchkeeper.estimate.packs.heating import Heating, heat_capacity_j_k
from watchkeeper.estimate.packs.pack import PackEstimate
from watchkeeper.estimate.packs.packtoday import SCALE, UNTOLD_OHM, FittedPack

LEARNED: Final = 0.12
"""Standard deviation of the resistance's logarithm; above, it is still what the file says."""
_CELL_V: Final = (0.0, 6.0)


class OnePack:
    """One pack, by its number in the readings."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.cells: CellSpread | None = None
        """None while its cells are not told."""
        self.heating = Heating()
        self.falling = Falling()
        self.resistance_over_pct: float | None = None
        self.charge_state = 0
        self.faults = 0
        """What the battery said in each of the last two reports; as MAVLink numbers them."""
        self._said = (0, 0)
        self._count = 0

    def update(self, pack: Pack, estimate: PackEstimate | None) -> None:
        """Take its last report in, if it is a new one."""
        if pack.stream.count == self._count:
            return
        self._count = pack.stream.count
        time_s = pack.stream.time_us / 1e6
        sample, current_a = pack.last, pack.current_a
        self._look_at_cells(pack)
        said = sample.charge_state, sample.faults
        if said == self._said:
            self.charge_state, self.faults = said
        self._said = said
        ohm = heat_j_k = None
        if estimate is not None:
            cells, capacity_ah = estimate.packs.cells, estimate.packs.capacity_ah
            kept = estimate.filter
            if kept is not None and cells is None:
                cells = kept.cells
            ohm = estimate.values[2]
            if cells is not None and capacity_ah is not None:
                heat_j_k = heat_capacity_j_k(capacity_ah, cells)
            self.resistance_over_pct = resistance_over(estimate)
            self._look_at_fall(pack, estimate, time_s)
        self.heating.update(time_s, sample.temperature_degc, current_a, ohm, heat_j_k)

    def _look_at_cells(self, pack: Pack) -> None:
        cells_v = pack.last.cells_v
        if len(cells_v) < 2 or not all(_CELL_V[0] <= v < _CELL_V[1] for v in cells_v):
            self.cells = None
            return
        if self.cells is None or self.cells.cells != len(cells_v):
            self.cells = CellSpread(len(cells_v))
        self.cells.update(cells_v, pack.current_a)

    def _look_at_fall(self, pack: Pack, estimate: PackEstimate, time_s: float) -> None:
        kept, volts, current_a = estimate.filter, pack.last.voltage_v, pack.current_a
        if kept is None or not kept.started or volts is None or current_a is None:
            self.falling.unexplained_v = None
            return
        doubts = kept.charge_doubt, kept.resistance_off[1]
        self.falling.update(time_s, volts / kept.cells, current_a, kept.state(), doubts)


def resistance_over(estimate: PackEstimate) -> float | None:
    """Return by how much, %, the resistance learned is over what was expected, less two standard deviations.

    Expected is what a file or the crew's ledger states, at its age and temperature; without either, nothing is.
    """
    kept, packs = estimate.filter, estimate.packs
    if kept is None or packs.resistance_ohm is None or estimate.wrong_current or not estimate.settled:
        return None
    off, doubt = kept.resistance_off
    if doubt > LEARNED:
        return None
    spread = math.hypot(doubt, SCALE, UNTOLD_OHM if kept.degc is None else 0.0)
    if isinstance(packs, FittedPack) and packs.resistance_doubt is not None:
        spread = math.hypot(spread, packs.resistance_doubt)
    return 100.0 * max(0.0, math.exp(off - 2.0 * spread) - 1.0)
