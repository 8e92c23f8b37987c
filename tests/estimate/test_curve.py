"""The polymer cell's curve and by how much cells differ, against four published cells by pybamm."""

from __future__ import annotations

import numpy as np
import pytest

from tests.estimate.publishedcells import CELLS, rest_v
from watchkeeper.estimate.packs.curve import CHARGE_PCT, PUBLISHED

LIPO = PUBLISHED["lipo"]
CHARGES = tuple(pct / 100 for pct in CHARGE_PCT)
MEASURED_V = 0.015
"""What a monitor is off by on a cell of a pack: 0.4 % of 3.7 V (common practice)."""
LOWEST = 4
"""The point at 5 %: where it is empty all cells are 3.0 V by definition, and this spread is held down to there."""


def published() -> np.ndarray:
    return np.array([rest_v(name, CHARGES) for name in CELLS])


def test_the_published_cells_lie_between_the_ends_that_were_asked_for() -> None:
    for row in published():
        assert (row[0], row[-1]) == pytest.approx((3.0, 4.2), abs=1e-4)
        assert np.all(np.diff(row) > 0)


def test_the_curve_is_their_mean() -> None:
    told = [LIPO.rest_voltage_at(pct) for pct in CHARGE_PCT]
    assert told == pytest.approx(published().mean(axis=0).tolist(), abs=0.001)


def test_its_doubt_is_by_how_much_they_differ_and_what_measuring_adds() -> None:
    apart_v = published().std(axis=0, ddof=1)
    apart_v[:LOWEST] = apart_v[LOWEST]
    expected = np.hypot(apart_v, MEASURED_V).tolist()
    assert [LIPO.spread_at(pct) for pct in CHARGE_PCT] == pytest.approx(expected, abs=0.001)


def test_between_its_points_the_doubt_lies_evenly() -> None:
    # by hand, from 20 to 30 %: 61 and 50 mV apart, with 15 mV 62.8 and 52.2
    assert LIPO.spread_at(25.0) == pytest.approx((0.0628 + 0.0522) / 2, abs=0.001)
    assert (LIPO.spread_at(-5.0), LIPO.spread_at(105.0)) == (LIPO.spread_at(0.0), LIPO.spread_at(100.0))
