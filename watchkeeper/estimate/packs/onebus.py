"""What packs on one bus tell of each other.

Packs in parallel have one voltage (Kirchhoff): a cell's resting voltage less the drop over its resistance is the
same in all of them, so that their charges stay together. What is told of them runs apart all the same, for each
monitor is off by itself: by 3 % of its Ah each, two of them are 3 % of the charge apart (one deviation) when 70 %
is drawn, and by 15 mV of a cell as much where a half-used pack begins on the flat of its curve; the lower of the
two, on which a forecast rests, is 1.2 % too low. So each is moved along the error that its own monitor makes, as
far as its doubt has room, to where all have one voltage; what all have in common (age, what the label promises,
the cell's curve) stays. It is worked out anew from the counts each time and never enters them: the bus tells the
same thing all flight long, and taking it for news each time would pretend to know it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import Final, NamedTuple

from watchkeeper.estimate.packs.chargefilter import ChargeFilter
from watchkeeper.estimate.packs.leaning import Lean

APART_V: Final = 0.008
"""Of a cell, one deviation: packs of one make at one charge differ by some mV at rest, and a drop of 60 mV is
known to a tenth of it (common practice)."""
MOST_APART: Final = 0.05
"""Of full charge from the middle: packs whose drops would have them further apart are unequal in more than their
monitors, or no two of one make."""
_FADES: Final = 0.2
"""By this part under and over `MOST_APART` a pack comes to count for nothing."""
_FAR: Final = 2.5
"""Deviations."""


class OnBus(NamedTuple):
    """A pack on the bus: its filter, its current, smoothed, A, and how much it counts (0 to 1)."""

    filter: ChargeFilter
    current_a: float
    counts: float = 1.0


def lean(packs: Sequence[OnBus]) -> None:
    """Move what the filters tell to where all packs on the bus have one voltage; one pack stays as it is."""
    if len(packs) < 2:
        return
    counted = [one.filter.counted for one in packs]
    middle = median(counted)
    volt_per_charge = max(0.1, 100.0 * packs[0].filter.curve.fall_at(100.0 * middle))
    drops_v = [one.filter.drop_v(one.current_a) for one in packs]
    middle_v = median(drops_v)
    apart = [(drop - middle_v) / volt_per_charge for drop in drops_v]
    level = [charge - off for charge, off in zip(counted, apart, strict=True)]
    # a gap in the radio and a start in flight make the same error in all of them
    shared = min(one.filter.loose for one in packs)
    own = [one.filter.own_error(shared) for one in packs]
    common = (APART_V / volt_per_charge) ** 2 / 2.0  # of one pack against the middle of two
    spread = [error.charge**2 + common for error in own]
    # one monitor that is plainly wrong must not draw the others after it
    middle = median(level)
    weights = [
        one.counts * _alike(off) * _weight(at - middle, square)
        for one, off, at, square in zip(packs, apart, level, spread, strict=True)
    ]
    if not any(weights):
        return
    total = sum(weight / square for weight, square in zip(weights, spread, strict=True))
    together = sum(w * at / square for w, at, square in zip(weights, level, spread, strict=True)) / total
    for one, at, error, square, weight in zip(packs, level, own, spread, weights, strict=True):
        part = weight * error.charge**2 / square
        # its part of the gap, in deviations of its own error
        lower = -weight * (together - at) * error.charge / square
        one.filter.leaning = Lean(error, lower, 1.0 - part * (1.0 - weight / (total * square)))


def _weight(off: float, square: float) -> float:
    """Return how much a pack counts that is so far off the others: what lies far out counts less the further."""
    beyond = abs(off) / (_FAR * math.sqrt(square))
    return 1.0 if beyond <= 1.0 else 1.0 / (beyond * beyond)


def _alike(apart: float) -> float:
    """Return how much a pack counts whose drop would have it so far from the middle."""
    return max(0.0, min(1.0, 0.5 + (1.0 - abs(apart) / MOST_APART) / (2.0 * _FADES)))
