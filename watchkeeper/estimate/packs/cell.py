"""What a pack can still give: a cell's resistance over charge and temperature, and where it is empty.

A Thevenin cell with a fast and two relaxing parts. How resistance rises towards empty and in the cold is fitted
to pulse tests of a measured pouch cell (Wiggins, Allu, Wang, 10.5281/zenodo.2580327: over 30 s, 1.4 times at 10
% charge, and Arrhenius with 2 600 K between 10 and 25 degrees C). Ageing by common practice: 80 % of the
capacity and twice the resistance at the end of life.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from watchkeeper.estimate.packs.curve import CURVE_MEMORY, GRID, Curve

ACTIVATION_K: Final = 2600.0
REFERENCE_K: Final = 298.15
COLDEST_DEGC: Final = -40.0
HOTTEST_DEGC: Final = 100.0
"""No pack is told outside: a sensor that says so is broken (common practice: gone up in smoke before)."""
LIFE_CYCLES: Final = 400.0
"""Common practice for packs flown hard: 300 to 500."""
FADE: Final = 0.2
RELAXING: Final = ((0.40, 15.0), (0.25, 90.0))
"""Shares of the fast resistance, and time constants in s: the measured cell's 1 s and 30 s pulses, and a tail."""
SETTLED: Final = 1.0 + sum(share for share, _ in RELAXING)
RESISTANCE_CAPACITY: Final = 0.033
"""ohm Ah of a settled cell: 1.5 mohm at 22 Ah, in inverse proportion to the plate area."""
_RISE: Final = 0.4
_RISE_AT: Final = 0.10
_RISE_OVER: Final = 0.06
_HALVINGS: Final = 11
"""To a two thousandth of the charge, or better."""
_USUALLY_UNDER: Final = 0.25
_STEPS_CHARGE: Final = 0.05


def charge_factor(charge: float) -> float:
    """Return the resistance at a charge (0 to 1) over that at mid charge."""
    return 1.0 + _RISE * math.exp((_RISE_AT - max(0.0, charge)) / _RISE_OVER)


_CHARGE_FACTORS: Final = [charge_factor(i / GRID) for i in range(GRID + 2)]
"""In the same steps: within a ten-thousandth."""


def temperature_factor(degc: float) -> float:
    """Return the resistance at a temperature over that at 25 degrees C."""
    kelvin = 273.15 + max(COLDEST_DEGC, min(HOTTEST_DEGC, degc))
    return math.exp(ACTIVATION_K * (1.0 / kelvin - 1.0 / REFERENCE_K))


def aged_capacity(cycles: float) -> float:
    """Return the capacity after a number of cycles over that of a new pack."""
    return max(0.5, 1.0 - FADE * cycles / LIFE_CYCLES)


def aged_resistance(cycles: float) -> float:
    """Return the resistance after a number of cycles over that of a new pack."""
    return 1.0 + cycles / LIFE_CYCLES


class PackState(NamedTuple):
    """One pack as far as a forecast needs it.

    `charge` is a part (0 to 1) of what it holds at its age; `cell_ohm` a cell's settled resistance at mid
    charge and today's temperature; `per_ah` the part that one Ah, as its monitor measures it, draws; `curve_off`
    by how many deviations (`Curve.spread_at`) a cell lies above its curve here.
    """

    curve: Curve
    cells: int
    charge: float
    cell_ohm: float
    per_ah: float
    curve_off: float

    def at(self, charge: float) -> PackState:
        """Return the same pack at another charge; by how much its curve is off fades on the way there."""
        fades = math.exp(-abs(charge - self.charge) / CURVE_MEMORY)
        return self._replace(charge=charge, curve_off=self.curve_off * fades)

    def open_v(self, charge: float) -> float:
        """Return a cell's voltage at rest, V, at another charge; what the curve is off by fades with distance."""
        x = GRID * charge if 0.0 < charge < 1.0 else 0.0 if charge <= 0.0 else float(GRID)
        i = int(x)
        table = self.curve.fine_v
        low_v = table[i]
        rest_v = low_v + (table[i + 1] - low_v) * (x - i)
        off = self.curve_off
        if off == 0.0:
            return rest_v
        return rest_v + off * self.curve.fine_spread_v[i] * math.exp(-abs(charge - self.charge) / CURVE_MEMORY)

    def bend_v(self, charge: float) -> float:
        """Return by how much a cell's voltage at rest at another charge may be off what `open_v` says, V.

        One deviation of what the curve's error, as it is here, may have become on the way there.
        """
        x = min(GRID, max(0, int(charge * GRID)))
        way = abs(charge - self.charge)
        return self.curve.fine_spread_v[x] * math.sqrt(1.0 - math.exp(-2.0 * way / CURVE_MEMORY))

    def cell_v(self, charge: float, power_w: float) -> float:
        """Return a cell's settled voltage under a constant power of the pack, V; 0 where it cannot give it.

        V = (E + sqrt(E^2 - 4 R P)) / 2, the larger root of P = V (E - V) / R.
        """
        # as `open_v` and `charge_factor`, written out: a forecast comes through here thousands of times a second
        curve, cells, here, cell_ohm, _, off = self
        x = GRID * charge if 0.0 < charge < 1.0 else 0.0 if charge <= 0.0 else float(GRID)
        i = int(x)
        part = x - i
        table = curve.fine_v
        open_v = table[i]
        open_v += (table[i + 1] - open_v) * part
        if off != 0.0:
            open_v += off * curve.fine_spread_v[i] * math.exp(-abs(charge - here) / CURVE_MEMORY)
        factor = _CHARGE_FACTORS[i]
        factor += (_CHARGE_FACTORS[i + 1] - factor) * part
        square = open_v * open_v - 4.0 * cell_ohm * factor * power_w / cells
        return (open_v + math.sqrt(square)) / 2.0 if square > 0.0 else 0.0

    def empty(self, power_w: float, floor_v: float) -> float:
        """Return the charge at which a power can no longer be held above a cell floor: 0 % of what is usable."""
        low, high = 0.0, 1.0
        if self.cell_v(_USUALLY_UNDER, power_w) >= floor_v:
            high = _USUALLY_UNDER
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            if self.cell_v(middle, power_w) < floor_v:
                low = middle
            else:
                high = middle
        return high

    def drawn(self, charge: float, power_w: float, time_s: float) -> tuple[float, float]:
        """Return the charge left after a power was drawn for a time, and the lowest cell voltage on the way, V.

        In steps over which the voltage changes little. Charge may fall below 0: what is missing.
        """
        lowest_v = self.cell_v(charge, power_w)
        left_s = time_s
        while left_s > 0.0:
            # where the power cannot be held, it is reckoned on at a voltage that still could give something
            volt = self.cells * (lowest_v if lowest_v > 0.0 else max(0.5, 0.5 * self.open_v(charge)))
            rate = max(0.0, power_w) / volt / 3600.0 * self.per_ah
            step_s = left_s if rate * left_s <= _STEPS_CHARGE else _STEPS_CHARGE / rate
            charge -= rate * step_s
            left_s -= step_s
            lowest_v = self.cell_v(charge, power_w)
            if charge < -1.0:
                return charge - rate * left_s, 0.0
        return charge, lowest_v


def usable(charge: float, empty: float) -> float:
    """Return what is left, in % of what is usable: 100 at full, 0 where empty, below that what is missing.

    Not less than -100 %: by then it is of no use to say how much.
    """
    return max(-100.0, 100.0 * (charge - empty) / max(1e-3, 1.0 - empty))
