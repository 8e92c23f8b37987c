"""Heights, profiles and lines over simulated ground, against the closed forms that its docstrings state."""

from __future__ import annotations

import math
import random
from itertools import pairwise

import pytest

from simulators.site.ground import Ground, Hill, Obstacle, Ridge

HILL = Hill((800.0, 200.0), 60.0, 150.0)
RIDGE = Ridge(((1500.0, -800.0), (1600.0, 0.0), (1500.0, 900.0)), 50.0, 120.0)
HOUSE = Obstacle((300.0, 40.0), 25.0, 8.0)
GROUND = Ground((HILL, Hill((-500.0, 900.0), 40.0, 200.0)), (RIDGE,), (HOUSE, Obstacle((800.0, 200.0), 12.0, 1.0)))


def test_nothing_is_exactly_level() -> None:
    empty = Ground()
    assert not empty
    assert empty.height_m(1e6, -1e6) == empty.top_m(0.0, 0.0) == 0.0
    assert empty.crests((0.0, 0.0), 2.0, (5000.0, 0.0), 60.0) == []
    assert empty.skyline(0.0, 0.0, -5.0)(1.0) == 0.0


@pytest.mark.parametrize(
    ("away_m", "share"), [(0.0, 1.0), (150.0, math.exp(-1.0)), (300.0, math.exp(-4.0)), (700.0, 0.0)]
)
def test_a_hill_is_a_bell(away_m: float, share: float) -> None:
    ground = Ground((HILL,))
    for angle in (0.0, 1.0, 4.0):
        at = (800.0 + away_m * math.cos(angle), 200.0 + away_m * math.sin(angle))
        assert ground.height_m(*at) == pytest.approx(60.0 * share, abs=1e-9)


def test_a_ridge_is_level_along_its_crest_and_smooth_across() -> None:
    ground = Ground(ridges=(Ridge(((0.0, 0.0), (1000.0, 0.0)), 40.0, 100.0),))
    assert ground.height_m(10.0, 0.0) == ground.height_m(900.0, 0.0) == pytest.approx(40.0)
    assert ground.height_m(500.0, 50.0) == pytest.approx(40.0 * (1.0 - 0.25) ** 2)
    assert ground.height_m(500.0, -50.0) == pytest.approx(40.0 * (1.0 - 0.25) ** 2)
    assert ground.height_m(500.0, 100.0) == ground.height_m(1100.0, 0.0) == 0.0
    across = [ground.height_m(500.0, 0.5 * i) for i in range(-240, 241)]
    steepest = max(abs(b - a) for a, b in pairwise(across)) / 0.5
    assert steepest == pytest.approx(40.0 / 100.0 * 8.0 / (3.0 * math.sqrt(3.0)), rel=0.01)  # at d = w / sqrt(3)


def test_where_they_overlap_the_higher_one_counts() -> None:
    one, other = Hill((0.0, 0.0), 30.0, 100.0), Hill((80.0, 0.0), 50.0, 60.0)
    both = Ground((one, other))
    for north in range(-200, 300, 7):
        parts = [Ground((hill,)).height_m(float(north), 3.0) for hill in (one, other)]
        assert both.height_m(float(north), 3.0) == max(parts)


def test_obstacles_stand_on_the_ground_and_are_not_ground() -> None:
    assert GROUND.top_m(300.0, 47.9) == pytest.approx(25.0, abs=0.01)
    assert GROUND.top_m(300.0, 48.1) == GROUND.height_m(300.0, 48.1) < 0.01
    assert GROUND.height_m(800.0, 200.0) == pytest.approx(60.0)
    assert GROUND.top_m(800.0, 200.0) == pytest.approx(72.0)


def test_a_profile_samples_the_line_with_both_ends() -> None:
    samples = GROUND.profile((0.0, 0.0), (800.0, 200.0), 5.0)
    length = math.hypot(800.0, 200.0)
    assert samples[0] == (0.0, GROUND.top_m(0.0, 0.0))
    assert samples[-1][0] == pytest.approx(length)
    assert samples[-1][1] == pytest.approx(72.0)
    assert max(b[0] - a[0] for a, b in pairwise(samples)) <= 5.0
    assert GROUND.profile((3.0, 3.0), (3.0, 3.0), 5.0)[0][0] == 0.0
    for step in (0.0, -1.0, math.nan, 1e-9):
        with pytest.raises(ValueError, match="steps"):
            GROUND.profile((0.0, 0.0), (800.0, 200.0), step)


def test_crests_are_what_a_fine_profile_finds_highest_against_the_line() -> None:
    dice = random.Random(4)
    terrain = Ground(GROUND.hills, GROUND.ridges)
    over = 0
    for _ in range(150):
        a = (dice.uniform(-300.0, 300.0), dice.uniform(-300.0, 300.0))
        b = (dice.uniform(500.0, 3000.0), dice.uniform(-1500.0, 1500.0))
        a_m, b_m = terrain.height_m(*a) + 2.0, terrain.height_m(*b) + dice.uniform(5.0, 80.0)
        slope = (b_m - a_m) / math.dist(a, b)
        worst = max(top - a_m - slope * s for s, top in terrain.profile(a, b, 2.0)[1:-1])
        if worst <= 0.0:
            continue
        over += 1
        crests = terrain.crests(a, a_m, b, b_m)
        found = max(top - a_m - slope * s for s, top, _, _ in crests)
        assert found <= worst + 0.05
        assert found == pytest.approx(worst, abs=max(1.0, 0.1 * worst))
    assert over > 40


def test_crests_tell_obstacles_beside_the_line() -> None:
    ground = Ground(obstacles=(HOUSE,))
    ((along, top, beside, radius),) = ground.crests((0.0, 0.0), 2.0, (600.0, 0.0), 30.0, beside_m=40.0)
    assert (along, top, beside, radius) == (300.0, 25.0, 40.0, 8.0)
    assert ground.crests((0.0, 0.0), 2.0, (600.0, 0.0), 30.0, beside_m=20.0) == []
    assert ground.crests((0.0, 0.0), 2.0, (250.0, 33.0), 30.0, beside_m=40.0) == []  # behind the end


@pytest.mark.parametrize(
    "at", [(800.0, 200.0), (1600.0, 0.0), (1500.0, 900.0), (300.0, 40.0), (1e6, 1e6), (0.0, 0.0)]
)
def test_nothing_is_raised_anywhere(at: tuple[float, float]) -> None:
    for height in (-1000.0, 0.0, 40.0, 1e6):
        assert math.isfinite(GROUND.top_m(*at))
        line = GROUND.skyline(*at, height)
        assert all(0.0 <= line(math.radians(azimuth)) <= 0.5 * math.pi for azimuth in range(-720, 720, 3))
        for end in ((0.0, 0.0), (1500.0, 900.0), (-1e6, 3.0), at):
            for along, top, _, _ in GROUND.crests(at, height, end, 2.0, 50.0):
                assert 1.0 <= along <= math.dist(at, end)
                assert math.isfinite(top)


@pytest.mark.parametrize("size", [0.0, -3.0, math.inf, math.nan])
def test_refuses_what_has_no_size(size: float) -> None:
    with pytest.raises(ValueError, match="above 0 m"):
        Hill((0.0, 0.0), size, 10.0)
    with pytest.raises(ValueError, match="above 0 m"):
        Obstacle((0.0, 0.0), 10.0, size)
    with pytest.raises(ValueError, match="above 0 m"):
        Ridge(((0.0, 0.0), (1.0, 0.0)), 10.0, size)


def test_refuses_a_ridge_without_length() -> None:
    for points in (((0.0, 0.0),), ((0.0, 0.0), (0.0, 0.0))):
        with pytest.raises(ValueError, match="two points"):
            Ridge(points, 10.0, 10.0)
