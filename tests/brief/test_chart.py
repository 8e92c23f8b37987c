"""Places on the plane around home against geographiclib (Karney 2013), and the best place to land by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic

from tests.brief.groundwork import HOME, at, point, post, said, sortie
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.aircraft.filetypes import Wind
from watchkeeper.brief.chart import (
    Landing,
    Spot,
    best_places,
    chart,
    listed,
    odd_places,
    on_way,
    where,
    wind_along,
)
from watchkeeper.estimate.home.returnplan import ReturnPlan

FIJI_LIKE = (-17.0, 179.999)


@pytest.mark.parametrize("home", [HOME, (0.0, -78.5), (-45.0, 170.0), FIJI_LIKE, (69.0, 18.0)])
@pytest.mark.parametrize("bearing", [0.0, 37.0, 90.0, 181.0, 275.0])
@pytest.mark.parametrize("distance_m", [80.0, 5000.0])
def test_places_by_distance_and_bearing(home: tuple[float, float], bearing: float, distance_m: float) -> None:
    found = chart(sortie(plan=[{"at": at(distance_m, bearing, home), "height": "60 m"}]), home).points[0]
    assert found.name == "point 1"
    assert found.distance_m == pytest.approx(distance_m, rel=1e-3)
    assert math.cos(math.radians(found.bearing_deg - bearing)) > math.cos(math.radians(0.1))
    assert found.height_m == 60.0


def test_two_places_are_as_far_apart_as_on_the_earth() -> None:
    # Not only from home: 2 km away, 700 m from each other.
    one, other = at(2000, 60), at(2000, 80)
    apart_m = Geodesic.WGS84.Inverse(*one, *other)["s12"]
    points = chart(sortie(plan=[{"at": one, "height": "1 m"}, {"at": other, "height": "1 m"}]), HOME).points
    found_m = math.dist((points[0].north_m, points[0].east_m), (points[1].north_m, points[1].east_m))
    assert found_m == pytest.approx(apart_m, abs=0.5)


def test_how_far_the_plan_goes() -> None:
    found = chart(sortie(plan=[point(300, 10, "90 m"), point(500, 20, "60 m")]), HOME)
    assert found.farthest_m == pytest.approx(500, rel=1e-3)
    assert chart(sortie(), HOME).farthest_m is None


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ((0.0, 0.0), "home"),
        ((100.0, 0.0), "100 m, 000 deg"),
        ((-30.0, -40.0), "50 m, 233 deg"),
        ((100.0, -0.1), "100 m, 000 deg"),  # 359.94, not 360
    ],
)
def test_places_in_words(place: tuple[float, float], words: str) -> None:
    assert where(*place) == words


def test_long_lists_are_cut() -> None:
    assert listed(["a", "b", "c"]) == "a, b, c"
    assert listed(["a", "b", "c", "d", "e"]) == "a, b, c and 2 more"


def test_what_lies_on_a_way_home() -> None:
    # 15 m beside a way is as far as a return may stray (estimate.places.ASIDE_M).
    end = Spot("point 1", 0.0, 500.0)
    assert on_way(end, Spot("mast", 14.0, 250.0))
    assert not on_way(end, Spot("mast", 16.0, 250.0))
    assert on_way(end, Spot("mast", 20.0, 250.0, 0.0, 6.0))
    assert not on_way(end, Spot("mast", 0.0, -16.0))
    assert on_way(Spot("point 1", 0.0, 0.0), Spot("mast", 0.0, 10.0))


def test_slips_in_positions_are_named() -> None:
    swapped = {"name": "mast", "at": [8.5, 47.4], "height": "30 m"}
    wide = {
        "name": "country",
        "kind": "boundary",
        "points": [[40.0, 0.0], [55.0, 0.0], [55.0, 20.0], [40.0, 20.0]],
    }
    given = sortie(obstacles=[swapped, post("tree", 100, 0, "9 m")], areas=[wide], plan=[point(300, 10)])
    remark = said(odd_places(chart(given, HOME), HOME), "caution", "Too far from home for one flight: mast (")
    assert "tree" not in remark.what
    assert "country" not in remark.what
    assert odd_places(chart(sortie(plan=[point(300, 10)], areas=[wide]), HOME), HOME) == ()


@pytest.mark.parametrize("latitude", [90.0, -90.0, 89.9, 85.1])
def test_near_a_pole_it_says_that_it_is_not_exact(latitude: float) -> None:
    given = sortie(plan=[{"at": [latitude, 10.0], "height": "50 m"}])
    said(odd_places(chart(given, (latitude, 0.0)), (latitude, 0.0)), "caution", "not exact")


# Best places -----------------------------------------------------------------------------------------------------

PLAN = ReturnPlan(speed_m_s=8.0, airspeed_m_s=10.0)


def meadow(bearing: float, distance_m: float) -> dict[str, Any]:
    return {"name": f"meadow {bearing:.0f}", "at": at(distance_m, bearing), "height": "5 m"}


def nothing(_point: Spot, _landing: Landing) -> float | None:
    return None


def best(given: SortieFile, wind: Wind | None = None) -> list[tuple[str, int, int]]:
    found = best_places(given, HOME, PLAN, nothing, wind=wind)
    return [(one.place, round(one.distance_m), round(one.bearing_deg)) for one in found]


def test_home_counts_too() -> None:
    given = sortie(plan=[point(1000, 90), point(200, 90)], landing_places=[meadow(90, 1400)])
    assert best(given) == [("meadow 90", 400, 90), ("home", 200, 270)]
    assert best(sortie(plan=[point(200, 90)])) == [("home", 200, 270)]
    assert best(sortie(landing_places=[meadow(90, 1400)])) == []


def test_the_wind_decides() -> None:
    # At 700 m east between home and a meadow at 1400 m, 50 m nearer to home. Wind of 6 m/s from west: home at
    # 10 - 6 = 4 m/s in 162 s, the meadow at the set 8 m/s in 94 s. From east the other way round.
    given = sortie(plan=[point(650, 90)], landing_places=[meadow(90, 1400)])
    assert best(given) == [("home", 650, 270)]
    assert best(given, Wind(6.0, 270.0)) == [("meadow 90", 750, 90)]
    assert best(given, Wind(6.0, 90.0)) == [("home", 650, 270)]
    # Of the sortie, where no other is given.
    windy = sortie(
        plan=[point(650, 90)], landing_places=[meadow(90, 1400)], weather={"wind": "6 m/s from 270 deg"}
    )
    assert best(windy) == [("meadow 90", 750, 90)]


def test_more_wind_than_airspeed_leaves_the_way_with_it_or_the_nearest() -> None:
    # 12 m/s against 10 m/s: only down wind is anything reached; across the wind nothing is.
    given = sortie(plan=[point(100, 90)], landing_places=[meadow(90, 3000)])
    assert best(given, Wind(12.0, 270.0)) == [("meadow 90", 2900, 90)]
    assert best(given, Wind(12.0, 0.0)) == [("home", 100, 270)]


def test_charge_left_is_asked_for_the_place_chosen() -> None:
    asked: list[tuple[str, Landing]] = []

    def left(spot: Spot, landing: Landing) -> float:
        asked.append((spot.name, landing))
        return 42.0

    given = sortie(plan=[point(1000, 90)], landing_places=[meadow(90, 1400)])
    found = best_places(given, HOME, PLAN, left)
    assert [one.left_pct for one in found] == [42.0]
    assert [(name, landing.name, landing.height_m) for name, landing in asked] == [("point 1", "meadow 90", 5.0)]


def test_wind_on_a_course() -> None:
    # From 250 deg on a course of 250 deg it stands against; at a right angle it is across; none without a wind.
    wind = Wind(7.0, 250.0)
    assert wind_along(wind, 250.0).head_m_s == pytest.approx(7.0)
    assert wind_along(wind, 70.0).head_m_s == pytest.approx(-7.0)
    assert wind_along(wind, 160.0).head_m_s == pytest.approx(0.0, abs=1e-9)
    assert abs(wind_along(wind, 160.0).cross_m_s) == pytest.approx(7.0)
    assert wind_along(None, 160.0) == (0.0, 0.0, 0.0, 0.0)
