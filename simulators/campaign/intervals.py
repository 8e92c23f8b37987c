"""Rates with their confidence intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, TypedDict

_Z95: Final = 1.959964


class Rate(TypedDict):
    """A share of a number of trials, and the ends of its 95 % interval."""

    count: int
    of: int
    rate: float | None
    low: float | None
    high: float | None


def share(count: int, of: int) -> Rate:
    """Return a rate with Wilson's score interval (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927)."""
    if not of:
        return Rate(count=count, of=0, rate=None, low=None, high=None)
    p, z2 = count / of, _Z95 * _Z95
    centre = (p + z2 / (2 * of)) / (1 + z2 / of)
    half = _Z95 / (1 + z2 / of) * math.sqrt(p * (1 - p) / of + z2 / (4 * of * of))
    low = 0.0 if count == 0 else max(0.0, centre - half)
    high = 1.0 if count == of else min(1.0, centre + half)
    return Rate(count=count, of=of, rate=round(p, 4), low=round(low, 4), high=round(high, 4))


class PerHour(TypedDict):
    """A number of events in a time, as a rate an hour with the ends of its 95 % interval."""

    count: int
    hours: float
    per_hour: float | None
    low: float | None
    high: float | None


def per_hour(count: int, hours: float) -> PerHour:
    """Return a rate an hour; interval of a Poisson count by Byar's approximation.

    Breslow and Day, Statistical Methods in Cancer Research II, 1987, eq. 2.13 (from memory).
    """
    if hours <= 0:
        return PerHour(count=count, hours=0.0, per_hour=None, low=None, high=None)
    low = 0.0 if count == 0 else count * (1 - 1 / (9 * count) - _Z95 / (3 * math.sqrt(count))) ** 3
    more = count + 1
    high = more * (1 - 1 / (9 * more) + _Z95 / (3 * math.sqrt(more))) ** 3
    return PerHour(
        count=count,
        hours=round(hours, 3),
        per_hour=round(count / hours, 3),
        low=round(low / hours, 3),
        high=round(high / hours, 3),
    )


class Spread(TypedDict):
    """A sample's mean with the ends of its 95 % interval, its median and its 5th and 95th percentile."""

    of: int
    mean: float | None
    low: float | None
    high: float | None
    median: float | None
    p5: float | None
    p95: float | None


def spread(values: Sequence[float]) -> Spread:
    """Return what a sample says; the mean's interval by the normal distribution."""
    count = len(values)
    if not count:
        return Spread(of=0, mean=None, low=None, high=None, median=None, p5=None, p95=None)
    ordered = sorted(values)
    mean = sum(ordered) / count
    variance = sum((x - mean) ** 2 for x in ordered) / (count - 1) if count > 1 else 0.0
    half = _Z95 * math.sqrt(variance / count)

    def at(part: float) -> float:
        return round(ordered[min(count - 1, int(part * count))], 3)

    return Spread(
        of=count,
        mean=round(mean, 3),
        low=round(mean - half, 3),
        high=round(mean + half, 3),
        median=at(0.5),
        p5=at(0.05),
        p95=at(0.95),
    )
