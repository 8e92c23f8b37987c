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


def student_t(freedom: int) -> float:
    """Return the 97.5 % point of Student's t, to a thousandth of itself. ValueError below one degree of freedom.

    Exact for one and two degrees of freedom; else by the series of Abramowitz and Stegun, Handbook of Mathematical
    Functions, 26.7.5 (from memory).
    """
    if freedom < 1:
        raise ValueError("no degree of freedom")
    if freedom == 1:
        return math.tan(math.pi * 0.475)
    if freedom == 2:
        return 0.95 * math.sqrt(2 / (1 - 0.95**2))
    z = _Z95
    terms = (
        z,
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160,
    )
    return math.fsum(term / freedom**power for power, term in enumerate(terms))
