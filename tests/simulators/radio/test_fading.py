"""Fading over long runs against the distributions that it claims."""

from __future__ import annotations

import importlib
import math
import statistics
from itertools import pairwise
from typing import Any

import pytest

from simulators.radio.fading import Fading
from simulators.radio.model import FadingModel

STATS: Any = importlib.import_module("scipy.stats")  # comes without types
WAVE_M = 0.3276
STEADY = 100.0


def flown(
    model: FadingModel, steps: int, speed_m_s: float, seed: int = 1, blocked_db: float = 0.0
) -> list[tuple[float, float]]:
    fading, found = Fading(model, WAVE_M, seed), []
    for i in range(steps):
        assert fading.step(0.1 * i, (0.1 * i * speed_m_s, 0.0, 50.0), blocked_db)
        found.append((fading.down_db, fading.up_db))
    return found


def test_slow_fades_are_normal_in_decibels_and_the_same_both_ways() -> None:
    # Far between so that the draws are independent; four standard errors.
    found = flown(FadingModel(sigma_db=3.0, rice_db=STEADY), 4000, 5000.0)
    assert all(down == pytest.approx(up, abs=1e-3) for down, up in found)
    slow = [down for down, _ in found]
    assert statistics.mean(slow) == pytest.approx(0.0, abs=4.0 * 3.0 / math.sqrt(4000))
    assert statistics.stdev(slow) == pytest.approx(3.0, abs=4.0 * 3.0 / math.sqrt(8000))
    assert STATS.kstest(slow, "norm", args=(0.0, 3.0)).pvalue > 0.001


@pytest.mark.parametrize("lag_m", [10.0, 30.0, 60.0])
def test_likeness_falls_with_the_distance_flown(lag_m: float) -> None:
    # Gudmundson (1991): exp(-d / D). Time plays no part here. Error by Bartlett for an exponential.
    model = FadingModel(sigma_db=3.0, along_m=30.0, along_s=1e9, rice_db=STEADY)
    slow = [down for down, _ in flown(model, 60_000, 20.0)]
    lag = round(lag_m / 2.0)
    found = statistics.mean(a * b for a, b in zip(slow, slow[lag:], strict=False)) / 9.0
    error = math.sqrt(2.0 * 30.0 / 2.0 / 60_000)
    assert found == pytest.approx(math.exp(-lag_m / 30.0), abs=4.0 * error)


@pytest.mark.parametrize("rice_db", [-60.0, 0.0, 6.0, 10.0])
def test_fast_fades_are_of_rice(rice_db: float) -> None:
    # Amplitudes against scipy's distribution; for -60 dB that is Rayleigh's, 9.5 % of it below -10 dB.
    found = flown(FadingModel(sigma_db=0.0, rice_db=rice_db), 4000, 50.0)
    ratio = 10.0 ** (0.1 * rice_db)
    scale = math.sqrt(0.5 / (ratio + 1.0))
    for way in (0, 1):
        amplitudes = [10.0 ** (0.05 * each[way]) for each in found]
        assert STATS.kstest(amplitudes, "rice", args=(math.sqrt(2.0 * ratio), 0.0, scale)).pvalue > 0.001
        assert statistics.mean(a * a for a in amplitudes) == pytest.approx(1.0, abs=4.0 / math.sqrt(4000))


def test_fast_fades_differ_by_way_and_last_in_hover() -> None:
    model = FadingModel(sigma_db=0.0, rice_db=-60.0)
    hover, cruise = flown(model, 6000, 0.0), flown(model, 6000, 10.0)
    for found, kept in ((hover, math.exp(-0.2)), (cruise, 0.0)):
        down = [10.0 ** (0.1 * each[0]) - 1.0 for each in found]
        up = [10.0 ** (0.1 * each[1]) - 1.0 for each in found]
        after = statistics.mean(a * b for a, b in pairwise(down))
        # Powers of Rayleigh keep the square of what amplitudes keep.
        assert after == pytest.approx(kept**2, abs=0.1)
        assert statistics.mean(a * b for a, b in zip(down, up, strict=True)) == pytest.approx(0.0, abs=0.1)


def test_behind_a_ridge_the_fades_are_deeper() -> None:
    model = FadingModel(sigma_db=0.0, rice_db=10.0)
    free = sum(down < -6.0 for down, _ in flown(model, 4000, 10.0))
    behind = sum(down < -6.0 for down, _ in flown(model, 4000, 10.0, blocked_db=15.0))
    assert behind > 3 * free


def test_ten_and_fifty_hertz_meet_the_same() -> None:
    def run(per_s: int) -> list[tuple[float, float]]:
        fading, found = Fading(FadingModel(), WAVE_M, "pace"), []
        for i in range(60 * per_s):
            now_s = i / per_s
            fading.step(now_s, (7.0 * now_s, 3.0, 40.0), 0.0)
            found.append((fading.down_db, fading.up_db))
        return found

    assert run(50)[::5] == run(10)


def test_by_seed_alone() -> None:
    model = FadingModel()
    assert flown(model, 50, 9.0, seed=3) == flown(model, 50, 9.0, seed=3) != flown(model, 50, 9.0, seed=4)


def test_what_cannot_be_is_refused() -> None:
    for keys in ({"sigma_db": -1.0}, {"along_m": 0.0}, {"scatter_s": 0.0}):
        with pytest.raises(ValueError, match="above 0"):
            FadingModel(**keys)
