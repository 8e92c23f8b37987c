"""A slope that single odd samples do not move: Theil (1950) and Sen (1968, J. Am. Stat. Assoc. 63, 1379).

The slope is the median of the slopes between all pairs; its confidence bounds are order statistics of the same
list, their ranks from the variance of Kendall's tau, n (n - 1) (2 n + 5) / 18.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
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


def robust_slope(xs: Sequence[float], ys: Sequence[float]) -> Slope | None:
    """Return the slope of y over x, or None with fewer than two different x. Cost grows with n squared."""
    slopes = sorted(
        (ys[j] - ys[i]) / (xs[j] - xs[i]) for j in range(1, len(xs)) for i in range(j) if xs[j] != xs[i]
    )
    if not slopes:
        return None
    n, pairs = len(xs), len(slopes)
    spread = CONFIDENCE_Z * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    low = max(0, round((pairs - spread) / 2) - 1)
    high = min(pairs - 1, round((pairs + spread) / 2))
    return Slope(median(slopes), slopes[low], slopes[high])
