"""Coefficients of a rotor between the nodes of its table, as plain numbers at the pace of the simulation."""

from __future__ import annotations

import math
from typing import Final

from simulators.physics.blade import ADVANCE, AXIAL, Blade, coefficients

_ROWS: Final = len(ADVANCE)
_COLUMNS: Final = len(AXIAL)
_ROW_SCALE: Final = (_ROWS - 1) / float(ADVANCE[-1])
_COLUMN_SCALE: Final = (_COLUMNS - 1) / float(AXIAL[-1] - AXIAL[0])
_FIRST: Final = float(AXIAL[0])
_LAST_ROW: Final = _ROWS - 1.000001
_LAST_COLUMN: Final = _COLUMNS - 1.000001
_GROUND_LEAST: Final = 0.5
"""Heights below half a radius are reckoned as that: the wash has nowhere to go and the rule no data."""


class Rotor:
    """One kind of rotor: `at` gives its coefficients."""

    __slots__ = ("_nodes", "area_m2", "hover_thrust", "radius_m")

    def __init__(self, blade: Blade) -> None:
        """Compute the table of a blade (a third of a second, once for each kind)."""
        table = coefficients(blade)
        columns = (table.thrust, table.induced, table.profile, table.drag)
        self._nodes: list[tuple[float, float, float, float]] = [
            tuple(float(column[i, j]) for column in columns)  # type: ignore[misc]
            for i in range(_ROWS)
            for j in range(_COLUMNS)
        ]
        self.radius_m = blade.radius_m
        self.area_m2 = blade.area_m2
        self.hover_thrust = self.at(0.0, 0.0)[0]

    def at(self, advance: float, axial: float) -> tuple[float, float, float, float]:
        """Return coefficients of thrust, induced power, profile power and force across the disc.

        `advance` is speed across the disc, `axial` along the shaft (climb positive), both by tip speed. Bilinear
        between nodes, held at the table's edges. Torque follows from these four by the work of a blade element:
        CP = CT * axial + induced + profile - drag * advance.
        """
        row = advance * _ROW_SCALE
        row = min(row, _LAST_ROW)
        column = (axial - _FIRST) * _COLUMN_SCALE
        if column < 0.0:
            column = 0.0
        elif column > _LAST_COLUMN:
            column = _LAST_COLUMN
        i = int(row)
        j = int(column)
        u = row - i
        w = column - j
        k = i * _COLUMNS + j
        nodes = self._nodes
        a0, a1, a2, a3 = nodes[k]
        b0, b1, b2, b3 = nodes[k + 1]
        k += _COLUMNS
        c0, c1, c2, c3 = nodes[k]
        d0, d1, d2, d3 = nodes[k + 1]
        wd = u * w
        wc = u - wd
        wb = w - wd
        wa = 1.0 - u - wb
        return (
            a0 * wa + b0 * wb + c0 * wc + d0 * wd,
            a1 * wa + b1 * wb + c1 * wc + d1 * wd,
            a2 * wa + b2 * wb + c2 * wc + d2 * wd,
            a3 * wa + b3 * wb + c3 * wc + d3 * wd,
        )

    def ground_factor(self, height_m: float) -> float:
        """Return what is left of the induced power near the ground.

        Cheeseman and Bennett, ARC R&M 3021, 1955: thrust at equal power grows by 1 / (1 - (R / 4z)^2).
        """
        ratio = 0.25 / max(height_m / self.radius_m, _GROUND_LEAST)
        return 1.0 - ratio * ratio

    def speed_for(self, thrust_n: float, density_kg_m3: float) -> float:
        """Return the speed in rad/s at which the rotor gives a thrust in N in hover."""
        tip_m_s = math.sqrt(max(thrust_n, 0.0) / (density_kg_m3 * self.area_m2 * self.hover_thrust))
        return tip_m_s / self.radius_m
