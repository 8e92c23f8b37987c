"""Distances and bearings against geographiclib, which solves the geodesic to nanometres."""

from __future__ import annotations

import math
import random

import pytest
from geographiclib.geodesic import Geodesic

from watchkeeper.aircraft.geodesy import Around, distance_bearing


def test_the_pair_of_the_facts_sheet() -> None:
    # facts.md section 8: geographiclib 2.1 gives 995.938751 m, azimuth 0.026053 degrees... of rounded longitudes
    truth = Geodesic.WGS84.Inverse(47.397742, 8.545594, 47.4067, 8.5456)
    distance_m, bearing_deg = distance_bearing(47.397742, 8.545594, 47.4067, 8.5456)
    assert truth["s12"] == pytest.approx(995.938751, abs=1e-4)
    assert distance_m == pytest.approx(995.938751, abs=0.05)
    assert bearing_deg == pytest.approx(0.026053, abs=0.001)


@pytest.mark.parametrize(("reach_m", "allowed"), [(5_000, 2e-4), (20_000, 1e-3)])
def test_random_pairs_are_within_a_tenth_of_a_per_cent(reach_m: float, allowed: float) -> None:
    chance = random.Random(11)
    for _ in range(500):
        latitude = chance.uniform(-70, 70)
        longitude = chance.uniform(-180, 180)
        azimuth = chance.uniform(0, 360)
        away_m = chance.uniform(1, reach_m)
        there = Geodesic.WGS84.Direct(latitude, longitude, azimuth, away_m)
        distance_m, bearing_deg = Around(latitude, longitude).to(there["lat2"], there["lon2"])
        assert distance_m == pytest.approx(away_m, rel=allowed)
        turned_deg = (bearing_deg - azimuth + 180) % 360 - 180
        # the starting azimuth of a long line differs from its mean one by half the convergence of the meridians
        half_way_deg = math.degrees(away_m / 6.37e6) * abs(math.tan(math.radians(latitude))) / 2
        assert abs(turned_deg) < half_way_deg + 0.1


def test_across_the_date_line() -> None:
    truth = Geodesic.WGS84.Inverse(-17.0, 179.99, -17.0, -179.99)
    distance_m, bearing_deg = distance_bearing(-17.0, 179.99, -17.0, -179.99)
    assert distance_m == pytest.approx(truth["s12"], rel=1e-4)
    assert bearing_deg == pytest.approx(90, abs=0.01)


def test_the_same_place_is_no_distance_away() -> None:
    assert distance_bearing(10.0, 20.0, 10.0, 20.0) == (0.0, 0.0)
