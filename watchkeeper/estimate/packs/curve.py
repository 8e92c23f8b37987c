"""Open-circuit voltage of a cell against its charge.

Lithium polymer: Ecker et al. 2015 (J. Electrochem. Soc. 162 A1836), a pouch cell. Lithium ion: Chen et al. 2020,
a cylindrical NMC 811 cell. Both as published parameter sets give them, 0 to 100 %. High-voltage lithium polymer:
the same as polymer up to half charge, then raised evenly to its 4.35 V at full (common practice).
"""

from __future__ import annotations

from bisect import bisect_right
from typing import Final

CHARGE_PCT: Final = (0.0, 5.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0)
_LIPO: Final = (2.5, 3.294, 3.459, 3.587, 3.709, 3.77, 3.787, 3.815, 3.882, 3.987, 4.079, 4.2)
_LIION: Final = (2.5, 3.109, 3.296, 3.485, 3.581, 3.667, 3.751, 3.841, 3.948, 4.042, 4.097, 4.2)
_LIHV: Final = tuple(v + 0.003 * max(0.0, z - 50) for z, v in zip(CHARGE_PCT, _LIPO, strict=True))
CURVES: Final = {"lipo": _LIPO, "liion": _LIION, "lihv": _LIHV}
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


def fall_at(charge_pct: float, chemistry: str = "lipo") -> float:
    """Return by how many volts a cell's resting voltage falls for each % drawn at this charge."""
    volts = CURVES[chemistry]
    i = min(len(volts) - 1, max(1, bisect_right(CHARGE_PCT, charge_pct)))
    return (volts[i] - volts[i - 1]) / (CHARGE_PCT[i] - CHARGE_PCT[i - 1])
