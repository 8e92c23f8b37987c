"""The curve of a crew's own cells: the published one, drawn to what the crew measured of them.

After a flight, when a pack has rested, the crew reads a cell's voltage; what the charger then puts back says how
much charge that was below full. The errors of the published curve are taken as normally distributed, as large as
published cells differ, and alike over `CURVE_MEMORY` of charge; what was measured draws them to itself as far as
it is better known (regression with a Gaussian process: Rasmussen and Williams, Gaussian Processes for Machine
Learning, 2006, eq. 2.23 and 2.24; from memory). So one point helps, and six make the curve the crew's own.

Ampere hours become charge by what the pack is taken to hold today. If it holds less, the curve still has every
measured voltage at the Ah below full where it was measured, which is what counts; how much lies below the deepest
point stays in doubt, and is in the doubt of what an Ah draws (`packtoday.held`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import Packs
from watchkeeper.estimate.matrix import Matrix, cholesky, solved
from watchkeeper.estimate.packs.curve import APART_V, CHARGE_PCT, CURVE_MEMORY, PUBLISHED, Curve, interpolate
from watchkeeper.estimate.packs.packtoday import SCALE, FittedPack, held

READ_V: Final = 0.008
"""Of a cell: a voltmeter or charger 5 mV, another pack of the same make 6 mV (common practice)."""
CHARGER: Final = 0.01
"""Of what a charger says that it put back (common practice)."""
RESTED: Final = 0.005
"""Of full charge: what a rest of an hour, its warmth and a charger's end leave open (common practice)."""
LOADED_V: Final = 0.02
"""Of a cell: what slow parts of the drop that no resistance here has add under load. A measured cell whose curve
was known to 5 mV was followed over twelve hours of pulses to 17 mV (10.5281/zenodo.2580327)."""
_UNLIKELY: Final = 4.0
"""Deviations: rather a slip of the pen than a cell."""
_LEAST_RISE_V: Final = 0.001


class _Point(NamedTuple):
    """A measured point: charge in %, V, and V for the whole charge there."""

    charge_pct: float
    cell_v: float
    slope_v: float


def curve_of(packs: Packs) -> Curve:
    """Return the curve of these packs' cells: the published one where the crew measured nothing."""
    published = PUBLISHED[packs.chemistry]
    if not packs.charged or packs.capacity_ah is None:
        return published
    ah, doubt = _held(packs)
    return _drawn(packs.chemistry, tuple((one.ah, one.cell_v) for one in packs.charged), ah, doubt)


def unlikely(packs: Packs) -> list[int]:
    """Return which of the measured points (from 0) no cell of that chemistry shows."""
    if packs.capacity_ah is None:
        return []
    ah, doubt = _held(packs)
    curve = PUBLISHED[packs.chemistry]
    found: list[int] = []
    for i, one in enumerate(packs.charged):
        at = _point(curve, one.ah, one.cell_v, ah)
        expected = _kernel(packs.chemistry, at.charge_pct, at.charge_pct) + _noise([at], doubt)[0][0]
        if abs(at.cell_v - curve.rest_voltage_at(at.charge_pct)) > _UNLIKELY * math.sqrt(expected):
            found.append(i)
    return found


def _held(packs: Packs) -> tuple[float, float]:
    """Return what a pack is taken to hold today, Ah, and one deviation of a charger's Ah in it, as a part."""
    assert packs.capacity_ah is not None
    # a ledger's capacity is in the monitor's Ah
    scale = SCALE if isinstance(packs, FittedPack) and packs.capacity_doubt is not None else 0.0
    return packs.capacity_ah * held(packs).part, math.hypot(scale, CHARGER)


@lru_cache(maxsize=64)
def _drawn(chemistry: str, measured: tuple[tuple[float, float], ...], held_ah: float, doubt: float) -> Curve:
    published = PUBLISHED[chemistry]
    points = [_point(published, ah, cell_v, held_ah) for ah, cell_v in measured]
    noise = _noise(points, doubt)
    spread = [
        [_kernel(chemistry, a.charge_pct, b.charge_pct) + more for b, more in zip(points, row, strict=True)]
        for a, row in zip(points, noise, strict=True)
    ]
    low = cholesky(spread)
    pull = solved(low, [at.cell_v - published.rest_voltage_at(at.charge_pct) for at in points])
    volts: list[float] = []
    apart_v: list[float] = []
    for charge_pct, there_v in zip(CHARGE_PCT, published.volts, strict=True):
        row = [_kernel(chemistry, charge_pct, at.charge_pct) for at in points]
        volts.append(there_v + sum(k * w for k, w in zip(row, pull, strict=True)))
        known = sum(k * w for k, w in zip(row, solved(low, row), strict=True))
        before = _kernel(chemistry, charge_pct, charge_pct)
        apart_v.append(math.sqrt(min(before, max(0.0, before - known) + LOADED_V**2)))
    return Curve(_rising(volts), apart_v)


def _point(curve: Curve, ah: float, cell_v: float, held_ah: float) -> _Point:
    charge_pct = max(0.0, 100.0 * (1.0 - ah / held_ah))
    return _Point(charge_pct, cell_v, 100.0 * curve.fall_at(charge_pct))


def _kernel(chemistry: str, one_pct: float, other_pct: float) -> float:
    """Return the covariance of the published curve's error at two charges, V^2."""
    one_v, other_v = (interpolate(pct, CHARGE_PCT, APART_V[chemistry]) for pct in (one_pct, other_pct))
    return one_v * other_v * math.exp(-abs(one_pct - other_pct) / (100.0 * CURVE_MEMORY))


def _noise(points: Sequence[_Point], doubt: float) -> Matrix:
    """Return the covariance of what measuring adds, V^2; `doubt` is that of the charger, as a part."""
    common = [at.slope_v * (1.0 - at.charge_pct / 100.0) * doubt for at in points]
    return [
        [
            common[i] * common[j] + (READ_V**2 + (points[i].slope_v * RESTED) ** 2 if i == j else 0.0)
            for j in range(len(points))
        ]
        for i in range(len(points))
    ]


def _rising(volts: Sequence[float]) -> list[float]:
    """Return voltages that rise with charge, whatever was measured."""
    found = [volts[0]]
    for volt in volts[1:]:
        found.append(max(volt, found[-1] + _LEAST_RISE_V))
    return found
