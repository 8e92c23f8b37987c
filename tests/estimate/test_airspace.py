"""Ceiling, borders, obstacles, sight: by hand on a plane laid out by geographiclib (Karney), and by shapely."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
import shapely

from tests.aircraft.feeder import Flight
from tests.estimate.overland import Flat, Overland, box, place, zone
from watchkeeper.aircraft.files import SortieFile, load_sortie_file
from watchkeeper.aircraft.readings import BLIND
from watchkeeper.errors import BadInputError
from watchkeeper.estimate.surroundings.site import Zone

BRAKING = 1.5  # m/s2, where nothing tells it (the default of a return)
PLACES = [(0.0, 0.001), (1.25, -31.5), (47.4, 8.5), (-60.0, 179.9999), (68.0, -179.9995), (69.9, 25.0)]


def post(north_m: float, east_m: float, height: str, radius: str = "10 m") -> dict[str, Any]:
    return {"name": "mast", "at": place(north_m, east_m), "height": height, "radius": radius}


# Ceiling and sight ---------------------------------------------------------------------------------------------


def test_ceiling_over_home_and_by_climb() -> None:
    world = Overland({"ceiling": "120 m"})
    world.at(100, 0, 80.0, climb_m_s=2.0)
    assert world.read("ceiling.left") == pytest.approx(40.0)
    assert world.read("ceiling.reached_in") == pytest.approx(20.0)
    world.at(100, 0, 125.0, climb_m_s=0.0)
    assert world.read("ceiling.left") == pytest.approx(-5.0)
    world.at(100, 0, 125.0, climb_m_s=1.0)
    assert world.read("ceiling.reached_in") == 0.0


def test_over_lower_ground_the_ceiling_is_lower_as_far_as_that_ground_is_known() -> None:
    valley = {"at": place(300, 0), "height": "-30 m"}
    world = Overland({"ceiling": "120 m", "ground": [valley]})
    world.at(300, 0, 100.0)
    assert world.read("ceiling.left") == pytest.approx(-10.0)  # 130 m over the valley
    world.at(100, 0, 100.0)
    assert world.read("ceiling.left") == pytest.approx(20.0)  # nearer to home than to the valley
    world.at(300, 160, 100.0)
    assert world.read("ceiling.left") == pytest.approx(20.0)  # too far from it to tell


def test_height_over_ground_as_the_aircraft_tells_it_counts_where_it_is_higher() -> None:
    world = Overland({"ceiling": "120 m"})
    world.at(0, 300, 100.0)
    world.flight.send("TERRAIN_REPORT", current_height=124.0, spacing=30)
    world.at(0, 301, 100.0)
    assert world.read("ceiling.left") == pytest.approx(-4.0)
    world.flight.send("TERRAIN_REPORT", current_height=12.0, spacing=30)  # a hill under it allows no more
    world.at(0, 302, 100.0)
    assert world.read("ceiling.left") == pytest.approx(20.0)


def test_sight_is_the_distance_from_home() -> None:
    world = Overland({"sight": "500 m"})
    world.at(300, -400.0, 50.0)
    assert world.read("sight.left") == pytest.approx(0.0, abs=0.5)
    world.at(30, -40.0, 50.0)
    assert world.read("sight.left") == pytest.approx(450.0, abs=0.5)


def test_without_a_sortie_or_its_keys_nothing_is_judged() -> None:
    nothing: tuple[dict[str, Any] | None, ...] = (None, {})
    for sortie in nothing:
        world = Overland(sortie)
        world.at(100, 0, 500.0, 10.0)
        for name in ("ceiling", "sight", "boundary", "keep_out", "people", "obstacles"):
            assert world.read(f"sortie.{name}") is False
        for name in ("ceiling.left", "sight.left", "boundary.distance", "keep_out.distance", "obstacle.distance"):
            assert world.read(name) is BLIND


# Borders -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("home", PLACES)
def test_time_to_stop_at_the_boundary_by_hand_anywhere_on_earth(home: tuple[float, float]) -> None:
    world = Overland({"areas": [zone("boundary", *box(-300, -300, 300, 300), home=home)]}, home=home)
    world.at(200, 0, north_m_s=8.0)
    assert world.read("boundary.distance") == pytest.approx(100.0, abs=0.3)
    # 100 m at 8 m/s less the time that braking from 8 m/s at 1.5 m/s2 takes off: v/(2a)
    assert world.read("boundary.stop_in") == pytest.approx(100 / 8 - 8 / (2 * BRAKING), abs=0.05)
    world.at(200, 0, north_m_s=-8.0)
    assert world.read("boundary.stop_in") == 600.0  # 500 m: further than a track is looked along
    world.at(320, 0, north_m_s=8.0)
    assert world.read("boundary.distance") == pytest.approx(-20.0, abs=0.3)
    assert world.read("boundary.stop_in") is BLIND


def test_from_one_boundary_into_the_next_is_no_way_out() -> None:
    areas = [
        zone("boundary", *box(-100, -100, 100, 100), name="one"),
        zone("boundary", *box(100, -100, 300, 100), name="two"),
    ]
    world = Overland({"areas": areas})
    world.at(0, 0, north_m_s=10.0)
    assert world.read("boundary.stop_in") == pytest.approx(300 / 10 - 10 / 3.0, abs=0.1)


def test_keep_out_by_track() -> None:
    world = Overland({"areas": [zone("keep_out", *box(100, -20, 150, 20))]})
    world.at(0, 0, north_m_s=5.0)
    assert world.read("keep_out.distance") == pytest.approx(100.0, abs=0.3)
    assert world.read("keep_out.stop_in") == pytest.approx(100 / 5 - 5 / 3.0, abs=0.1)
    world.at(0, 30, north_m_s=5.0)  # passes beside it
    assert world.read("keep_out.stop_in") == 600.0
    world.at(0, 0, north_m_s=0.2)  # hangs there
    assert world.read("keep_out.stop_in") == 600.0
    world.at(120, 0, north_m_s=5.0)
    assert world.read("keep_out.distance") == 0.0


def ring(rng: random.Random, count: int, radius_m: float) -> list[Flat]:
    """Return a simple outline of many corners."""
    spokes = [(2 * math.pi * i / count, radius_m * rng.uniform(0.7, 1.0)) for i in range(count)]
    return [(r * math.cos(a), r * math.sin(a)) for a, r in spokes]


@pytest.mark.parametrize("seed", range(12))
def test_distances_and_exits_as_shapely_has_them(seed: int) -> None:
    rng = random.Random(seed)
    corners = ring(rng, rng.choice([3, 5, 40, 500]), 400.0)
    shape = shapely.Polygon(corners)
    world = Overland({"areas": [zone("boundary", *corners)]})
    for _ in range(12):
        spot = rng.uniform(-350, 350), rng.uniform(-350, 350)
        course, speed = rng.uniform(0, 2 * math.pi), rng.uniform(2, 12)
        north_m_s, east_m_s = speed * math.cos(course), speed * math.sin(course)
        world.at(*spot, 50.0, north_m_s, east_m_s)
        inside = shape.contains(shapely.Point(spot))
        border_m = shape.exterior.distance(shapely.Point(spot))
        found_m = world.read("boundary.distance")
        # the watch may take up to 5 % less than it is, to save work; never more
        assert abs(found_m) <= border_m + 0.6
        assert abs(found_m) >= 0.95 * border_m - 0.6
        if border_m < 2.0:
            continue
        assert (found_m > 0.0) is inside
        if inside:
            track = shapely.LineString([spot, (spot[0] + 60 * north_m_s, spot[1] + 60 * east_m_s)])
            out = track.difference(shape)
            exit_m = shapely.Point(spot).distance(out) if not out.is_empty else math.inf
            stop_s = world.read("boundary.stop_in")
            if math.isinf(exit_m):
                assert stop_s == 600.0 or stop_s > 59 - speed / 3
            else:
                assert stop_s == pytest.approx(exit_m / speed - speed / (2 * BRAKING), abs=0.6 / speed + 0.1)


def test_a_border_is_not_measured_anew_while_it_is_far(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[Flat] = []
    real = Zone.depth_m.__globals__["border_m"]

    def counted(corners: Any, at: Flat) -> float:
        asked.append(at)
        return float(real(corners, at))

    monkeypatch.setitem(Zone.depth_m.__globals__, "border_m", counted)
    one = Zone("far", "keep_out", ring(random.Random(1), 500, 200.0))
    for metres in range(200):
        one.depth_m((1500.0 + 0.5 * metres, 0.0))
    assert len(asked) <= 4  # 100 m of way, 1.3 km away: anew after 5 % of it


# Obstacles -----------------------------------------------------------------------------------------------------


def test_time_to_an_obstacle_by_hand() -> None:
    world = Overland({"obstacles": [post(200, 0, "42 m")]})
    world.at(0, 0, 30.0, north_m_s=8.0)
    assert world.read("obstacle.distance") == pytest.approx(190.0, abs=0.5)
    assert world.read("obstacle.reached_in") == pytest.approx((200 - 15) / 8, abs=0.1)  # 10 m and 5 m of doubt
    assert world.read("obstacle.stop_in") == pytest.approx((200 - 15) / 8 - 8 / 3.0, abs=0.1)


@pytest.mark.parametrize(
    ("height_m", "climb_m_s", "line", "hit"),
    [
        (44.0, 0.0, "0 m", True),  # less than 3 m over it
        (46.0, 0.0, "0 m", False),
        (54.0, 0.0, "10 m", True),  # the load strikes
        (56.0, 0.0, "10 m", False),
        (30.0, 1.0, "0 m", False),  # climbs over it: 30 + 185/8 > 45
        (60.0, -1.0, "0 m", True),  # sinks into it
    ],
)
def test_height_line_and_climb_decide(height_m: float, climb_m_s: float, line: str, *, hit: bool) -> None:
    world = Overland({"obstacles": [post(200, 0, "42 m")], "payload": {"mass": "3 kg", "line": line}})
    world.at(0, 0, height_m, 8.0, 0.0, climb_m_s)
    assert (world.read("obstacle.reached_in") < 600.0) is hit


@pytest.mark.parametrize(
    ("north_m_s", "east_m_s", "east_m"), [(-8.0, 0.0, 0.0), (8.0, 0.0, 20.0), (0.3, 0.0, 0.0), (0.0, 8.0, 0.0)]
)
def test_away_from_it_beside_it_and_slowly_is_no_danger(north_m_s: float, east_m_s: float, east_m: float) -> None:
    world = Overland({"obstacles": [post(200, 0, "42 m")]})
    world.at(0, east_m, 30.0, north_m_s, east_m_s)
    assert world.read("obstacle.stop_in") == 600.0


def test_inside_a_rough_cylinder_only_the_way_on_is_told() -> None:
    world = Overland({"obstacles": [post(200, 0, "55 m", "60 m")]})
    world.at(160, 0, 40.0, north_m_s=4.0)
    assert world.read("obstacle.reached_in") == 0.0
    world.at(160, 0, 40.0, north_m_s=-4.0)
    assert world.read("obstacle.reached_in") == 600.0


# What is missing, hostile, refused -----------------------------------------------------------------------------


def test_a_position_that_is_gone_makes_blind_and_not_well() -> None:
    world = Overland({"areas": [zone("boundary", *box(-300, -300, 300, 300))], "ceiling": "120 m"})
    world.at(0, 0)
    assert world.read("boundary.distance") == pytest.approx(300, abs=0.5)
    world.flight.wait(20)
    world.suite.run(world.flight.now_us)
    assert world.read("boundary.distance") is BLIND
    assert world.read("ceiling.left") is BLIND
    assert world.read("sortie.boundary") is True


def test_on_the_ground_nothing_is_known() -> None:
    world = Overland({"ceiling": "120 m"})
    flight = Flight(world.flight.fleet)
    flight.now_us = world.flight.now_us
    flight.beat(armed=False)
    world.suite.run(flight.now_us)
    assert flight.read("ceiling.left") is BLIND


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ("[[1, -2], [1.002, -1.998], [1.002, -2], [1, -1.998]]", "the border of 'works' crosses itself"),
        # over the date line: a bow tie there, and below a square that is none
        ("[[1, 179.999], [1.002, -179.999], [1.002, 179.999], [1, -179.999]]", "crosses itself"),
    ],
)
def test_a_border_that_crosses_itself_is_refused_with_its_place(points: str, words: str) -> None:
    text = f"home: [1, -2]\nareas:\n  - {{name: works, kind: keep_out, points: {points}}}\n"
    with pytest.raises(BadInputError) as caught:
        load_sortie_file(text, "s.yaml")
    (fault,) = caught.value.faults
    assert words in fault.what
    assert fault.line == 3


def test_a_square_over_the_date_line_is_taken() -> None:
    points = [[1, 179.999], [1.002, 179.999], [1.002, -179.999], [1, -179.999]]
    read = SortieFile.model_validate({"areas": [{"name": "a", "kind": "boundary", "points": points}]})
    assert len(read.areas[0].points) == 4


def test_a_border_of_thousands_of_corners_is_refused() -> None:
    corners = ring(random.Random(3), 4001, 300.0)
    with pytest.raises(ValueError, match="4001 corners"):
        SortieFile.model_validate({"areas": [zone("keep_out", *corners)]})


def test_moving_little_by_little_the_distance_is_never_more_than_it_is() -> None:
    corners = box(-300, -300, 300, 300)
    zone_here = Zone("field", "boundary", corners)
    for metres in range(295):
        depth_m = zone_here.depth_m((float(metres), 0.0))
        assert 0.95 * (300 - metres) - 1e-9 <= depth_m <= 300 - metres + 1e-9


def test_a_boundary_inside_a_boundary_is_no_way_out() -> None:
    areas = [
        zone("boundary", *box(-300, -300, 300, 300), name="all"),
        zone("boundary", *box(20, -50, 60, 50), name="part"),
    ]
    world = Overland({"areas": areas})
    world.at(0, 0, north_m_s=10.0)
    assert world.read("boundary.stop_in") == pytest.approx(300 / 10 - 10 / 3.0, abs=0.1)
