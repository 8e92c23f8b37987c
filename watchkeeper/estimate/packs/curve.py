"""Open-circuit voltage of a cell against its charge, and by how much cells of one name differ in it.

Lithium polymer: the mean of four published cells between 3.0 and 4.2 V: Ecker et al. 2015 (J. Electrochem. Soc.
162 A1836), Mohtat et al. 2020 (nickel, manganese, cobalt), Ramadass et al. 2004 and Ai et al. 2020 (cobalt oxide,
as most packs of models have it). A pack does not say which it is, and at a fifth of its charge one of them rests
0.12 V over another. Lithium ion: Chen et al. 2020, a cylindrical NMC 811 cell. All as published parameter sets
give them. High-voltage lithium polymer: the same as polymer up to half charge, then raised evenly to its 4.35 V
at full (common practice).
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from typing import Final

CHARGE_PCT: Final = (0.0, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0)
CURVE_MEMORY: Final = 0.5
"""Of full charge: over so much a cell's curve keeps being off to the same side. Of the published cells those that
lie high at a tenth of the charge lie high up to nine tenths."""
MEASURED_V: Final = 0.015
"""Of a cell: what a monitor is off by on a pack, 0.4 % (common practice); it, too, keeps to one side."""
GRID: Final = 400
"""Even steps of a curve's fine table; the corners of all curves lie on it."""


class Curve:
    """A cell's resting voltage over its charge, and one deviation of what it may be off by as measured, both in V.

    Broken lines over `CHARGE_PCT`. `spreads_v` are under load, `rests_v` at rest. `fine_v` and `fine_spread_v` are
    the same at `GRID` even steps, with the last value doubled: a forecast asks thousands of times.
    """

    __slots__ = ("fine_spread_v", "fine_v", "rests_v", "spreads_v", "volts")

    def __init__(self, volts: Sequence[float], apart_v: Sequence[float], slow_v: Sequence[float] = ()) -> None:
        """Take voltages and one deviation of what cells are apart there, without what measuring adds.

        `slow_v` is what a load adds to that, and a rest has not.
        """
        self.volts = tuple(volts)
        self.rests_v = tuple(round(math.hypot(one, MEASURED_V), 3) for one in apart_v)
        slow = slow_v or [0.0 for _ in apart_v]
        self.spreads_v = tuple(
            round(math.hypot(one, more, MEASURED_V), 3) for one, more in zip(apart_v, slow, strict=True)
        )
        steps = [100.0 * i / GRID for i in range(GRID + 1)]
        self.fine_v = [*map(self.rest_voltage_at, steps), self.volts[-1]]
        self.fine_spread_v = [*map(self.spread_at, steps)]

    def charge_at(self, rest_cell_v: float) -> float:
        """Return the charge in % of a cell that rests at this voltage."""
        return interpolate(rest_cell_v, self.volts, CHARGE_PCT)

    def rest_voltage_at(self, charge_pct: float) -> float:
        """Return the resting voltage of a cell at this charge in %."""
        return interpolate(charge_pct, CHARGE_PCT, self.volts)

    def spread_at(self, charge_pct: float) -> float:
        """Return by how much a cell's resting voltage, as measured, is off the curve here: one deviation, V."""
        return interpolate(charge_pct, CHARGE_PCT, self.spreads_v)

    def rest_spread_at(self, charge_pct: float) -> float:
        """Return the same of a cell that has rested."""
        return interpolate(charge_pct, CHARGE_PCT, self.rests_v)

    def fall_at(self, charge_pct: float) -> float:
        """Return by how many volts a cell's resting voltage falls for each % drawn at this charge."""
        i = min(len(self.volts) - 1, max(1, bisect_right(CHARGE_PCT, charge_pct)))
        return (self.volts[i] - self.volts[i - 1]) / (CHARGE_PCT[i] - CHARGE_PCT[i - 1])


def interpolate(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    """Return y at x on a rising broken line, held at its ends."""
    if x <= xs[0]:
        return ys[0]
    if x >= xs[-1]:
        return ys[-1]
    i = bisect_right(xs, x)
    return ys[i - 1] + (ys[i] - ys[i - 1]) * (x - xs[i - 1]) / (xs[i] - xs[i - 1])


_LIPO: Final = (3.0, 3.185, 3.296, 3.37, 3.464, 3.561, 3.65, 3.711, 3.749, 3.782, 3.832, 3.902, 3.989, 4.082, 4.2)
_LIION: Final = (
    2.5, 2.711, 2.863, 2.971, 3.109, 3.296, 3.485, 3.581, 3.667, 3.751, 3.841, 3.948, 4.042, 4.097, 4.2,
)  # fmt: skip
_LIHV: Final = tuple(v + 0.003 * max(0.0, z - 50) for z, v in zip(CHARGE_PCT, _LIPO, strict=True))
_POLYMER_APART: Final = (
    0.071, 0.071, 0.071, 0.071, 0.071, 0.074, 0.061, 0.05, 0.053, 0.047, 0.032, 0.023, 0.012, 0.005, 0.0,
)  # fmt: skip
"""One deviation of the four; that at 5 % is held down to empty, where all are 3.0 V by definition."""
_ION_APART: Final = tuple(0.058 for _ in CHARGE_PCT)
"""Of full packs. Lower down cells differ by more: a measured one (10.5281/zenodo.2580327) rests 0.17 V above the
published one at half charge, 0.26 V at a fifth. As wide as that a full pack is followed worse, for the deviations
of a curve that is known at its top and not further down are no longer those of one state."""
APART_V: Final = {"lipo": _POLYMER_APART, "lihv": _POLYMER_APART, "liion": _ION_APART}
PUBLISHED: Final = {
    "lipo": Curve(_LIPO, _POLYMER_APART),
    "lihv": Curve(_LIHV, _POLYMER_APART),
    "liion": Curve(_LIION, _ION_APART),
}
NOMINAL_V: Final = {"lipo": 3.7, "liion": 3.6, "lihv": 3.8}
