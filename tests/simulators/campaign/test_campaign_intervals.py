"""Intervals of rates, against scipy."""

from __future__ import annotations

import importlib
import itertools
import math
from typing import Any

import pytest

from simulators.campaign.intervals import (
    median_interval,
    per_10_min,
    per_hour,
    share,
    spread,
    spread_of_groups,
    student_t,
)

STATS: Any = importlib.import_module("scipy.stats")  # comes without types


@pytest.mark.parametrize(
    ("count", "of"),
    [(0, 1), (1, 1), (0, 7), (7, 7), (1, 9), (5, 10), (13, 40), (39, 40), (200, 1000), (999, 1000)],
)
def test_shares_have_wilsons_interval(count: int, of: int) -> None:
    """scipy.stats.binomtest(...).proportion_ci(method="wilson"); ours are rounded to four decimals."""
    found = share(count, of)
    expected = STATS.binomtest(count, of).proportion_ci(method="wilson")
    assert found["rate"] == pytest.approx(count / of, abs=5.1e-5)
    assert found["low"] == pytest.approx(expected.low, abs=5.1e-5)
    assert found["high"] == pytest.approx(expected.high, abs=5.1e-5)
    assert (found["count"], found["of"]) == (count, of)


def test_a_share_of_nothing_has_no_rate() -> None:
    assert share(0, 0) == {"count": 0, "of": 0, "rate": None, "low": None, "high": None}


@pytest.mark.parametrize(
    ("count", "low_within", "high_within"),
    [(1, 0.49, 0.002), (2, 0.08, 0.001), (3, 0.03, 3e-4), (5, 0.01, 1e-4), (20, 5e-4, 1e-4), (300, 1e-5, 1e-5)],
)
def test_counts_have_poissons_interval(count: int, low_within: float, high_within: float) -> None:
    """Against Garwood's exact limits by chi squared.

    Byar's approximation is on the safe side of the lower one: half as much for one event, 7 % less for two, under
    1 % from five on. The upper one is off by 0.14 % at most. Over a short time, so that rounding plays no part.
    """
    found = per_hour(count, 1e-4)
    low, high = STATS.chi2.ppf(0.025, 2 * count) / 2, STATS.chi2.ppf(0.975, 2 * count + 2) / 2
    assert found["low"] is not None
    assert found["high"] is not None
    assert low * (1 - low_within) <= 1e-4 * found["low"] <= low * (1 + 1e-6)
    assert 1e-4 * found["high"] == pytest.approx(high, rel=high_within)


def test_no_event_has_an_upper_limit_only() -> None:
    """-ln 0.025 = 3.689 for none (Garwood); Byar's is 0.6 % less."""
    found = per_hour(0, 2.0)
    assert (found["per_hour"], found["low"]) == (0.0, 0.0)
    assert found["high"] == pytest.approx(-math.log(0.025) / 2, rel=0.006)


def test_a_rate_over_no_time_is_none() -> None:
    assert per_hour(3, 0.0) == {"count": 3, "hours": 0.0, "per_hour": None, "low": None, "high": None}
    assert per_10_min(3, 0.0) == {"count": 3, "per_10_min": None, "low": None, "high": None}


def test_ten_minutes_are_a_sixth_of_an_hour() -> None:
    hour, ten = per_hour(7, 3.0), per_10_min(7, 3.0)
    for sixth, whole in (
        (ten["per_10_min"], hour["per_hour"]),
        (ten["low"], hour["low"]),
        (ten["high"], hour["high"]),
    ):
        assert whole is not None
        assert sixth == pytest.approx(whole / 6, abs=6e-4)


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 9, 30, 100, 1000])
def test_students_t(freedom: int) -> None:
    assert student_t(freedom) == pytest.approx(STATS.t.ppf(0.975, freedom), rel=1e-9)


def test_without_a_degree_of_freedom_there_is_no_t() -> None:
    with pytest.raises(ValueError, match="no degree of freedom"):
        student_t(0)


@pytest.mark.parametrize("values", [[1.0, 4.0], [3.0, 3.5, 9.0], [float(i * i) for i in range(30)]])
def test_a_mean_has_students_interval(values: list[float]) -> None:
    """scipy.stats.t.interval at the standard error of the mean."""
    found = spread(values)
    low, high = STATS.t.interval(0.95, len(values) - 1, loc=sum(values) / len(values), scale=STATS.sem(values))
    assert found["of"] == len(values)
    assert found["mean"] == pytest.approx(sum(values) / len(values), abs=1e-3)
    assert found["low"] == pytest.approx(low, abs=6e-4)
    assert found["high"] == pytest.approx(high, abs=6e-4)


def test_one_value_has_no_interval() -> None:
    found = spread([4.0])
    assert (found["of"], found["mean"], found["low"], found["high"]) == (1, 4.0, None, None)
    assert (found["p5"], found["median"], found["p95"]) == (4.0, 4.0, 4.0)


def test_nothing_has_no_spread() -> None:
    nothing = {"of": 0, "mean": None, "low": None, "high": None, "median": None, "p5": None, "p95": None}
    assert spread([]) == nothing
    assert spread_of_groups([[], []]) == nothing


def test_percentiles_are_those_of_the_values() -> None:
    found = spread([float(i) for i in reversed(range(100))])
    assert (found["p5"], found["median"], found["p95"]) == (5.0, 50.0, 95.0)


def test_values_of_a_group_count_once_for_the_interval() -> None:
    """A thousand seconds of a flight say no more of other flights than their mean does."""
    groups = [[1.0] * 1000, [], [3.0, 5.0] * 200, [9.0]]
    found, means = spread_of_groups(groups), spread([1.0, 4.0, 9.0])
    assert found["of"] == 3
    assert (found["mean"], found["low"], found["high"]) == (means["mean"], means["low"], means["high"])
    assert found["median"] == sorted(itertools.chain(*groups))[1401 // 2]
    assert found["p95"] == 5.0


def test_the_interval_of_a_median_is_by_ranks() -> None:
    """Conover's table A3 for n = 20: the 6th and 15th of the ordered values hold it with 95.9 % (from memory).

    The normal approximation takes the next rank outwards above.
    """
    assert median_interval([float(i) for i in range(1, 21)]) == (6.0, 16.0)
    assert median_interval([1.0] * 5) is None
