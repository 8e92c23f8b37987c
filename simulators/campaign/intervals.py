"""Rates with their confidence intervals."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
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


class PerTenMinutes(TypedDict):
    """The same in ten minutes, the time by which rates of alarms are told."""

    count: int
    per_10_min: float | None
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


def per_10_min(count: int, hours: float) -> PerTenMinutes:
    """Return a rate in ten minutes, with the interval of `per_hour`."""
    rate = per_hour(count, hours)

    def sixth(per_hour: float | None) -> float | None:
        return None if per_hour is None else round(per_hour / 6, 3)

    return PerTenMinutes(
        count=count, per_10_min=sixth(rate["per_hour"]), low=sixth(rate["low"]), high=sixth(rate["high"])
    )


class Spread(TypedDict):
    """A sample's mean with the ends of its 95 % interval, its median and its 5th and 95th percentile.

    `of` counts the samples that are independent of each other. One alone has no interval.
    """

    of: int
    mean: float | None
    low: float | None
    high: float | None
    median: float | None
    p5: float | None
    p95: float | None


def spread(values: Sequence[float]) -> Spread:
    """Return what a sample says; the mean's interval by Student's t."""
    return spread_of_groups([[value] for value in values])


def spread_of_groups(groups: Iterable[Sequence[float]]) -> Spread:
    """Return what groups of values say that depend on each other within a group, like the seconds of a flight.

    Each group's mean is one value of the mean and its interval; the percentiles are those of all values.
    """
    filled = [group for group in groups if group]
    means = [math.fsum(group) / len(group) for group in filled]
    count = len(means)
    if not count:
        return Spread(of=0, mean=None, low=None, high=None, median=None, p5=None, p95=None)
    ordered = sorted(value for group in filled for value in group)
    mean = math.fsum(means) / count
    half: float | None = None
    if count > 1:
        variance = math.fsum((x - mean) ** 2 for x in means) / (count - 1)
        half = student_t(count - 1) * math.sqrt(variance / count)

    def at(part: float) -> float:
        return round(ordered[min(len(ordered) - 1, int(part * len(ordered)))], 3)

    return Spread(
        of=count,
        mean=round(mean, 3),
        low=None if half is None else round(mean - half, 3),
        high=None if half is None else round(mean + half, 3),
        median=at(0.5),
        p5=at(0.05),
        p95=at(0.95),
    )


def median_interval(ordered: Sequence[float]) -> tuple[float, float] | None:
    """Return the ends of the 95 % interval of the median of ordered values; None with fewer than six.

    Order statistics: the count below the median is binomial with a half (normal approximation to its ranks;
    Conover, Practical Nonparametric Statistics, 1999, 3.2, from memory).
    """
    count = len(ordered)
    if count < 6:
        return None
    half = _Z95 * math.sqrt(count) / 2
    low, high = math.floor(count / 2 - half), math.ceil(count / 2 + half)
    return round(ordered[max(0, low)], 2), round(ordered[min(count - 1, high)], 2)


def student_t(freedom: int) -> float:
    """Return the 97.5 % point of Student's t. ValueError below one degree of freedom.

    Its distribution is a finite sum for whole degrees of freedom: Abramowitz and Stegun, Handbook of Mathematical
    Functions, 26.7.3 and 26.7.4 (from memory).
    """
    if freedom < 1:
        raise ValueError("no degree of freedom")
    low, high = 0.0, 0.5 * math.pi
    for _ in range(60):
        angle = 0.5 * (low + high)
        low, high = (angle, high) if _within(angle, freedom) < 0.95 else (low, angle)
    return math.sqrt(freedom) * math.tan(high)


def _within(angle: float, freedom: int) -> float:
    """Return the chance that Student's t lies within +-sqrt(freedom) tan(angle)."""
    sine, cosine = math.sin(angle), math.cos(angle)
    odd = freedom % 2
    term = cosine if odd else 1.0
    total = 0.0
    for power in range(odd, freedom - 1, 2):
        total += term
        term *= cosine * cosine * (power + 1) / (power + 2)
    return 2 / math.pi * (angle + sine * total) if odd else sine * total
