"""The filter of one pack's charge: against numpy, and flown on pybamm's Thevenin cell (facts section 6)."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from tests.estimate.packflight import CHARGE, GROUND_S, REST_V, Bench, Second, Told, flown_a, fly, thevenin
from watchkeeper.aircraft.files import Packs
from watchkeeper.estimate.matrix import cholesky, is_covariance
from watchkeeper.estimate.packs.cell import PackState
from watchkeeper.estimate.packs.chargefilter import ChargeFilter
from watchkeeper.estimate.packs.curve import PUBLISHED

FILE = "packs: {cells: 12, capacity: 22 Ah}"
PACKS = Packs.model_validate({"cells": 12, "capacity": "22 Ah"})
SEEDS = range(12)
OVER = 0.08
"""Below this the oracle's curve (3.0 V at empty) is another than the published one (2.5 V)."""


# --- matrices: numpy ---------------------------------------------------------------------------------------------


def covariance(seed: int, n: int = 4) -> np.ndarray:
    random = np.random.default_rng(seed)
    spread = np.array([0.05, 0.3, 0.015, 0.06][:n])
    a = random.normal(size=(n, n + 2))
    p = a @ a.T / (n + 2)
    return p * np.outer(spread, spread)


@pytest.mark.parametrize("seed", range(5))
def test_cholesky_as_numpy_computes_it(seed: int) -> None:
    p = covariance(seed)
    assert np.array(cholesky(p.tolist())) == pytest.approx(np.linalg.cholesky(p), abs=1e-12)


def test_cholesky_of_what_is_flat_in_one_direction() -> None:
    a = np.array([[1.0, 0.0], [2.0, 0.0], [0.5, 3.0]])
    low = np.array(cholesky((a @ a.T).tolist()))
    assert low @ low.T == pytest.approx(a @ a.T, abs=1e-9)
    assert cholesky([[0.0, 0.0], [0.0, 0.0]]) == [[0.0, 0.0], [0.0, 0.0]]


def test_what_is_a_covariance_and_what_is_not() -> None:
    p = covariance(1)
    assert is_covariance(p.tolist(), 100.0)
    for i, j, value in ((0, 0, -1e-9), (0, 1, 1.0), (2, 2, 1e6), (3, 3, math.nan)):
        wrong = p.copy()
        wrong[i, j] = value
        assert not is_covariance(wrong.tolist(), 100.0)
    wrong = p.copy()
    wrong[0, 1] = wrong[1, 0] = 2 * math.sqrt(p[0, 0] * p[1, 1])
    assert not is_covariance(wrong.tolist(), 100.0)


def at(seed: int, charge: float = 0.55) -> ChargeFilter:
    filter_ = ChargeFilter(PACKS, 12, 22.0)
    filter_._x = [charge, 0.1, 0.004, 0.05]
    filter_._p = covariance(seed).tolist()
    filter_.started = True
    return filter_


@pytest.mark.parametrize("seed", range(3))
def test_a_draw_is_the_filters_step_on_numpys_matrices(seed: int) -> None:
    filter_ = at(seed)
    x, p = np.array(filter_._x), np.array(filter_._p)
    used_ah, doubt = 0.7, 0.004

    def moved(state: np.ndarray) -> np.ndarray:
        """Return it with dz = -used e^k / Q; the curve's error forgets over half the charge (Gauss-Markov)."""
        step = used_ah * math.exp(state[3]) / 22.0
        return np.array([state[0] - step, state[1], state[2] * keep * grown, state[3]])

    step = used_ah * math.exp(x[3]) / 22.0
    keep = math.exp(-step / 0.5)
    there_v = PUBLISHED["lipo"].spread_at(100 * (0.55 - step))
    grown = there_v / PUBLISHED["lipo"].spread_at(55)  # a cell keeps by how many deviations it is off
    jacobian = np.column_stack([(moved(x + d) - moved(x - d)) / 2e-6 for d in np.eye(4) * 1e-6])
    expected = jacobian @ p @ jacobian.T + np.diag([doubt**2, 0.0, (1 - keep**2) * there_v**2, 0.0])
    filter_.draw(used_ah, doubt)
    assert np.array(filter_._x) == pytest.approx(moved(x), abs=1e-12)
    assert np.array(filter_._p) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_a_voltage_is_the_filters_step_on_numpys_matrices(seed: int) -> None:
    charge = 0.55
    filter_ = at(seed, charge)
    p = np.array(filter_._p)
    p[0, :] *= 0.1  # a charge known to a per cent or so: no kink of the curve within
    p[:, 0] *= 0.1
    filter_._p = p.tolist()
    filter_.hear(3.7, 60.0, None, 1_000_000)  # the first tells the load
    before = np.array(filter_._x)
    fast = 0.033 / 22 * (1 + 100 / 400) / 1.65  # ohm Ah, 100 cycles, the shares 1 + 0.40 + 0.25

    def volt(state: np.ndarray) -> float:
        """Return the curve and its error, less a drop through three settled resistances."""
        rest_v = PUBLISHED["lipo"].rest_voltage_at(100 * state[0])
        ohm = fast * (1 + 0.4 * math.exp((0.10 - charge) / 0.06)) * math.exp(state[1])
        return float(rest_v + state[2] - ohm * 60.0 * 1.65)

    row = np.array([(volt(before + d) - volt(before - d)) / 2e-5 for d in np.eye(4) * 1e-5])
    p[1, 1] += 0.002**2 * 2.0  # two seconds
    noise = 0.010**2 * 8.0 / 2.0
    spread = row @ p @ row + noise
    measured = volt(before) + 0.5 * math.sqrt(spread)
    gain = p @ row / spread
    filter_.hear(measured, 60.0, None, 3_000_000)
    assert np.array(filter_._x) == pytest.approx(before + gain * 0.5 * math.sqrt(spread), abs=1e-6)
    assert np.array(filter_._p) == pytest.approx((np.eye(4) - np.outer(gain, row)) @ p, abs=1e-7)


def test_the_doubtful_states_are_the_columns_of_the_covariance() -> None:
    filter_ = at(4)
    middle = filter_.state()

    def vector(s: PackState) -> np.ndarray:
        curve_v = s.curve_off * PUBLISHED["lipo"].spread_at(100 * s.charge)
        return np.array([s.charge, math.log(s.cell_ohm), curve_v, math.log(s.per_ah)])

    off = [vector(s) - vector(middle) for s in filter_.doubtful()]
    assert sum(np.outer(d, d) for d in off) == pytest.approx(np.array(filter_._p), abs=1e-9)
    assert all(d[0] <= 0 for d in off)  # to the dear side
    assert off[3][3] > 0


def test_a_beginning_on_what_was_learned_leaves_a_covariance() -> None:
    for rest_v, gauge in ((3.8, None), (3.8, 50.0), (None, 60.0), (4.1, 90.0)):
        filter_ = at(5)
        assert filter_.begin(
            rest_v, gauge, resting=False, load_a=60.0, cell_v=None if rest_v is None else rest_v - 0.1
        )
        assert is_covariance(filter_._p, 100.0)
        assert filter_._x[1] == pytest.approx(0.1, abs=0.2)
    used = at(5)
    used._p[0] = [0.09, 0.08, 0.003, 0.017]
    for i in range(4):
        used._p[i][0] = used._p[0][i]
    assert used.begin(4.05, None, resting=True, load_a=0.0)
    assert used._p[0][1] == used._p[0][3] == used._p[2][1] == used._p[2][3] == 0.0  # a pack at rest tells neither
    assert not ChargeFilter(PACKS, 12, 22.0).begin(None, None, resting=True, load_a=0.0)


# --- flown: pybamm -----------------------------------------------------------------------------------------------


@cache
def oracle(charge: float) -> tuple[Second, ...]:
    return tuple(s for s in thevenin(charge, flown_a(1000)) if s.charge > OVER)


def first_minute_over(told: list[Told]) -> list[Told]:
    return [one for one in told if one.time_s >= GROUND_S + 60]


@pytest.mark.parametrize("scale", [1.03, 0.97])
@pytest.mark.parametrize("charge", [0.95, 0.7])
def test_charge_of_a_cell_unlike_the_mean_is_known_within_its_own_doubt(charge: float, scale: float) -> None:
    """A gauge 30 % too high, a current scale 3 % off, 10 mV a cell; it rests up to 0.1 V beside the curve."""
    within, worst, most = [], 0.0, 0.0
    for seed in SEEDS:
        told = fly(Bench(FILE), oracle(charge), gauge_pct=100 * charge + 30, scale=scale, seed=seed)
        late = first_minute_over(told)
        worst = max(worst, *(-one.error for one in late))
        most = max(most, *(one.error for one in late))
        within += [abs(one.error) <= 2 * one.doubt for one in late]
    # Measured: 4.2 to 8.2 % too little, 0.5 % too much at the most: at 20 % it rests at 3.587 V, where the mean of
    # the published cells has 13 %.
    assert worst < 0.09
    assert most < 0.01
    assert sum(within) / len(within) > 0.9


@pytest.mark.parametrize("gauge_pct", [80.0, 100.0])
def test_a_half_used_pack_announced_as_fuller_is_found_within_a_minute(gauge_pct: float) -> None:
    # published curves differ by 18 mV; on the flat (40 to 50 %: 17 mV in 10 %) those are 10.6 % of charge
    for seed in SEEDS:
        told = fly(Bench(FILE), oracle(0.5), gauge_pct=gauge_pct, scale=1.03, seed=seed)
        flying = [one for one in told if one.time_s >= GROUND_S]
        assert all(abs(one.error) < 0.106 and abs(one.error) < 2 * one.doubt for one in flying[:60])
        found = [one.gauge_off_pct for one in flying if one.time_s <= GROUND_S + 60]
        assert found[-1] is not None
        assert 0 < found[-1] < gauge_pct - 40
        if gauge_pct == 100.0:
            assert all(off is not None and off > 10 for off in found)


def test_a_right_gauge_is_not_called_wrong() -> None:
    for seed in SEEDS:
        told = fly(Bench(FILE), oracle(0.95), gauge_pct=96.0, seed=seed)
        assert max(abs(one.gauge_off_pct or 0.0) for one in told) < 2.0


def test_bounds_are_honest_for_packs_that_differ_as_packs_do() -> None:
    """Two deviations hold for nine seconds in ten, though age, resistance, curve, current and start all differ."""
    random = np.random.default_rng(7)
    seconds, within, errors = 0, 0, []
    for seed in range(16):
        lift = 0.018 * random.normal() * np.exp(-(((np.array(CHARGE) - random.uniform(0.2, 0.8)) / 0.2) ** 2))
        truth = thevenin(
            random.uniform(0.45, 0.97),
            flown_a(700),
            r0_ohm=1.5e-3 * math.exp(0.3 * random.normal()),
            capacity_ah=22.0 * (1 + 0.03 * random.normal()),
            above_v=tuple(lift),
        )
        told = fly(
            Bench(FILE),
            [s for s in truth if s.charge > OVER],
            scale=1 + 0.03 * random.normal(),
            seed=seed,
            gauge_pct=100 * truth[0].charge + 10 * random.normal(),
        )
        late = first_minute_over(told)
        seconds += len(late)
        within += sum(abs(one.error) <= 2 * one.doubt for one in late)
        errors += [one.error for one in late]
    share = within / seconds
    rms = float(np.sqrt(np.mean(np.square(errors))))
    print(f"within two deviations {share:.3f}, rms {rms:.4f}")
    assert share > 0.85
    assert rms < 0.05


def test_resistance_is_learned() -> None:
    bench = Bench(FILE)
    fly(bench, [s for s in oracle(0.95) if s.time_s < 600], gauge_pct=95.0)
    # 1.5 + 1.0 mohm, settled
    assert bench.filter.state().cell_ohm == pytest.approx(2.5e-3, rel=0.15)


def test_usable_charge_ends_where_the_oracle_falls_under_the_floor() -> None:
    """The mean power of the flight, settled, at 3.3 V a cell: Kirchhoff at every charge of the oracle.

    Its cell has the mean curve, so that what is judged is where the power cannot be held.
    """
    bench = Bench(FILE)
    mean_v = [PUBLISHED["lipo"].rest_voltage_at(100 * z) for z in CHARGE]
    above_v = np.subtract(mean_v, REST_V).tolist()
    flight = [s for s in thevenin(0.95, flown_a(500), above_v=above_v) if s.time_s < 500]
    fly(bench, flight, gauge_pct=95.0)
    flown = [s for s in flight if s.current_a > 5]
    mean_w = 12 * float(np.mean([s.cell_v * s.current_a for s in flown]))
    expected_w = 3.5 * 22 * 12 * 3.7  # before it flew, weighing 30 s: what is taken for a heavy hover
    mean_w = (mean_w * len(flown) + expected_w * 30) / (len(flown) + 30)
    grid = np.linspace(0.0, 0.5, 5001)
    drop = mean_w / 12 / 3.3 * 2.5e-3  # the oracle's resistance does not rise towards empty
    lowest = float(grid[np.interp(grid, CHARGE, mean_v) - drop >= 3.3][0])
    assert lowest < bench.pack.empty < lowest + 0.06  # nor is it less careful: real cells' does


@pytest.mark.parametrize("start_s", [75, 140])
@pytest.mark.parametrize("charge", [0.9, 0.7, 0.5, 0.35])
@pytest.mark.parametrize("r0_ohm", [0.75e-3, 1.5e-3])
def test_a_watch_begun_in_flight_promises_no_more_than_its_doubt(
    charge: float, r0_ohm: float, start_s: int
) -> None:
    """Without a gauge, resistance 1.75 or 2.5 mohm (expected: 1.9): too low is allowed, too high is not."""
    truth = [s for s in thevenin(charge, flown_a(500), r0_ohm=r0_ohm) if s.time_s >= start_s and s.charge > OVER]
    for seed in range(2):
        told = fly(Bench(FILE), truth, seed=seed)
        assert max(one.error / one.doubt for one in told) < 2.2
        assert max(one.error for one in told if one.time_s > start_s + 60) < 0.10


def test_a_step_of_time_back_or_a_long_gap_begins_the_load_anew() -> None:
    filter_ = at(2)
    filter_.hear(3.7, 60.0, None, 10_000_000)
    before = list(filter_._x)
    filter_.hear(2.0, 60.0, None, 9_000_000)
    filter_.hear(2.0, 60.0, None, 100_000_000)
    assert filter_._x == before


def test_rubbish_is_refused_and_changes_nothing() -> None:
    filter_ = at(3)
    good = {key: list(value) for key, value in filter_.learned().items()}
    for key, value in (
        ("x", [0.5, 0.0, 0.0]), ("x", [math.nan] * 4), ("x", ["a"] * 4), ("x", [0.5, 0.0, 1e300, 0.0]),
        ("p", good["p"][:15]), ("p", [-v for v in good["p"]]), ("p", [1e300] * 16), ("p", list(range(16))),
        ("p", [1.0] * 15 + [math.inf]),
        ("parts_a", []), ("parts_a", [math.nan, 0.0]),
    ):  # fmt: skip
        before = list(filter_._x), [list(row) for row in filter_._p]
        with pytest.raises((ValueError, TypeError)):
            filter_.resume({**good, key: value})  # type: ignore[dict-item]
        assert (filter_._x, filter_._p) == before, (key, value)
    for key in good:
        with pytest.raises(KeyError):
            filter_.resume({k: v for k, v in good.items() if k != key})
    again = ChargeFilter(PACKS, 12, 22.0)
    again.resume(good)
    assert again.state() == filter_.state()
    assert again.doubtful() == filter_.doubtful()
