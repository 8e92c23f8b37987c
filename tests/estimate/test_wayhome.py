"""The way home against what stands there and who is below, by hand and by shapely; footprints over people."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
import shapely

from tests.estimate.overland import Overland, box, place, zone
from watchkeeper.aircraft.readings import BLIND
from watchkeeper.estimate.surroundings.below import AROUND_M

G = 9.80665
FILE: dict[str, Any] = {"return": {"height": "40 m"}, "packs": {"cells": 12, "capacity": "22 Ah"}}


def ridge(north_m: float = 260.0, east_m: float = 0.0, height: str = "55 m") -> dict[str, Any]:
    return {"name": "ridge", "at": place(north_m, east_m), "height": height, "radius": "60 m"}


def test_least_height_is_the_tallest_on_the_way_by_15_percent_or_10_m_and_the_line() -> None:
    tall = ridge(150, 0, "100 m")
    sortie = {"obstacles": [ridge(), tall, ridge(260, 300, "200 m")], "payload": {"mass": "3 kg", "line": "12 m"}}
    world = Overland(sortie, FILE)
    world.at(480, 0, 90)
    assert world.read("return.least_height") == pytest.approx(100 * 1.15 + 12)  # the third stands aside
    world = Overland({**sortie, "obstacles": [ridge()], "clearance": {"share": "10 %", "least": "8 m"}}, FILE)
    world.at(480, 0, 90)
    assert world.read("return.least_height") == pytest.approx(55 + 8 + 12)


def test_set_too_low_is_known_while_it_still_flies_high() -> None:
    # The return is set to 40 m by the aircraft file, the ridge asks for 65; it flies at 75 now and may sink.
    world = Overland({"obstacles": [ridge()]}, FILE)
    world.at(480, 0, 75)
    assert world.read("return.short") == pytest.approx(25.0)
    world.at(100, 0, 75)  # before the ridge nothing stands on the way home
    assert world.read("return.short") < -500
    high = Overland({"obstacles": [ridge()]}, {**FILE, "return": {"height": "70 m"}})
    high.at(480, 0, 75)
    assert high.read("return.short") == pytest.approx(-5.0)


def test_on_the_way_home_what_it_flies_at_counts() -> None:
    world = Overland({"obstacles": [ridge()]}, FILE)
    world.at(480, 0, 75, returning=True)
    world.at(480, 0, 75, returning=True)
    assert world.read("flight.phase") == "returning"
    assert world.read("return.short") == pytest.approx(-10.0)  # up there already: it stays at 75 m
    world.at(470, 0, 48, returning=True)
    assert world.read("return.short") == pytest.approx(17.0)


def test_a_height_that_nobody_knows_is_blind_where_something_stands() -> None:
    world = Overland({"obstacles": [ridge()], "ceiling": "120 m"})
    world.at(480, 0, 75)
    assert world.read("return.short") is BLIND
    assert world.read("return.over_ceiling") is BLIND
    world.at(100, 0, 75)
    assert world.read("return.short") < 0.0


def test_return_above_the_ceiling() -> None:
    world = Overland({"ceiling": "60 m"}, {**FILE, "return": {"height": "70 m"}})
    world.at(300, 0, 50)
    assert world.read("return.over_ceiling") == pytest.approx(10.0)


def test_over_home_nothing_is_said_of_the_way_there() -> None:
    world = Overland({"obstacles": [ridge(0, 0)], "payload": {"mass": "3 kg", "line": "20 m"}}, FILE)
    world.at(2, 0, 6)
    assert world.read("return.short") < -500


@pytest.mark.parametrize("seed", range(15))
def test_areas_on_the_way_home_as_shapely_has_them(seed: int) -> None:
    rng = random.Random(seed)
    corners = [
        (200 + r * math.cos(a), r * math.sin(a))
        for a, r in sorted((rng.uniform(0, 2 * math.pi), rng.uniform(30, 150)) for _ in range(7))
    ]
    shape = shapely.Polygon(corners)
    if not shape.is_valid or shape.area < 100:
        return
    world = Overland({"areas": [zone("people", *corners), zone("keep_out", *corners, name="other")]})
    for _ in range(8):
        spot = rng.uniform(-400, 500), rng.uniform(-400, 400)
        world.at(*spot, after_s=3.0)
        apart_m = shape.distance(shapely.LineString([spot, (0, 0)]))
        if abs(apart_m - 15.0) > 1.0:
            assert world.read("return.over_people") is (apart_m < 15.0)
            assert world.read("return.in_keep_out") is (apart_m < 15.0)


def test_a_boundary_that_bends_inwards_is_left_on_a_straight_way() -> None:
    # an L around a corner: from one arm into the other the straight way is outside
    bent = [(-50, -50), (400, -50), (400, 50), (50, 50), (50, 400), (-50, 400)]
    world = Overland({"areas": [zone("boundary", *bent)]})
    world.at(300, 0)
    assert world.read("return.outside") is False
    away = Overland({"areas": [zone("boundary", *[(n - 20, e + 320) for n, e in bent])]})  # home in the far arm
    away.at(300, 330, after_s=3.0)
    assert away.read("return.outside") is True


def test_where_it_would_fall_without_wind_by_hand() -> None:
    # 80 m up at 10 m/s north: without drag 10 x sqrt(2 x 80 / g) = 40.4 m ahead, with drag less; all of it counts
    falls_m = 10.0 * math.sqrt(2 * 80.0 / G)
    world = Overland({"areas": [zone("people", *box(55, -10, 90, 10))], "weather": {"wind": "0 m/s from 0 deg"}})
    world.at(0, 0, 80.0, 10.0)
    assert world.read("fall.reach") == pytest.approx(falls_m, abs=0.1)
    assert world.read("fall.to_people") == pytest.approx(55 - falls_m - AROUND_M, abs=12.0)  # 10: the wind's doubt
    world.at(30, 0, 80.0, 10.0)
    assert world.read("fall.to_people") == 0.0
    world.at(120, 0, 80.0, 10.0)  # past them, flying away
    assert world.read("fall.to_people") > 0.0 or world.read("fall.reach") > 25.0


def test_hanging_still_in_calm_it_falls_straight_down_and_in_wind_it_drifts() -> None:
    calm = Overland({"areas": [zone("people", *box(-10, 60, 10, 90))]})
    calm.flight.send("WIND", direction=0.0, speed=0.0)
    calm.at(0, 0, 60.0)
    assert calm.read("fall.reach") == pytest.approx(0.0, abs=0.5)
    assert calm.read("fall.to_people") > 40.0
    windy = Overland({"areas": [zone("people", *box(-10, 60, 10, 90))]})
    windy.flight.send("WIND", direction=270.0, speed=12.0)
    windy.at(0, 0, 60.0)
    windy.at(0, 0, 60.0)
    assert windy.read("fall.to_people") == 0.0  # with plenty of drag it is carried there
    assert windy.read("fall.reach") > 50.0


def test_without_people_or_keep_out_no_fall_is_worked_out() -> None:
    world = Overland({"areas": [zone("boundary", *box(-300, -300, 300, 300))]})
    world.at(0, 0, 80.0, 10.0)
    assert world.read("fall.reach") is BLIND
    assert world.read("return.over_people") is BLIND


@pytest.mark.parametrize(("aside_m", "counts"), [(73.0, True), (77.0, False)])
def test_what_stands_beside_the_way_counts_with_its_radius_and_15_m(aside_m: float, *, counts: bool) -> None:
    world = Overland({"obstacles": [ridge(260, aside_m)]}, FILE)
    world.at(480, 0, 75)
    assert (world.read("return.least_height") > 0.0) is counts
