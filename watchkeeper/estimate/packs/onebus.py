"""What packs on one bus tell of each other.

Packs in parallel have one voltage (Kirchhoff). So what their monitors show of it shows by how much each is off the
others: two of them 1 % of the voltage apart have half-used packs up to 11 % of the charge apart where those begin
on the flat of their curve. Each is moved by what its own filter has made of that.

And a cell's resting voltage less the drop over its resistance is the same in all of them, so that their charges
stay together. What is told of them runs apart all the same, for each monitor's current is off by itself: by 3 % of
its Ah each, two of them are 3 % of the charge apart (one deviation) when 70 % is drawn, and the lower of the two,
on which a forecast rests, is 1.2 % too low. So each is moved along its own error, as far as its doubt has room, to
where all have one voltage; what all have in common (age, what the label promises, the cell's curve) stays.

It is worked out anew from the counts each time and never enters them: the bus tells the same thing all flight
long, and taking it for news each time would pretend to know it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import Final, NamedTuple

from watchkeeper.estimate.matrix import Matrix
from watchkeeper.estimate.packs.busvolts import Over
from watchkeeper.estimate.packs.chargefilter import ChargeFilter, Z
from watchkeeper.estimate.packs.curve import MEASURED_V
from watchkeeper.estimate.packs.leaning import Lean, Vector, plus, times, together, within, without

APART_V: Final = 0.008
"""Of a cell, one deviation: packs of one make at one charge differ by some mV at rest, and a drop of 60 mV is
known to a tenth of it (common practice)."""
LEADS_V: Final = 0.005
"""Of a cell, one deviation: what lies between a monitor and the bus, 1 mohm at 60 A over 12 cells (common
practice)."""
MOST_APART: Final = 0.05
"""Of full charge from the middle: packs whose drops would have them further apart are unequal in more than their
monitors, or no two of one make."""
_FADES: Final = 0.2
"""By this part under and over `MOST_APART` a pack comes to count for nothing."""
MOST_OFF: Final = 5.0
"""Deviations of a monitor's voltage from the middle: one that is further off measures another voltage, or none."""
_FAR: Final = 2.5
"""Deviations."""
_MEDIAN: Final = 1.35
"""Times the variance of a mean, at most, has a median of three to eight (by simulation); of two it is the mean."""


class OnBus(NamedTuple):
    """A pack on the bus: its filter, its current, smoothed, A, and how much it counts (0 to 1).

    `over` is by how much its monitor shows a cell over the middle of all on the bus.
    """

    filter: ChargeFilter
    current_a: float
    counts: float = 1.0
    over: Over = Over(0.0, 0.0)


class _Shown(NamedTuple):
    """A pack with its monitor's voltage put right, as far as the bus shows it."""

    moved: Vector
    known: Vector
    left: Matrix
    own: Vector
    """Its own error that the voltages do not show."""


def lean(packs: Sequence[OnBus]) -> None:
    """Move what the filters tell to where all packs on the bus have one voltage; one pack stays as it is."""
    if len(packs) < 2:
        return
    # a gap in the radio and a start in flight make the same error in all of them
    shared = min(one.filter.loose for one in packs)
    counts = min(one.counts for one in packs)  # a middle is known as well as all that it is made of
    shown = [_shown(one, len(packs), counts, shared) for one in packs]
    counted = [one.filter.counted + at.moved[Z] for one, at in zip(packs, shown, strict=True)]
    volt_per_charge = max(0.1, 100.0 * packs[0].filter.curve.fall_at(100.0 * median(counted)))
    drops_v = [one.filter.drop_v(one.current_a, at.moved) for one, at in zip(packs, shown, strict=True)]
    middle_v = median(drops_v)
    apart = [(drop - middle_v) / volt_per_charge for drop in drops_v]
    level = [charge - off for charge, off in zip(counted, apart, strict=True)]
    common = (APART_V / volt_per_charge) ** 2 / 2.0  # of one pack against the middle of two
    spread = [at.own[Z] ** 2 + common for at in shown]
    # one monitor that is plainly wrong must not draw the others after it
    middle = median(level)
    weights = [
        one.counts * _alike(off) * _weight(at - middle, square)
        for one, off, at, square in zip(packs, apart, level, spread, strict=True)
    ]
    total = sum(weight / square for weight, square in zip(weights, spread, strict=True))
    if total <= 0.0:  # unequal packs have one voltage all the same
        for one, seen in zip(packs, shown, strict=True):
            one.filter.leaning = Lean(seen.moved, (seen.known,))
        return
    meet = sum(w * at / square for w, at, square in zip(weights, level, spread, strict=True)) / total
    gone: list[float] = []
    for seen, square, weight in zip(shown, spread, weights, strict=True):
        gone.append(max(0.0, weight * seen.own[Z] ** 2 / square * (1.0 - weight / (total * square))))
    left = [seen.left[Z][Z] - part * seen.own[Z] ** 2 for seen, part in zip(shown, gone, strict=True)]
    for i, (one, seen, at, square, weight) in enumerate(zip(packs, shown, level, spread, weights, strict=True)):
        # its part of the gap, in deviations of its own error
        lower = weight * (meet - at) * seen.own[Z] / square
        moved = plus(seen.moved, times(lower, seen.own))
        part = _no_surer(gone[i], seen, min(left[:i] + left[i + 1 :]))
        one.filter.leaning = Lean(moved, (seen.known, times(math.sqrt(part), seen.own)))


def _no_surer(part: float, pack: _Shown, others: float) -> float:
    """Return how much of its own variance a pack loses: it is no surer than the surest of those it is moved to."""
    own, before = pack.own[Z] ** 2, pack.left[Z][Z]
    least = min(before, part * others)
    return max(0.0, min(part, (before - least) / own)) if own > 0.0 else 0.0


def _shown(pack: OnBus, packs: int, counts: float, shared: float) -> _Shown:
    """Return a pack with what the bus shows of its monitor's voltage."""
    kept = pack.filter
    (p, volts), off = kept.volts_error(), pack.over.over_v / MEASURED_V
    of_middle = 1.0 / packs if packs == 2 else _MEDIAN / packs
    far = abs(off) / math.sqrt(1.0 - of_middle)
    sure = counts * pack.over.sure * _sure(far)
    leads = (LEADS_V / MEASURED_V) ** 2
    # what the middle of all monitors is off stays; where they are further apart than they should, all of it may be
    usual = max(0.0, 1.0 - max(0.0, far - _FAR) ** 2)
    known = times(math.sqrt(sure * usual * (1.0 - of_middle) * (1.0 - leads)), within(p, volts))
    left = without(p, known)
    rest = times(math.sqrt(1.0 - sure + sure * leads), volts)
    return _Shown(times(sure * off, volts), known, left, within(left, together([*kept.own_errors(shared), rest])))


def _sure(off: float) -> float:
    """Return how much it counts what a monitor is off by, in deviations."""
    return max(0.0, min(1.0, 0.5 + (1.0 - off / MOST_OFF) / (2.0 * _FADES)))


def _weight(off: float, square: float) -> float:
    """Return how much a pack counts that is so far off the others: what lies far out counts less the further."""
    beyond = abs(off) / (_FAR * math.sqrt(square))
    return 1.0 if beyond <= 1.0 else 1.0 / (beyond * beyond)


def _alike(apart: float) -> float:
    """Return how much a pack counts whose drop would have it so far from the middle."""
    return max(0.0, min(1.0, 0.5 + (1.0 - abs(apart) / MOST_APART) / (2.0 * _FADES)))
