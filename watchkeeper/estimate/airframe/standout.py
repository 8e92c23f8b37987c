"""How far one motor stands out above all others, and what trim explains of it.

Each motor's share is its speed (or output) over the mean of all, so that load, climb and density fall out. A
lean and a turn are trimmed by raising some motors and lowering others: in pairs, opposite ones by the same. On
four motors the one that stands out through trim has an opposite that is as low as it is high, and that part is
taken off; what is left of a motor that alone turns faster by x is x (four shares: 3/4 x up, the others 1/4 x
down). On more motors a lean raises neighbours too, so that the gap to the second highest is what no lean makes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import Final

_FOUR: Final = 4


def shares(values: Sequence[float]) -> list[float] | None:
    """Return each value over the mean of all, less one; None where nothing turns."""
    mean = sum(values) / len(values)
    return [value / mean - 1 for value in values] if mean > 0 else None


def standout(excess: Sequence[float]) -> tuple[float, int]:
    """Return by how much one of the shares, less its usual value, stands out (0 or more), and which."""
    which = max(range(len(excess)), key=excess.__getitem__)
    ordered = sorted(excess)
    out = ordered[-1] - ordered[-2]
    if len(excess) == _FOUR:
        out = min(out, 2 * (ordered[-1] + ordered[0]))
    return max(0.0, out), which


def deviations(motors: int) -> float:
    """Return how many deviations of one share make one of what `standout` tells of independent ones.

    A gap is the difference of two. Of four, twice a sum of two may be what counts, and is 2.8 by itself; the
    lesser of it and the gap is taken as 2.
    """
    return 2.0 if motors == _FOUR else math.sqrt(2.0)


def over_others(values: Sequence[float], which: int) -> float:
    """Return a value less the median of the others."""
    return values[which] - median([*values[:which], *values[which + 1 :]])
