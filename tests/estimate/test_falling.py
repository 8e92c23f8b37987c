"""A fall with drag against scipy's integrator (DOP853, 1e-10), and without drag by hand: sqrt(2h/g)."""

from __future__ import annotations

import importlib
import math
import random
from typing import Any

import numpy as np
import pytest

from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.estimate.surroundings import falling
from watchkeeper.estimate.surroundings.falling import (
    PLENTY_1_M,
    fall,
    footprint,
    free_fall,
    plenty_1_m,
)

solve_ivp: Any = importlib.import_module("scipy.integrate").solve_ivp  # comes without types
G = 9.80665  # standard acceleration of free fall, ISO 80000-3
Flat = tuple[float, float]


def integrated(
    height_m: float, velocity: Flat, climb_m_s: float, wind: Flat, k: float
) -> tuple[float, float, float, float]:
    """Return where, when and how fast it comes down, of du/dt = g - k |u| u, by scipy."""

    def rates(_: float, y: np.ndarray) -> list[float]:
        air = np.array([y[3] - wind[0], y[4] - wind[1], y[5]])
        pull = -k * float(np.linalg.norm(air)) * air + np.array([0.0, 0.0, G])
        return [y[3], y[4], y[5], *pull]

    def landed(_: float, y: np.ndarray) -> float:
        return float(y[2] - height_m)

    landed.terminal = True  # type: ignore[attr-defined]
    landed.direction = 1  # type: ignore[attr-defined]
    found = solve_ivp(
        rates, (0.0, 300.0), [0.0, 0.0, 0.0, *velocity, -climb_m_s], method="DOP853", events=landed, rtol=1e-10,
        atol=1e-10,
    )  # fmt: skip
    end = found.y_events[0][0]
    return float(end[0]), float(end[1]), float(found.t_events[0][0]), float(np.linalg.norm(end[3:6]))


@pytest.mark.parametrize("height_m", [1.0, 44.1, 120.0])
def test_without_drag_by_hand(height_m: float) -> None:
    down = free_fall(height_m, (0.0, 0.0), 0.0)
    assert down.time_s == pytest.approx(math.sqrt(2 * height_m / G))
    assert (down.north_m, down.east_m) == (0.0, 0.0)
    ahead = free_fall(height_m, (6.0, -8.0), 0.0)
    assert math.hypot(ahead.north_m, ahead.east_m) == pytest.approx(10.0 * math.sqrt(2 * height_m / G))
    # thrown up at 9.80665 m/s it is back at this height, as fast, after two seconds
    up = free_fall(height_m, (3.0, 0.0), G)
    same = free_fall(height_m, (3.0, 0.0), -G)
    assert up.time_s == pytest.approx(2.0 + same.time_s)
    assert up.speed_m_s == pytest.approx(same.speed_m_s)


@pytest.mark.parametrize("seed", range(40))
def test_with_drag_as_scipy_has_it(seed: int) -> None:
    rng = random.Random(seed)
    height_m = rng.choice([3.0, 20.0, 60.0, 120.0, 400.0])
    velocity, wind = ((rng.uniform(-15, 15), rng.uniform(-15, 15)) for _ in range(2))
    climb_m_s, k = rng.uniform(-5, 4), 10 ** rng.uniform(-3, -1)
    found = fall(height_m, velocity, climb_m_s, wind, k)
    north_m, east_m, time_s, speed_m_s = integrated(height_m, velocity, climb_m_s, wind, k)
    assert (found.north_m, found.east_m) == pytest.approx((north_m, east_m), abs=0.1)
    assert found.time_s == pytest.approx(time_s, abs=0.02)
    assert found.speed_m_s == pytest.approx(speed_m_s, rel=0.01)


def test_far_down_it_falls_at_its_terminal_speed_and_moves_with_the_wind() -> None:
    # g = k w^2: at 0.1 1/m 9.903 m/s (any textbook); the air carries it
    found = fall(500.0, (0.0, 0.0), 0.0, (0.0, 8.0), 0.1)
    assert found.speed_m_s == pytest.approx(math.hypot(math.sqrt(G / 0.1), 8.0), rel=1e-3)
    assert found.east_m == pytest.approx(8.0 * found.time_s, rel=0.03)


@pytest.mark.parametrize("seed", range(20))
def test_every_drag_in_between_comes_down_near_the_line_through_the_three(seed: int) -> None:
    rng = random.Random(seed)
    height_m = rng.uniform(5.0, 120.0)
    velocity, wind = ((rng.uniform(-12, 12), rng.uniform(-12, 12)) for _ in range(2))
    found = footprint(height_m, velocity, 0.0, wind, 2.0, PLENTY_1_M)
    spots = [complex(one.north_m, one.east_m) for one in found.falls]
    for share in (0.003, 0.01, 0.03, 0.08, 0.2, 0.4, 0.7):
        one = fall(height_m, velocity, 0.0, wind, share * PLENTY_1_M)
        spot = complex(one.north_m, one.east_m)
        apart_m = min(_apart(spot, spots[0], spots[1]), _apart(spot, spots[1], spots[2]))
        assert apart_m < 5.0 + 0.5 * found.doubt_m  # what is put around it as the aircraft's size and doubt
    assert found.reach_m == pytest.approx(max(map(abs, spots)))


def _apart(spot: complex, start: complex, end: complex) -> float:
    way = end - start
    share = max(0.0, min(1.0, ((spot - start) * way.conjugate()).real / abs(way) ** 2))
    return abs(spot - start - share * way)


def test_the_most_drag_is_that_of_the_rotors_discs() -> None:
    # 6 x 0.762 m: 2.7362 m2 (facts 5); 1.225 x 1.2 x 2.7362 / (2 x 35) = 0.0575 1/m; for light ones PLENTY_1_M
    file = AircraftFile.model_validate({"rotors": {"count": 6, "diameter": "0.762 m"}, "mass": {"empty": "35 kg"}})
    assert plenty_1_m(file, 35.0, 1.225) == pytest.approx(0.05746, rel=1e-3)
    assert plenty_1_m(file, 5.0, 1.225) == PLENTY_1_M
    assert plenty_1_m(None, None, 1.225) == PLENTY_1_M


@pytest.mark.parametrize("height_m", [0.0, -5.0])
def test_on_the_ground_nothing_falls(height_m: float) -> None:
    assert fall(height_m, (4.0, 0.0), 0.0, (9.0, 0.0), 0.05).time_s == 0.0


def test_what_nobody_can_mean_is_still_bounded() -> None:
    one = fall(9_000.0, (300.0, 0.0), 200.0, (60.0, 0.0), PLENTY_1_M)
    assert math.isfinite(one.north_m)
    assert one.time_s < 125.0


@pytest.mark.parametrize("climb_m_s", [2e3, 2e5, 1e30, -1e30, math.inf, math.nan])
def test_a_speed_that_nobody_has_takes_no_more_steps(monkeypatch: pytest.MonkeyPatch, climb_m_s: float) -> None:
    steps = 0
    step = falling._step

    def counted(*args: float) -> tuple[float, float, float, float, float, float]:
        nonlocal steps
        steps += 1
        return step(*args)

    monkeypatch.setattr(falling, "_step", counted)
    fall(60.0, (3.0, 0.0), climb_m_s, (4.0, 0.0), PLENTY_1_M)
    assert 0 < steps < 10_000
