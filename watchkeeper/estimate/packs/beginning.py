"""Where a pack's charge begins: what one voltage and a gauge tell of it, and how much is left open."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from watchkeeper.estimate.packs.curve import Curve

RELAXED_V: Final = 0.006
"""What a rest of minutes has not yet settled."""
GAUGE: Final = 0.05
"""Of a gauge that agrees with the voltage: it counts (common practice)."""
FULL: Final = 0.95


class Beginning(NamedTuple):
    """Charge, its standard deviation, the curve's, V, and V for the whole charge over as much as is in doubt."""

    charge: float
    doubt: float
    curve_v: float
    slope_v: float


def by_voltage(curve: Curve, rest_cell_v: float, drop_doubt_v: float, *, resting: bool) -> Beginning:
    """Return what a cell's voltage at rest tells, V; `drop_doubt_v` is of the drop that was taken out of it.

    What a load adds slowly to the drop is none of a rest's doubt.
    """
    at = curve.charge_at(rest_cell_v)
    curve_v = curve.rest_spread_at(at) if resting else curve.spread_at(at)
    loose_v = math.hypot(curve_v, RELAXED_V, drop_doubt_v)
    up, down = curve.charge_at(rest_cell_v + loose_v), curve.charge_at(rest_cell_v - loose_v)
    slope_v = max(0.1, 200.0 * loose_v / max(1.0, up - down))
    return Beginning(at / 100.0, loose_v / slope_v, curve_v, slope_v)


def believed(gauge: float, off: float, variance: float, *, resting: bool) -> bool:
    """Tell whether a gauge may be right that is so much above a charge known within a variance.

    One that promises more than the voltage is believed only at rest and where it does not just say "full": a
    half-used pack announced as full is the dearer mistake, and what counts from full in flight shows the same.
    """
    may_lift = resting and gauge < FULL
    return off * off <= 4.0 * (variance + GAUGE**2) and (off <= 0.02 or may_lift)
