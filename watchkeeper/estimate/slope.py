"""A slope that single odd samples do not move: Theil (1950) and Sen (1968, J. Am. Stat. Assoc. 63, 1379).

The slope is the median of the slopes between all pairs; its confidence bounds are order statistics of the same
list, their ranks from the variance of Kendall's tau, n (n - 1) (2 n + 5) / 18. Where samples fall into classes
that differ by a step of their own (seasons, headings), only pairs within a class count, and the variances add
(Hirsch, Slack and Smith 1982, Water Resources Research 18, 107).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Hashable, Sequence
from typing import Final, NamedTuple

CONFIDENCE_Z: Final = 1.96  # two-sided 95 % of the normal distribution


class Slope(NamedTuple):
    """A slope and its 95 % bounds, in units of y a unit of x."""

    middle: float
    low: float
    high: float


def median(ordered: Sequence[float]) -> float:
    """Return the median of an ordered, non-empty list."""
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def robust_slope(
    xs: Sequence[float], ys: Sequence[float], classes: Sequence[Hashable] | None = None, least: int = 1
) -> Slope | None:
    """Return the slope of y over x, or None with fewer than `least` pairs of different x in one class.

    Without `classes` all samples are of one. Cost grows with n squared.
    """
    of = classes if classes is not None else [None] * len(xs)
    slopes = sorted(
        (ys[j] - ys[i]) / (xs[j] - xs[i])
        for j in range(1, len(xs))
        for i in range(j)
        if of[i] == of[j] and xs[j] != xs[i]
    )
    pairs = len(slopes)
    if pairs < max(1, least):
        return None
    variance = sum(n * (n - 1) * (2 * n + 5) for n in Counter(of).values()) / 18
    spread = CONFIDENCE_Z * math.sqrt(variance)
    low = max(0, round((pairs - spread) / 2) - 1)
    high = min(pairs - 1, round((pairs + spread) / 2))
    return Slope(median(slopes), slopes[low], slopes[high])
