"""Dryden gusts: lengths and intensities against the standard's numbers, long runs against its spectra.

The spectra of MIL-F-8785C are written here a second time, by frequency and from their autocorrelations, and the
bounds on long runs come from the theory of such runs: four standard errors, the seeds being fixed.
"""

from __future__ import annotations

import importlib
import math
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from simulators.physics.gusts import W20_HEIGHT_M, Gusts, scales, transition

SIGNAL = importlib.import_module("scipy.signal")
LINALG = importlib.import_module("scipy.linalg")

Floats = npt.NDArray[np.float64]
KNOT = 1852.0 / 3600.0
FOOT = 0.3048

# The long runs: four seeds of 20 000 s, light turbulence at 50 m, air passing at 20 m/s to the north-east.
HEIGHT_M, AIRSPEED_M_S, W20_M_S = 50.0, 20.0, 15.0 * KNOT
SEEDS: tuple[str | int, ...] = ("first", "second", 3, 4)
RUN_S, STEP_S = 20000.0, 0.1
ALONG = (0.6, 0.8)
# The standard at 50 m: lengths 202.29 m and 50 m, deviations 1.2296 m/s and 0.7717 m/s.
SIGMA = (1.2296, 1.2296, 0.7717)
TIMES = tuple(length / AIRSPEED_M_S for length in (202.29, 202.29, 50.0))


def longitudinal(lag: Floats) -> Floats:
    """Autocorrelation along the flow at a lag in units of L / V (von Karman and Howarth, 1938)."""
    return np.exp(-np.abs(lag))


def lateral(lag: Floats) -> Floats:
    """Autocorrelation across the flow, f + (r / 2) df/dr in isotropic turbulence."""
    return (1.0 - np.abs(lag) / 2.0) * np.exp(-np.abs(lag))


CORRELATION: tuple[Callable[[Floats], Floats], ...] = (longitudinal, lateral, lateral)
LAGS = np.linspace(-30.0, 30.0, 60001)


def along_across_up(series: list[tuple[float, float, float]]) -> Floats:
    north, east, up = np.array(series).T
    return np.array([ALONG[0] * north + ALONG[1] * east, ALONG[0] * east - ALONG[1] * north, up])


@pytest.fixture(scope="module")
def runs() -> list[Floats]:
    found = []
    for seed in SEEDS:
        at = Gusts(seed, W20_M_S).at
        found.append(
            along_across_up([at(i * STEP_S, HEIGHT_M, AIRSPEED_M_S, *ALONG) for i in range(int(RUN_S / STEP_S))])
        )
    return found


@pytest.mark.parametrize(
    ("height_m", "horizontal_m", "vertical_m", "ratio"),
    [
        (20.0 * FOOT, 143.59 * FOOT, 20.0 * FOOT, 1.9291),
        (50.0, 202.29, 50.0, 1.2296 / 0.7717),
        (100.0, 262.79, 100.0, 1.3800),
        (1000.0 * FOOT, 304.8, 304.8, 1.0),
        (2000.0, 304.8, 304.8, 1.0),  # held above 1000 ft
        (0.0, *scales(10.0 * FOOT)),  # and below 10 ft
    ],
)
def test_lengths_and_intensities_of_mil_f_8785c(
    height_m: float, horizontal_m: float, vertical_m: float, ratio: float
) -> None:
    # MIL-F-8785C 3.7.3.4, figures 7 and 8.
    assert scales(height_m) == pytest.approx((horizontal_m, vertical_m, ratio), rel=1e-4)


def test_height_of_the_wind_that_sets_the_intensity() -> None:
    assert pytest.approx(6.096) == W20_HEIGHT_M


@pytest.mark.parametrize("theta", [3e-4, 0.005, 0.1, 0.7, 3.0])
def test_transition_is_exact(theta: float) -> None:
    # Van Loan, Computing integrals involving the matrix exponential, IEEE Trans. Automatic Control 23(3), 1978.
    dynamics = np.array([[-1.0, 0.0], [1.0, -1.0]])
    block = np.zeros((4, 4))
    block[:2, :2], block[2:, 2:], block[0, 2] = -dynamics, dynamics.T, 1.0
    exponential: Any = LINALG.expm(block * theta)
    forward = exponential[2:, 2:].T
    noise = forward @ exponential[:2, 2:]
    decay, n11, n21, n22 = transition(theta)
    assert np.array([[decay, 0.0], [decay * theta, decay]]) == pytest.approx(forward, rel=1e-12, abs=1e-15)
    lower = np.array([[n11, 0.0], [n21, n22]])
    assert lower @ lower.T == pytest.approx(noise, rel=1e-9, abs=1e-15)


def test_transition_over_a_long_step_forgets() -> None:
    # the stationary covariance of the same filter, by scipy's Lyapunov solver
    theta = 40.0
    dynamics = np.array([[-1.0, 0.0], [1.0, -1.0]])
    stationary: Any = LINALG.solve_continuous_lyapunov(dynamics, -np.diag([1.0, 0.0]))
    decay, n11, n21, n22 = transition(theta)
    assert decay == pytest.approx(math.exp(-theta), rel=1e-12)
    lower = np.array([[n11, 0.0], [n21, n22]])
    assert lower @ lower.T == pytest.approx(stationary, rel=1e-12)


def test_variance_survives_any_change_of_airspeed_and_height() -> None:
    start = covariance = np.array([[0.5, 0.25], [0.25, 0.25]])
    for theta in (0.001, 0.7, 0.02, 5.0, 0.1):
        decay, n11, n21, n22 = transition(theta)
        forward = np.array([[decay, 0.0], [decay * theta, decay]])
        lower = np.array([[n11, 0.0], [n21, n22]])
        covariance = forward @ covariance @ forward.T + lower @ lower.T
    assert covariance == pytest.approx(start, abs=1e-14)
    across = np.array([math.sqrt(3.0), 1.0 - math.sqrt(3.0)])
    assert float(across @ covariance @ across) == pytest.approx(1.0, abs=1e-14)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_standard_deviation_of_long_runs(runs: list[Floats], axis: int) -> None:
    # Error of the mean square of a Gaussian run of length T: variance 2 sigma^4 / T * integral of correlation^2
    # (Bendat and Piersol, Random Data, chapter 8).
    power = float(np.trapezoid(CORRELATION[axis](LAGS) ** 2, LAGS)) * TIMES[axis]

    def error(length_s: float) -> float:
        return 0.5 * math.sqrt(2.0 * power / length_s)  # of the deviation, relative

    squares = [float(np.mean(run[axis] ** 2)) for run in runs]
    for square in squares:
        assert math.sqrt(square) == pytest.approx(SIGMA[axis], rel=4.0 * error(RUN_S))
    together = math.sqrt(sum(squares) / len(squares))
    assert together == pytest.approx(SIGMA[axis], rel=4.0 * error(RUN_S * len(runs)))
    assert 4.0 * error(RUN_S * len(runs)) < 0.035  # tight enough to tell the standard from common slips in it


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_mean_of_long_runs_is_zero(runs: list[Floats], axis: int) -> None:
    whole = float(np.trapezoid(CORRELATION[axis](LAGS), LAGS)) * TIMES[axis]
    error = SIGMA[axis] * math.sqrt(whole / (RUN_S * len(runs)))
    assert abs(float(np.mean([run[axis] for run in runs]))) < 4.0 * error


@pytest.mark.parametrize(("one", "other"), [(0, 1), (0, 2), (1, 2)])
def test_axes_are_independent(runs: list[Floats], one: int, other: int) -> None:
    seconds = np.linspace(-600.0, 600.0, 60001)
    product = CORRELATION[one](seconds / TIMES[one]) * CORRELATION[other](seconds / TIMES[other])
    error = math.sqrt(float(np.trapezoid(product, seconds)) / (RUN_S * len(runs)))
    found = np.mean([np.mean(run[one] * run[other]) for run in runs]) / (SIGMA[one] * SIGMA[other])
    assert abs(float(found)) < 4.0 * error


@pytest.mark.parametrize("lag", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_autocorrelation(runs: list[Floats], axis: int, lag: float) -> None:
    # Error by Bartlett, J. Royal Statistical Society suppl. 8(1), 1946.
    steps = round(lag * TIMES[axis] / STEP_S)
    lag = steps * STEP_S / TIMES[axis]
    found = np.mean([np.mean(run[axis][steps:] * run[axis][:-steps]) / np.mean(run[axis] ** 2) for run in runs])
    rho = CORRELATION[axis]
    at = float(rho(np.array(lag)))
    terms = (
        rho(LAGS) ** 2 * (1.0 + 2.0 * at**2)
        + rho(LAGS + lag) * rho(LAGS - lag)
        - 4.0 * at * rho(LAGS) * rho(LAGS - lag)
    )
    error = math.sqrt(float(np.trapezoid(terms, LAGS)) * TIMES[axis] / (RUN_S * len(runs)))
    assert float(found) == pytest.approx(at, abs=4.0 * error)
    assert error < 0.02


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_spectrum_over_two_decades(runs: list[Floats], axis: int) -> None:
    # MIL-F-8785C 3.7.3.4 by f in Hz (2 pi times the spectrum by rad/s), third-octave bands from 0.01 to 1 Hz.
    estimates: list[Any] = [SIGNAL.welch(run[axis], fs=1.0 / STEP_S, nperseg=8192, detrend=False) for run in runs]
    hertz = estimates[0][0]
    density = np.mean([estimate[1] for estimate in estimates], axis=0)
    x = 2.0 * math.pi * hertz * TIMES[axis]
    if axis == 0:
        theory = SIGMA[axis] ** 2 * 4.0 * TIMES[axis] / (1.0 + x**2)
    else:
        theory = SIGMA[axis] ** 2 * 2.0 * TIMES[axis] * (1.0 + 3.0 * x**2) / (1.0 + x**2) ** 2
    edges = 0.01 * 10.0 ** np.linspace(0.0, 2.0, 21)
    for low, high in pairwise(edges):
        band = (hertz >= low) & (hertz < high)
        assert int(band.sum()) >= 1
        decibel = 10.0 * math.log10(float(np.mean(density[band])) / float(np.mean(theory[band])))
        assert abs(decibel) < 0.5, f"{decibel:.2f} dB from {low:.4f} to {high:.4f} Hz"


def test_the_same_for_the_same_seed() -> None:
    def run(seed: str | int) -> list[tuple[float, float, float]]:
        gusts = Gusts(seed, 8.0)
        return [gusts.at(0.02 * i, 30.0, 7.0, 1.0, 0.0) for i in range(2000)]

    assert run("flight") == run("flight")
    assert run(7) == run(7)
    assert run("flight") != run("other")
    assert run("7") != run(7)


@pytest.mark.parametrize(("start_s", "varying"), [(0.0, True), (86400.0, True), (12.34, False)])
def test_50_hz_and_10_hz_meet_the_same_gusts(start_s: float, varying: bool) -> None:
    def run(per_s: int) -> list[tuple[float, float, float]]:
        gusts, found = Gusts("pace", 10.0), []
        for i in range(300 * per_s):
            elapsed_s = i / per_s if varying else 0.0
            gusts.w20_m_s = 10.0 + elapsed_s // 100.0
            height_m, airspeed_m_s = 5.0 + elapsed_s, 12.0 + 8.0 * math.sin(elapsed_s / 20.0)
            course = elapsed_s / 15.0
            along = math.cos(course), math.sin(course)
            found.append(gusts.at(start_s + i / per_s, height_m, airspeed_m_s, *along))
        return found

    # Within the rounding of the clock by the slope of the gusts.
    assert np.array(run(50)[::5]) == pytest.approx(np.array(run(10)), abs=1e-9)


def test_a_clock_that_adds_up_its_steps_meets_them_too() -> None:
    fast, slow = Gusts("pace", 10.0), Gusts("pace", 10.0)
    fast_s = slow_s = 0.0
    for i in range(2000):
        height_m = 20.0 + i / 10.0
        one = fast.at(fast_s, height_m, 10.0, 1.0, 0.0)
        assert one == pytest.approx(slow.at(slow_s, height_m, 10.0, 1.0, 0.0), abs=1e-9)
        slow_s += 0.1
        for part in range(1, 6):
            fast_s += 0.02
            if part < 5:
                fast.at(fast_s, height_m + part / 50.0, 10.0, 1.0, 0.0)


def test_straight_between_grid_points_and_the_same_after_a_pause() -> None:
    steady, rare = Gusts(1, 10.0), Gusts(1, 10.0)
    every = [steady.at(i / 40.0, 40.0, 10.0, 1.0, 0.0) for i in range(4001)]
    for second in range(0, 101, 4):
        assert rare.at(float(second), 40.0, 10.0, 1.0, 0.0) == pytest.approx(every[40 * second], abs=1e-9)
    for i in range(0, 4000, 4):
        for axis in range(3):
            line = np.linspace(every[i][axis], every[i + 4][axis], 5)
            assert [gust[axis] for gust in every[i : i + 5]] == pytest.approx(line, abs=1e-4)


def test_axes_lie_along_the_flow() -> None:
    northward, eastward, slanted = (Gusts(5, 10.0) for _ in range(3))
    for i in range(500):
        along, across, up = northward.at(0.1 * i, 60.0, 9.0, 1.0, 0.0)
        assert eastward.at(0.1 * i, 60.0, 9.0, 0.0, 1.0) == pytest.approx((-across, along, up), abs=1e-12)
        slant = slanted.at(0.1 * i, 60.0, 9.0, 0.6, 0.8)
        assert slant == pytest.approx((0.6 * along - 0.8 * across, 0.8 * along + 0.6 * across, up), abs=1e-12)


@pytest.mark.parametrize(("north", "east"), [(-0.6, -0.8), (0.0, 0.0)])
def test_flying_back_or_stopping_makes_no_jump(north: float, east: float) -> None:
    onward, changing = Gusts(6, 10.0), Gusts(6, 10.0)
    for i in range(400):
        there = onward.at(0.1 * i, 60.0, 9.0, *ALONG)
        course = ALONG if i < 200 else (north, east)
        assert changing.at(0.1 * i, 60.0, 9.0, *course) == pytest.approx(there, abs=1e-12)


def test_a_sharp_turn_brings_the_axes_round_in_seconds_without_a_jump() -> None:
    straight, turning = Gusts(8, 10.0), Gusts(8, 10.0)
    before = 0.0
    for i in range(400):
        north, east, up = straight.at(0.1 * i, 60.0, 9.0, 1.0, 0.0)
        found = turning.at(0.1 * i, 60.0, 9.0, *((1.0, 0.0) if i < 200 else (0.0, 1.0)))
        # The horizontal gust is that of the straight flight, turned by an angle that grows to 90 degrees.
        assert math.hypot(*found) == pytest.approx(math.hypot(north, east, up), abs=1e-9)
        angle = (math.atan2(found[1], found[0]) - math.atan2(east, north)) % (2.0 * math.pi)
        angle = 0.0 if angle > 6.0 else angle
        assert -1e-9 < angle - before < math.radians(5.0)
        before = angle
        if i == 300:
            assert angle == pytest.approx(math.pi / 2.0, abs=0.02)


def test_intensity_is_in_proportion_to_the_wind() -> None:
    # Light and severe turbulence are 15 and 45 kt at 20 ft: the same gusts, three times as strong.
    light, severe = Gusts(2, 15.0 * KNOT), Gusts(2, 45.0 * KNOT)
    for i in range(300):
        thrice = tuple(3.0 * gust for gust in light.at(0.1 * i, 80.0, 6.0, 1.0, 0.0))
        assert severe.at(0.1 * i, 80.0, 6.0, 1.0, 0.0) == pytest.approx(thrice, abs=1e-12)


def test_no_wind_no_gusts() -> None:
    gusts = Gusts(2, 0.0)
    assert {gusts.at(0.02 * i, 80.0, 6.0, 1.0, 0.0) for i in range(500)} == {(0.0, 0.0, 0.0)}


def test_gusts_grow_in_and_die_away_in_a_grid_step() -> None:
    gusts = Gusts(9, 0.0)
    series = []
    for i in range(600):
        gusts.w20_m_s = 12.0 if 100 <= i < 300 or i >= 400 else 0.0
        series.append(gusts.at(0.02 * i, 80.0, 6.0, 1.0, 0.0))
    still = (0.0, 0.0, 0.0)
    assert set(series[:101]) == {still}
    assert still not in series[102:300]
    # Two grid steps after the wind has died: one under way, one to come down.
    assert set(series[310:401]) == {still}
    assert still not in series[402:]
    step = np.abs(np.diff(np.array(series), axis=0)).max(axis=0)
    largest = np.abs(np.array(series)).max(axis=0)
    assert (step <= 0.2001 * largest).all()  # 0.02 s of 0.1 s


def test_ends_of_the_standard_are_held() -> None:
    def run(height_m: float, airspeed_m_s: float) -> list[tuple[float, float, float]]:
        gusts = Gusts(4, 10.0)
        return [gusts.at(0.1 * i, height_m, airspeed_m_s, 1.0, 0.0) for i in range(300)]

    assert np.array(run(-1.0, 5.0)) == pytest.approx(np.array(run(10.0 * FOOT, 5.0)), abs=1e-12)
    assert run(-1.0, 5.0) != run(10.1 * FOOT, 5.0)
    assert np.array(run(5000.0, 5.0)) == pytest.approx(np.array(run(1000.0 * FOOT, 5.0)), abs=1e-12)
    assert run(5000.0, 5.0) != run(999.0 * FOOT, 5.0)
    assert run(50.0, 0.0) == run(50.0, 1.0) != run(50.0, 1.1)


@pytest.mark.parametrize("w20_m_s", [-0.1, math.nan, math.inf])
def test_refuses_what_is_no_speed(w20_m_s: float) -> None:
    with pytest.raises(ValueError, match="not a speed"):
        Gusts(1, w20_m_s)


def test_refuses_to_go_back() -> None:
    gusts = Gusts(1, 5.0)
    gusts.at(3.0, 10.0, 5.0, 1.0, 0.0)
    with pytest.raises(ValueError, match="back in time"):
        gusts.at(2.8, 10.0, 5.0, 1.0, 0.0)
