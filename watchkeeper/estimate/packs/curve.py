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
from typing import Final

CHARGE_PCT: Final = (0.0, 5.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0)
_LIPO: Final = (3.0, 3.464, 3.561, 3.65, 3.711, 3.749, 3.782, 3.832, 3.902, 3.989, 4.082, 4.2)
_LIION: Final = (2.5, 3.109, 3.296, 3.485, 3.581, 3.667, 3.751, 3.841, 3.948, 4.042, 4.097, 4.2)
_LIHV: Final = tuple(v + 0.003 * max(0.0, z - 50) for z, v in zip(CHARGE_PCT, _LIPO, strict=True))
CURVES: Final = {"lipo": _LIPO, "liion": _LIION, "lihv": _LIHV}
_MEASURED_V: Final = 0.015
"""Of a cell: what a monitor is off by on a pack, 0.4 % (common practice); it, too, keeps to one side."""
_APART: Final = (0.071, 0.071, 0.074, 0.061, 0.05, 0.053, 0.047, 0.032, 0.023, 0.012, 0.005, 0.0)
"""One deviation of the four; the lowest is held down to empty, where all are 3.0 V by definition."""
_POLYMER_SPREAD: Final = tuple(round(math.hypot(one, _MEASURED_V), 3) for one in _APART)
_SPREADS: Final = {
    "lipo": _POLYMER_SPREAD,
    "lihv": _POLYMER_SPREAD,
    # a measured cell (10.5281/zenodo.2580327) rests 0.15 V above the published curve at half charge
    "liion": tuple(0.06 for _ in CHARGE_PCT),
}
NOMINAL_V: Final = {"lipo": 3.7, "liion": 3.6, "lihv": 3.8}


def _interpolate(x: float, xs: tuple[float, ...], ys: tuple[float, ...]) -> float:
    """Return y at x on a rising broken line, held at its ends."""
    if x <= xs[0]:
        return ys[0]
    if x >= xs[-1]:
        return ys[-1]
    i = bisect_right(xs, x)
    return ys[i - 1] + (ys[i] - ys[i - 1]) * (x - xs[i - 1]) / (xs[i] - xs[i - 1])


def charge_at(rest_cell_v: float, chemistry: str = "lipo") -> float:
    """Return the charge in % of a cell that rests at this voltage."""
    return _interpolate(rest_cell_v, CURVES[chemistry], CHARGE_PCT)


def rest_voltage_at(charge_pct: float, chemistry: str = "lipo") -> float:
    """Return the resting voltage of a cell at this charge in %."""
    return _interpolate(charge_pct, CHARGE_PCT, CURVES[chemistry])


def spread_at(charge_pct: float, chemistry: str = "lipo") -> float:
    """Return by how much a cell's resting voltage, as measured, is off the curve here: one deviation, V."""
    return _interpolate(charge_pct, CHARGE_PCT, _SPREADS[chemistry])


def fall_at(charge_pct: float, chemistry: str = "lipo") -> float:
    """Return by how many volts a cell's resting voltage falls for each % drawn at this charge."""
    volts = CURVES[chemistry]
    i = min(len(volts) - 1, max(1, bisect_right(CHARGE_PCT, charge_pct)))
    return (volts[i] - volts[i - 1]) / (CHARGE_PCT[i] - CHARGE_PCT[i - 1])
