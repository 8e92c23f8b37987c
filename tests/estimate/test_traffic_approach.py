"""Closest approach: by hand, against a numerical minimum (scipy), and places against geographiclib."""

from __future__ import annotations

import importlib
import math
import random
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic

from tests.estimate.trafficscene import place
from watchkeeper.estimate.traffic.approach import Plane, Relative, closest, closing_m_s, distance_at, doubt_m
from watchkeeper.estimate.traffic.watch import octant_of, spoken_m

minimize_scalar: Any = importlib.import_module("scipy.optimize").minimize_scalar  # comes without types


@pytest.mark.parametrize(
    ("relative", "time_s", "distance_m"),
    [
        # by hand: head on, 1000 m at 50 m/s
        (Relative(1000, 0, -50, 0), 20, 0),
        # by hand: passes 300 m east of here on its way south, 4000 / 40
        (Relative(4000, 300, -40, 0), 100, 300),
        # by hand: p = (600, 800), v = (-10, 0): t = 6000 / 100, 800 m are left
        (Relative(600, 800, -10, 0), 60, 800),
        # by hand: p = (0, 500), v = (30, -40): t = 20000 / 2500 = 8, at (240, 180): 300 m
        (Relative(0, 500, 30, -40), 8, 300),
        # going away: now, sqrt(300^2 + 400^2)
        (Relative(300, 400, 3, 4), 0, 500),
        # at rest to each other
        (Relative(-300, 400, 0, 0), 0, 500),
        (Relative(0, 0, 0, 0), 0, 0),
    ],
)
def test_by_hand(relative: Relative, time_s: float, distance_m: float) -> None:
    assert closest(relative) == pytest.approx((time_s, distance_m), abs=1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_against_a_numerical_minimum(seed: int) -> None:
    chance = random.Random(seed)
    relative = Relative(
        *(chance.uniform(-5000, 5000) for _ in range(2)), *(chance.uniform(-80, 80) for _ in range(2))
    )

    def square(t: float) -> float:
        return (relative.north_m + relative.north_m_s * t) ** 2 + (relative.east_m + relative.east_m_s * t) ** 2

    found = minimize_scalar(square, bounds=(0, 1e5), method="bounded", options={"xatol": 1e-9})
    time_s, distance_m = closest(relative)
    assert distance_m == pytest.approx(math.sqrt(min(found.fun, square(0))), abs=1e-3)
    assert time_s == pytest.approx(found.x, abs=1e-3)


def test_closing_speed_is_the_slope_of_the_distance() -> None:
    relative = Relative(700, -300, -12, 25)
    slope = (distance_at(relative, 1e-4) - distance_at(relative, 0)) / 1e-4
    assert closing_m_s(relative) == pytest.approx(-slope, rel=1e-4)


def test_doubt_by_hand() -> None:
    # at rest; 3 m/s over 20 s and 60 m: sqrt(60^2 + 60^2); a turn of 3 m/s2 for 10 s alone is 150 m
    assert doubt_m(50, 0, 0, 30) == 50
    assert doubt_m(60, 3, 0, 20) == pytest.approx(60 * math.sqrt(2))
    assert doubt_m(0, 0, 10, 5) == pytest.approx(150)


@pytest.mark.parametrize(
    "around", [(47.4, 8.5), (-35.0, 179.995), (0.0, -179.999), (89.98, 20.0), (-89.995, -100.0)]
)
def test_places_against_geographiclib(around: tuple[float, float]) -> None:
    plane = Plane(*around)
    for azimuth_deg in range(0, 360, 30):
        for distance_m in (10, 1000, 15_000):
            there = Geodesic.WGS84.Direct(*around, azimuth_deg, distance_m)
            seen = plane.see(there["lat2"], there["lon2"], 0, 0)
            assert math.hypot(seen.north_m, seen.east_m) == pytest.approx(distance_m, rel=1e-5)
            # east of a meridian by the azimuth; a degree is 17 m in a kilometre
            assert math.cos(math.radians(azimuth_deg)) * distance_m == pytest.approx(
                seen.north_m, rel=1e-5, abs=0.05
            )


def test_a_velocity_beyond_the_pole_points_the_other_way() -> None:
    # by hand: a hundredth of a degree on the other side of the pole, flying north is flying south of here
    seen = Plane(89.995, 0).see(89.995, 180, 10, 0)
    assert seen.north_m == pytest.approx(2 * 0.005 * 111_694, rel=1e-3)  # meridian degree at the pole, WGS 84
    assert (seen.north_m_s, seen.east_m_s) == pytest.approx((-10, 0), abs=1e-3)


def test_across_the_date_line() -> None:
    seen = Plane(0, 179.999).see(0, -179.999, 0, -20)
    assert seen.east_m == pytest.approx(0.002 * 111_319.4908, rel=1e-6)  # a degree on the equator, facts 8
    assert seen.north_m == pytest.approx(0, abs=1e-6)


def test_layout_of_the_scenes() -> None:
    seen = Plane(10.0, 20.0).see(*place(300, -400), 0, 0)
    assert (seen.north_m, seen.east_m) == pytest.approx((300, -400), abs=0.05)


@pytest.mark.parametrize(
    ("bearing_deg", "word"),
    [(0, "north"), (22, "north"), (23, "north_east"), (90, "east"), (135, "south_east"), (180, "south"),
     (225, "south_west"), (270, "west"), (315, "north_west"), (337, "north_west"), (338, "north")],
)  # fmt: skip
def test_octants(bearing_deg: float, word: str) -> None:
    # the eight winds of the compass, 45 degrees each
    assert octant_of(math.cos(math.radians(bearing_deg)), math.sin(math.radians(bearing_deg))) == word


@pytest.mark.parametrize(
    ("distance_m", "spoken"), [(4, 0), (47, 50), (99, 100), (774, 750), (776, 800), (1049, 1000), (12_345, 12_300)]
)
def test_distances_as_spoken(distance_m: float, spoken: float) -> None:
    assert spoken_m(distance_m) == spoken
