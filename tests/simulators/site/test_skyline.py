"""Skylines against a walk along every direction over the same ground."""

from __future__ import annotations

import math

import pytest

from simulators.site.ground import Ground, Hill, Obstacle, Ridge

GROUND = Ground(
    (Hill((800.0, 200.0), 60.0, 150.0), Hill((-500.0, 900.0), 40.0, 200.0)),
    (Ridge(((1500.0, -800.0), (1600.0, 0.0), (1500.0, 900.0)), 50.0, 120.0),),
    (Obstacle((160.0, 140.0), 25.0, 8.0),),
)


def walked(ground: Ground, at: tuple[float, float, float], azimuth: float) -> float:
    north, east, height = at
    cosine, sine = math.cos(azimuth), math.sin(azimuth)
    steps = [0.2 * i for i in range(5, 1000)] + [200.0 + i for i in range(2800)]
    slopes = ((ground.top_m(north + s * cosine, east + s * sine) - height) / s for s in steps)
    return math.atan(max(0.0, *slopes))


@pytest.mark.parametrize(
    ("at", "close_rad"),
    [
        ((100.0, 100.0, 4.0), 0.004),
        ((1000.0, -300.0, 2.0), 0.004),
        ((1200.0, 500.0, 30.0), 0.004),
        ((700.0, 100.0, 30.0), 0.02),  # on the flank of a hill
    ],
)
def test_as_walked_in_every_direction_of_the_table(at: tuple[float, float, float], close_rad: float) -> None:
    ground = Ground(GROUND.hills, GROUND.ridges, GROUND.obstacles)
    line = ground.skyline(*at)
    highest = 0.0
    for index in range(72):
        azimuth = math.radians(5.0 * index)
        found = walked(ground, at, azimuth)
        assert line(azimuth) == pytest.approx(found, abs=close_rad), f"{5 * index} degrees"
        highest = max(highest, found)
    assert highest > 0.03


def test_straight_between_directions_and_all_the_way_round() -> None:
    line = GROUND.skyline(100.0, 100.0, 5.0)
    for index in range(72):
        low, high = line(math.radians(5.0 * index)), line(math.radians(5.0 * index + 5.0))
        assert line(math.radians(5.0 * index + 2.5)) == pytest.approx(0.5 * (low + high), abs=1e-9)
        assert line(math.radians(5.0 * index + 1.0) - 4.0 * math.pi) == pytest.approx(
            0.8 * low + 0.2 * high, abs=1e-9
        )


def test_from_above_everything_the_horizon_is_level() -> None:
    line = Ground(GROUND.hills, GROUND.ridges, GROUND.obstacles).skyline(100.0, 100.0, 70.0)
    assert all(line(math.radians(azimuth)) == 0.0 for azimuth in range(360))


def test_a_wall_of_houses_hides_what_its_height_says() -> None:
    # A house 20 m high and 10 m thick, 60 m away, seen from 2 m: atan(18 / 50).
    line = Ground(obstacles=(Obstacle((60.0, 0.0), 20.0, 10.0),)).skyline(0.0, 0.0, 2.0)
    assert line(0.0) == pytest.approx(math.atan(18.0 / 50.0))
    assert line(math.radians(20.0)) == 0.0


def test_kept_while_near_and_made_anew_when_moved() -> None:
    ground = Ground(GROUND.hills)
    first = ground.skyline(0.0, 0.0, 2.0)
    assert ground.skyline(1.9, -1.9, 2.9) is first
    moved = ground.skyline(2.1, 0.0, 2.0)
    assert moved is not first
    assert ground.skyline(2.1, 0.0, 3.1) is not moved


def test_whichever_way_it_came_the_skyline_is_the_same() -> None:
    azimuths = [math.radians(3.0 * i) for i in range(120)]
    ways = [[(0.0, 0.0), (4.4, 0.0), (5.9, 0.9)], [(20.0, 0.0), (7.0, 0.0), (5.9, 0.9)]]
    seen = []
    for way in ways:
        ground = Ground(GROUND.hills, GROUND.ridges, GROUND.obstacles)
        for north, east in way:
            line = ground.skyline(north, east, 3.0)
        seen.append([line(azimuth) for azimuth in azimuths])
    assert seen[0] == seen[1]
