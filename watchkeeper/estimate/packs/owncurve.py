"""The curve of a crew's own cells: the published one, drawn to what the crew measured of them.

After a flight, when a pack has rested, the crew reads a cell's voltage; what the charger then puts back says how
much charge that was below full. The errors of the published curve are taken as normally distributed, as large as
published cells differ, and alike over `CURVE_MEMORY` of charge; what was measured draws them to itself as far as
it is better known (regression with a Gaussian process: Rasmussen and Williams, Gaussian Processes for Machine
Learning, 2006, eq. 2.23 and 2.24; from memory). So one point helps, and five make the curve the crew's own down to
the deepest of them.

Ampere hours become charge by what the pack is taken to hold today. If it holds less, every voltage still lies at
the Ah below full where it was measured, and all flight long nothing shows it: how much is left below the deepest
point stays as much in doubt as what the pack holds (`ChargeFilter` keeps that apart).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import Packs
from watchkeeper.estimate.matrix import Matrix, cholesky, solved
from watchkeeper.estimate.packs.curve import APART_V, CHARGE_PCT, CURVE_MEMORY, PUBLISHED, Curve, interpolate
from watchkeeper.estimate.packs.packtoday import RESTED, FittedPack, held, scale_of

READ_V: Final = 0.008
"""Of a cell: a voltmeter or charger 5 mV, another pack of the same make 6 mV (common practice)."""
CHARGER: Final = 0.01
"""Of what a charger says that it put back (common practice)."""
LOADED_V: Final = 0.02
"""Of a cell: what slow parts of the drop that no resistance here has add under load. A measured cell whose curve
was known to 5 mV was followed over twelve hours of pulses to 17 mV (10.5281/zenodo.2580327)."""
_UNLIKELY: Final = 4.0
"""Deviations: rather a slip of the pen than a cell."""
_DIFFER: Final = {"lipo": 1.0, "lihv": 1.0, "liion": 2.0}
"""By how many of the deviations of `curve` cells differ: lithium ion by more than full packs of them."""
_LEAST_RISE_V: Final = 0.001


class _Point(NamedTuple):
    """A measured point: charge in %, V, and V for the whole charge there."""

    charge_pct: float
    cell_v: float
    slope_v: float


def curve_of(packs: Packs) -> Curve:
    """Return the curve of these packs' cells: the published one where the crew measured nothing."""
    if not packs.charged or packs.capacity_ah is None:
        return PUBLISHED[packs.chemistry]
    # a ledger's capacity is in the monitor's Ah
    scale = scale_of(packs).doubt if isinstance(packs, FittedPack) and packs.capacity_doubt is not None else 0.0
    ah = packs.capacity_ah * held(packs).part
    # what goes beyond a capacity that the ledger has seen contradicts it
    measured = tuple((one.ah, one.cell_v) for one in packs.charged if one.ah < ah)
    return _drawn(packs.chemistry, measured, ah, math.hypot(scale, CHARGER))


def unlikely(packs: Packs) -> list[int]:
    """Return which of the measured points (from 0) no cell of that chemistry shows, whatever the pack holds."""
    if packs.capacity_ah is None:
        return []
    today, curve = held(packs), PUBLISHED[packs.chemistry]
    doubt = _UNLIKELY * math.hypot(today.doubt, CHARGER)
    apart = _UNLIKELY * _DIFFER[packs.chemistry]
    found: list[int] = []
    for i, one in enumerate(packs.charged):
        part = one.ah / (packs.capacity_ah * today.part)
        most_pct, least_pct = 100.0 * (1.0 - part * (1.0 - doubt)), 100.0 * (1.0 - part * (1.0 + doubt))
        most_v = curve.rest_voltage_at(most_pct) + apart * curve.spread_at(most_pct) + READ_V
        least_v = curve.rest_voltage_at(least_pct) - apart * curve.spread_at(least_pct) - READ_V
        if not least_v <= one.cell_v <= most_v:
            found.append(i)
    return found


def unseen(p: Matrix, charge: float, doubt: float) -> Matrix:
    """Return a covariance of charge, resistance, curve and draw with how much a pack holds in it.

    `doubt` is one deviation of that, as a part: where it holds less, less is left and an Ah draws more.
    """
    more = -(1.0 - charge) * doubt, 0.0, 0.0, doubt
    return [[v + a * b for v, b in zip(row, more, strict=True)] for row, a in zip(p, more, strict=True)]


@lru_cache(maxsize=64)
def _drawn(chemistry: str, measured: tuple[tuple[float, float], ...], held_ah: float, doubt: float) -> Curve:
    published = PUBLISHED[chemistry]
    # a charger ends at the published voltage of a full cell
    points = [_point(published, ah, cell_v, held_ah) for ah, cell_v in ((0.0, published.volts[-1]), *measured)]
    noise = _noise(points, doubt)
    spread = [
        [_kernel(chemistry, a.charge_pct, b.charge_pct) + more for b, more in zip(points, row, strict=True)]
        for a, row in zip(points, noise, strict=True)
    ]
    low = cholesky(spread)
    pull = solved(low, [at.cell_v - published.rest_voltage_at(at.charge_pct) for at in points])
    volts: list[float] = []
    apart_v: list[float] = []
    slow_v: list[float] = []
    for charge_pct, there_v in zip(CHARGE_PCT, published.volts, strict=True):
        row = [_kernel(chemistry, charge_pct, at.charge_pct) for at in points]
        volts.append(there_v + sum(k * w for k, w in zip(row, pull, strict=True)))
        known = sum(k * w for k, w in zip(row, solved(low, row), strict=True))
        before = _kernel(chemistry, charge_pct, charge_pct)
        left = min(before, max(0.0, before - known))
        apart_v.append(math.sqrt(left))
        slow_v.append(math.sqrt(min(before - left, LOADED_V**2)))  # together no wider than cells are apart
    return Curve(_rising(volts), apart_v, slow_v)


def _point(curve: Curve, ah: float, cell_v: float, held_ah: float) -> _Point:
    charge_pct = 100.0 * (1.0 - ah / held_ah)
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
