"""Packs in parallel as a script needs them: a curve, a resistance each, and what was drawn. No chemistry."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

REST_CELL_V: Final = (
    (0.0, 3.30), (5.0, 3.45), (10.0, 3.55), (20.0, 3.64), (30.0, 3.71), (40.0, 3.765), (50.0, 3.79),
    (60.0, 3.825), (70.0, 3.885), (80.0, 3.98), (90.0, 4.08), (100.0, 4.19),
)  # fmt: skip
"""Resting cell voltage by charge in %: a plain broken line in the shape of a polymer pouch cell."""


def rest_cell_v(charge_pct: float) -> float:
    """Return a cell's resting voltage at a charge in %, held at the ends of the curve."""
    if charge_pct <= REST_CELL_V[0][0]:
        return REST_CELL_V[0][1]
    for (x0, y0), (x1, y1) in itertools.pairwise(REST_CELL_V):
        if charge_pct <= x1:
            return y0 + (y1 - y0) * (charge_pct - x0) / (x1 - x0)
    return REST_CELL_V[-1][1]


@dataclass(slots=True)
class Pack:
    """One pack: resistance in ohm, charge in %, present current in A, and what its counter has counted in Ah.

    After a flight unequal packs go on to even out: a little current flows back into the emptier one. Its charge
    grows; the monitor, which knows one direction, shows 0 and counts nothing.
    """

    resistance_ohm: float
    charge_pct: float
    current_a: float = 0.0
    used_ah: float = 0.0


class ParallelPacks:
    """Packs on one bus. `draw` moves time on; then bus voltage and each pack's state can be read."""

    def __init__(
        self, cells: int, capacity_ah: float, resistances_ohm: Sequence[float], charge_pct: float
    ) -> None:
        """Take equal packs, all at one charge, that differ in resistance only."""
        self.cells = cells
        self.capacity_ah = capacity_ah
        self.packs = [Pack(resistance, charge_pct) for resistance in resistances_ohm]
        self.voltage_v = cells * rest_cell_v(charge_pct)

    def draw(self, power_w: float, sag_cell_v: float, step_s: float) -> None:
        """Draw a power over a step while every cell gives `sag_cell_v` less than it should.

        Kirchhoff: the currents (E - V) / R of all packs, times V, are the power; so V solves
        G V^2 - S V + P = 0 with G = sum 1/R and S = sum E/R. Beyond the greatest power the bus gives S / 2G.
        """
        sources = [self.cells * (rest_cell_v(pack.charge_pct) - sag_cell_v) for pack in self.packs]
        conductance = sum(1 / pack.resistance_ohm for pack in self.packs)
        short_a = sum(source / pack.resistance_ohm for source, pack in zip(sources, self.packs, strict=True))
        root = math.sqrt(max(0.0, short_a**2 - 4 * conductance * power_w))
        self.voltage_v = (short_a + root) / (2 * conductance)
        for source, pack in zip(sources, self.packs, strict=True):
            current_a = (source - self.voltage_v) / pack.resistance_ohm
            pack.charge_pct -= 100 * current_a * step_s / 3600 / self.capacity_ah
            pack.current_a = max(0.0, current_a)
            pack.used_ah += pack.current_a * step_s / 3600

    @property
    def current_a(self) -> float:
        """Current of all packs as their monitors show it."""
        return sum(pack.current_a for pack in self.packs)

    @property
    def charge_pct(self) -> float:
        """Mean charge of the packs."""
        return sum(pack.charge_pct for pack in self.packs) / len(self.packs)
