"""The robust slope by hand, and against scipy's: theilslopes, and sen_seasonal_slopes for classes."""

from __future__ import annotations

import importlib
import random
from typing import Any

import numpy as np
import pytest

from watchkeeper.estimate.slope import median, robust_slope

STATS: Any = importlib.import_module("scipy.stats")  # comes without types
MSTATS: Any = importlib.import_module("scipy.stats.mstats")


def test_by_hand() -> None:
    # Pairs of (0,0) (1,1) (2,4): slopes 1, 2, 3; the median is 2.
    slope = robust_slope([0, 1, 2], [0, 1, 4])
    assert slope is not None
    assert slope.middle == 2
    assert slope.low <= 2 <= slope.high


def test_sen_1968_example() -> None:
    # The worked example of Sen (1968), from memory: slope 4, its bounds near 3.7 and 4.3.
    slope = robust_slope([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78])
    assert slope is not None
    assert slope.middle == 4
    assert 3.6 < slope.low < 4 < slope.high < 4.4


def test_a_wild_sample_does_not_move_it() -> None:
    xs = [float(x) for x in range(20)]
    ys = [30 - 0.5 * x for x in xs]
    ys[7] = -200
    slope = robust_slope(xs, ys)
    assert slope is not None
    assert slope.middle == pytest.approx(-0.5)
    assert slope.high < 0


def test_bounds_hold_the_true_slope_nineteen_times_in_twenty() -> None:
    source = random.Random(5)
    xs = [3.0 * i for i in range(20)]
    held = 0
    for _ in range(400):
        slope = robust_slope(xs, [0.1 * x + source.gauss(0, 1) for x in xs])
        assert slope is not None
        held += slope.low <= 0.1 <= slope.high
    assert 360 <= held <= 396  # 95 % of 400, within three standard deviations and the ranks' rounding


def test_median_and_too_few() -> None:
    assert median([1, 2, 4]) == 2
    assert median([1, 2, 4, 9]) == 3
    assert robust_slope([1], [1]) is None
    assert robust_slope([2, 2], [1, 3]) is None


@pytest.mark.parametrize("n", [4, 8, 13, 20])
def test_as_scipy_has_it(n: int) -> None:
    # scipy.stats.theilslopes (Sen 1968), alpha 0.95
    chance = random.Random(n)
    xs = [3.0 * i for i in range(n)]
    ys = [-0.1 * x + chance.gauss(0, 2) for x in xs]
    found = robust_slope(xs, ys)
    expected = STATS.theilslopes(ys, xs, 0.95)
    assert found is not None
    assert found.middle == pytest.approx(float(expected.slope))
    assert found.low == pytest.approx(float(expected.low_slope))
    assert found.high == pytest.approx(float(expected.high_slope))


def test_within_classes_as_scipy_has_it() -> None:
    # scipy.stats.mstats.sen_seasonal_slopes (Hirsch, Slack and Smith 1982): median of the slopes within classes
    chance = np.random.default_rng(3)
    table = chance.normal(size=(9, 4)) + np.array([0.0, 12.0, -7.0, 30.0]) - 0.3 * np.arange(9)[:, None]
    flat = [(float(year), float(table[year, season]), season) for year in range(9) for season in range(4)]
    years, values, seasons = (list(column) for column in zip(*flat, strict=True))
    found = robust_slope(years, values, seasons)
    assert found is not None
    assert found.middle == pytest.approx(float(MSTATS.sen_seasonal_slopes(table).inter_slope))
    assert found.low < -0.3 < found.high < 0
    # with one class only it is the ordinary slope, and steps between classes then count
    assert robust_slope([0, 1, 2, 3], [0, 0, 9, 9], [1, 1, 2, 2]) == (0, 0, 0)
    assert robust_slope([0, 1, 2, 3], [0, 1, 9, 9], [1, 2, 3, 4]) is None
    assert robust_slope([0, 1, 2, 3], [0, 1, 2, 3], least=7) is None
