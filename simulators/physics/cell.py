"""One battery cell: open-circuit voltage, resistance, two RC pairs, ageing.

The Thevenin form: V = OCV(z) - I R0 - u1 - u2 with du/dt = I/C - u/(R C) for each pair (Plett, Battery Management
Systems, vol. 1, ch. 2; from memory). All three resistances scale by one factor of charge, one of temperature
(Arrhenius) and one of age; the capacitances stay, so a cold pair is also a slower one. Entropic heat (the
reversible part, which would warm or cool a cell by a few per cent of the rest) is left out.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

GRID: Final = 400
"""Intervals of the uniform tables over charge 0 to 1."""
BELOW_EMPTY_V: Final = 60.0
"""Fall of the open-circuit voltage for each unit of charge drawn below empty, V: steep, and 0 V at the latest."""
REFERENCE_K: Final = 298.15
"""Temperature at which resistances are given: 25 degrees C."""


def sampled(function: Callable[[float], float]) -> tuple[float, ...]:
    """Return a function of charge (0 to 1) as a uniform table."""
    return tuple(function(i / GRID) for i in range(GRID + 1))


def broken_line(points: Sequence[tuple[float, float]]) -> tuple[float, ...]:
    """Return a uniform table of the line through points (charge, value), charge rising, held at both ends."""
    xs = [x for x, _ in points]

    def value(x: float) -> float:
        i = bisect_right(xs, x)
        if i == 0:
            return points[0][1]
        if i == len(points):
            return points[-1][1]
        (x0, y0), (x1, y1) = points[i - 1], points[i]
        return y0 + (y1 - y0) * (x - x0) / (x1 - x0)

    return sampled(value)


EVEN: Final = broken_line([(0.0, 1.0)])
"""A table for resistances that do not depend on charge."""


@dataclass(frozen=True)
class CellModel:
    """What a kind of cell is. Tables run over charge 0 to 1 in `GRID` even intervals (`sampled`, `broken_line`).

    `ocv_v` is the open-circuit voltage, rising. `r0_ohm`, `r1_ohm`, `r2_ohm` hold at 25 degrees C, new, where
    the table `by_charge` is 1 (mid charge); a pair of 0 ohm is no pair. `tau1_s`, `tau2_s` are the pairs' time
    constants there. `activation_k` is the activation energy over the gas constant. `life_cycles` is the number of
    cycles at which 80 % of the capacity is left and the resistance has doubled.
    """

    capacity_ah: float
    ocv_v: tuple[float, ...]
    r0_ohm: float
    r1_ohm: float
    tau1_s: float
    r2_ohm: float
    tau2_s: float
    by_charge: tuple[float, ...] = EVEN
    activation_k: float = 2325.0
    life_cycles: float = 400.0
    heat_capacity_j_k: float = 420.0

    def __post_init__(self) -> None:
        """Check what the steps rely on. Raises ValueError."""
        if len(self.ocv_v) != GRID + 1 or len(self.by_charge) != GRID + 1:
            raise ValueError(f"a table over charge has {GRID + 1} values")
        if any(high < low for low, high in zip(self.ocv_v, self.ocv_v[1:], strict=False)):
            raise ValueError("the open-circuit voltage rises with charge")
        if not (self.capacity_ah > 0 and self.tau1_s > 0 and self.tau2_s > 0 and min(self.by_charge) > 0):
            raise ValueError("capacity, time constants and the factors of resistance are above 0")
        if not (self.r0_ohm > 0 and self.r1_ohm >= 0 and self.r2_ohm >= 0):
            raise ValueError("r0 is above 0, r1 and r2 are not below it")

    @cached_property
    def slope_v(self) -> tuple[float, ...]:
        """Rise of the open-circuit voltage for a unit of charge, in each interval of its table, V."""
        return tuple(GRID * (b - a) for a, b in zip(self.ocv_v, self.ocv_v[1:], strict=False))

    @cached_property
    def _energy_v(self) -> tuple[float, ...]:
        """Integral of the open-circuit voltage from empty up to each point of its table, V."""
        sums = [0.0]
        for a, b in zip(self.ocv_v, self.ocv_v[1:], strict=False):
            sums.append(sums[-1] + (a + b) / (2 * GRID))
        return tuple(sums)

    def open_circuit(self, charge: float) -> tuple[float, float]:
        """Return the open-circuit voltage at a charge, V, and its rise for a unit of charge, V.

        Above full the last interval goes on; below empty the voltage falls by `BELOW_EMPTY_V` down to 0 V.
        """
        if charge < 0.0:
            v = self.ocv_v[0] + BELOW_EMPTY_V * charge
            return (v, BELOW_EMPTY_V) if v > 0.0 else (0.0, 0.0)
        x = charge * GRID
        i = min(int(x), GRID - 1)
        slope = self.slope_v[i]
        return self.ocv_v[i] + slope * (charge - i / GRID), slope

    def energy_v(self, charge: float) -> float:
        """Return the integral of the open-circuit voltage over charge from empty, V; times charge it is energy."""
        if charge < 0.0:
            charge = max(charge, -self.ocv_v[0] / BELOW_EMPTY_V)
            return charge * (self.ocv_v[0] + BELOW_EMPTY_V * charge / 2)
        i = min(int(charge * GRID), GRID - 1)
        part = charge - i / GRID
        return self._energy_v[i] + part * (self.ocv_v[i] + self.slope_v[i] * part / 2)

    def charge_factor(self, charge: float) -> float:
        """Return the factor of all resistances at a charge, held at both ends of its table."""
        x = min(max(charge, 0.0), 1.0) * GRID
        i = min(int(x), GRID - 1)
        return self.by_charge[i] + (self.by_charge[i + 1] - self.by_charge[i]) * (x - i)

    def temperature_factor(self, temperature_degc: float) -> float:
        """Return the factor of all resistances at a temperature: Arrhenius, 1 at 25 degrees C."""
        return math.exp(self.activation_k * (1 / (temperature_degc + 273.15) - 1 / REFERENCE_K))

    def age_factor(self, cycles: float) -> float:
        """Return the factor of all resistances after cycles: slow at first, then faster; 2 at the end of life.

        The end of life is common practice (twice the resistance, 80 % of the capacity); the course is invented.
        """
        return 1.0 + math.pow(max(0.0, cycles / self.life_cycles), 1.5)

    def aged_capacity_ah(self, cycles: float) -> float:
        """Return the capacity after cycles, Ah: an even fall to 80 % at the end of life, not below a fifth."""
        return self.capacity_ah * max(0.2, 1 - 0.2 * max(0.0, cycles / self.life_cycles))


def _pouch_ocv_v(charge: float) -> float:
    return (
        3.852
        - 0.29 * charge
        + 0.57 * charge**3
        + 0.061 * math.tanh((charge - 0.24) / 0.1)
        - 0.484 * math.exp(-charge / 0.02)
        - 0.508 * math.exp(-charge / 0.2)
    )


POUCH_22AH: Final = CellModel(
    capacity_ah=22.0,
    ocv_v=sampled(_pouch_ocv_v),
    r0_ohm=0.60e-3,
    r1_ohm=0.18e-3,
    tau1_s=3.0,
    r2_ohm=0.22e-3,
    tau2_s=90.0,
    by_charge=sampled(lambda charge: 1.0 + 0.9 * math.exp(-charge / 0.08) + 0.3 * (charge - 0.5) ** 2),
)
"""An invented high-current lithium polymer pouch cell of 22 Ah: 4.19 V full, 3.30 V at 4 %, 2.80 V empty, 1.0 mohm
in all at 25 degrees C and mid charge, four times that at -20. Its curve is an analytic form of its own, within
25 mV of the published pouch cell of Ecker et al. 2015 (J. Electrochem. Soc. 162 A1836) from 10 to 100 %, and
55 mV at 5 %."""


def _nickel_ocv_v(charge: float) -> float:
    return (
        3.591
        + 0.44 * charge
        + 0.245 * charge**3
        - 0.044 * math.tanh((charge - 0.371) / 0.092)
        - 0.454 * math.exp(-charge / 0.014)
        - 0.192 * math.exp(-charge / 0.6)
    )


def _cobalt_ocv_v(charge: float) -> float:
    return (
        3.553
        + 0.463 * charge
        + 0.23 * charge**3
        - 0.05 * math.tanh((charge - 0.427) / 0.147)
        - 0.602 * math.exp(-charge / 0.024)
    )


def _cobalt_steep_ocv_v(charge: float) -> float:
    return (
        5.0
        - 0.864 * charge
        + 0.627 * charge**3
        - 0.5 * math.tanh((charge - 0.126) / 0.252)
        - 0.337 * math.exp(-charge / 0.02)
        - 1.885 * math.exp(-charge / 0.305)
    )


CELLS: Final = {
    "plain": POUCH_22AH,
    "nickel": replace(POUCH_22AH, ocv_v=sampled(_nickel_ocv_v)),
    "cobalt": replace(POUCH_22AH, ocv_v=sampled(_cobalt_ocv_v)),
    "cobalt-steep": replace(POUCH_22AH, ocv_v=sampled(_cobalt_steep_ocv_v)),
}
"""What lithium polymer cells of one label can be inside; they differ in their open-circuit voltage only. The last
three lie within 12 mV, from 5 to 100 %, of Mohtat et al. 2020 (nickel, manganese, cobalt), Ai et al. 2020 and
Ramadass et al. 2004 (cobalt oxide) between 3.0 and 4.2 V."""
