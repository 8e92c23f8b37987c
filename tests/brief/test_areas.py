"""Areas against shapely (GEOS), and by hand on a plane of whole metres around home."""

from __future__ import annotations

import math
import random
import time
from typing import Any

import pytest
import shapely

from tests.brief.groundwork import HOME, area, at, offset, said, sortie
from watchkeeper.aircraft.polygon import apart_m, border_m, crosses_itself, holds, in_triangle, spans
from watchkeeper.brief.areas import check_areas
from watchkeeper.brief.findings import Remark

Flat = tuple[float, float]
SQUARE: tuple[Flat, ...] = ((0.0, 0.0), (0.0, 10.0), (10.0, 10.0), (10.0, 0.0))
U_SHAPE: tuple[Flat, ...] = ((0, 0), (10, 0), (10, 3), (3, 3), (3, 7), (10, 7), (10, 10), (0, 10))
HOURGLASS: tuple[Flat, ...] = ((0, 0), (10, 0), (5, 5), (10, 10), (0, 10), (5, 5))
"""Touches itself in a corner."""
BOW_TIE: tuple[Flat, ...] = ((0, 0), (10, 10), (10, 0), (0, 10))


def star(rng: random.Random) -> list[Flat]:
    """Return a polygon, seldom convex, that sometimes crosses itself: corners in order around a middle."""
    count = rng.randint(3, 14)
    angles = sorted(rng.uniform(0, 2 * math.pi) for _ in range(count))
    return [
        (30 + rng.uniform(2, 60) * math.cos(angle), -20 + rng.uniform(2, 60) * math.sin(angle)) for angle in angles
    ]


# The plane ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(60))
def test_random_polygons_as_shapely_has_them(seed: int) -> None:
    rng = random.Random(seed)
    corners = star(rng)
    shape = shapely.make_valid(shapely.Polygon(corners))  # by the even-odd rule where it crosses itself
    ring = shapely.LinearRing(corners)
    for _ in range(20):
        one, other = ((rng.uniform(-50, 110), rng.uniform(-100, 60)) for _ in range(2))
        border = ring.distance(shapely.Point(one))
        assert border_m(corners, one) == pytest.approx(border, abs=1e-9)
        if border > 0.02:
            assert holds(corners, one) is bool(shape.contains(shapely.Point(one)))
        line = shapely.LineString([one, other])
        found = spans(corners, one, other)
        length_m = sum(b - a for a, b in found) * line.length
        assert length_m == pytest.approx(shape.intersection(line).length, abs=0.05)
        assert found == sorted(found)
        assert apart_m(corners, one, other) == pytest.approx(shape.distance(line), abs=1e-6)


@pytest.mark.parametrize("corners", [SQUARE, U_SHAPE, HOURGLASS, tuple(reversed(U_SHAPE))])
def test_every_place_of_a_grid_as_shapely_has_it(corners: tuple[Flat, ...]) -> None:
    # On borders and corners too: covers holds them. The hourglass is invalid as one ring, valid as two.
    shape = shapely.make_valid(shapely.Polygon(corners))
    for north in range(-1, 12):
        for east in range(-1, 12):
            assert holds(corners, (north, east)) is bool(shape.covers(shapely.Point(north, east))), (north, east)


@pytest.mark.parametrize("corners", [SQUARE, U_SHAPE, HOURGLASS])
def test_ways_over_a_grid_as_shapely_has_them(corners: tuple[Flat, ...]) -> None:
    # Whole metres: many of them through corners and along borders.
    shape = shapely.make_valid(shapely.Polygon(corners))
    rng = random.Random(7)
    for _ in range(600):
        one, other = ((rng.randint(-2, 12), rng.randint(-2, 12)) for _ in range(2))
        if one == other:
            continue
        line = shapely.LineString([one, other])
        length_m = sum(b - a for a, b in spans(corners, one, other)) * line.length
        assert length_m == pytest.approx(shape.intersection(line).length, abs=1e-6), (one, other)
        assert apart_m(corners, one, other) == pytest.approx(shape.distance(line), abs=1e-6)


def test_spans_of_a_notch() -> None:
    # Across both arms of the U at 5 m north, from 2 m before it: 0 to 3 and 7 to 10 of a way of 14 m.
    found = spans(U_SHAPE, (5.0, -2.0), (5.0, 12.0))
    assert [share * 14 for span in found for share in span] == pytest.approx([2, 5, 9, 12])
    assert spans(U_SHAPE, (5.0, 5.0), (5.0, 5.0)) == []
    assert spans(U_SHAPE, (1.0, 5.0), (1.0, 5.0)) == [(0.0, 1.0)]
    assert spans(SQUARE, (10.0, -5.0), (10.0, 15.0)) == [(0.25, 0.75)]  # along the border
    assert spans(SQUARE, (10.0, 5.0), (15.0, 5.0)) == []  # from the border away
    assert spans(HOURGLASS, (2.0, 0.0), (2.0, 10.0)) == [(pytest.approx(0.0), pytest.approx(0.2)), (0.8, 1.0)]
    assert spans(HOURGLASS, (5.0, 0.0), (5.0, 10.0)) == [(0.0, 1.0)]  # through the corner that touches


def test_crossing_itself_is_seen_and_touching_is_not() -> None:
    assert crosses_itself(BOW_TIE)
    assert not any(map(crosses_itself, (SQUARE, U_SHAPE, HOURGLASS)))
    assert not crosses_itself(((0, 0), (10, 0), (4.995, 5), (10, 10), (0, 10), (5, 5)))  # by half a centimetre
    assert crosses_itself(((0, 0), (10, 0), (4.5, 5), (10, 10), (0, 10), (5, 5)))
    for seed in range(40):
        corners = star(random.Random(seed))
        assert crosses_itself(corners) is not shapely.LinearRing(corners).is_simple


def test_inside_a_triangle() -> None:
    triangle = ((0.0, 0.0), (10.0, 0.0), (0.0, 10.0))
    assert in_triangle((3.0, 3.0), triangle)
    assert in_triangle((3.0, 3.0), triangle[::-1])
    assert not in_triangle((5.0, 5.0), triangle)  # on its side
    assert not in_triangle((5.0, 0.005), triangle)  # half a centimetre from it
    assert in_triangle((5.0, 0.02), triangle)
    assert not in_triangle((6.0, 6.0), triangle)
    assert not in_triangle((5.0, 0.0), ((0.0, 0.0), (10.0, 0.0), (20.0, 0.0)))


# The sortie ----------------------------------------------------------------------------------------------------


def square(half_m: float) -> tuple[Flat, ...]:
    return ((-half_m, -half_m), (-half_m, half_m), (half_m, half_m), (half_m, -half_m))


def plan(*points: Flat, home: tuple[float, float] = HOME) -> list[dict[str, Any]]:
    return [{"at": offset(*one, home), "height": "50 m"} for one in points]


def checked(home: tuple[float, float] = HOME, /, **keys: Any) -> tuple[Remark, ...]:
    return check_areas(sortie(**keys), home)


@pytest.mark.parametrize("home", [HOME, (-17.0, 179.999), (-17.0, -179.9995), (0.0, 0.001), (69.0, 18.0)])
def test_point_outside_the_boundary_by_so_many_metres(home: tuple[float, float]) -> None:
    # North border at 400 m: the point at 520 m is 120 m outside. Also where 180 degrees run through the area.
    areas = [area("stay within", "boundary", *square(400), home=home)]
    remarks = checked(home, areas=areas, plan=plan((300, 300), (520, 0), home=home))
    what = said(remarks, "warning", "Outside stay within").what
    assert what == "Outside stay within: point 2 by 120 m"
    assert checked(home, areas=areas, plan=plan((300, 300), (390, 0), home=home)) == ()


def test_home_outside_the_boundary() -> None:
    areas = [area("field", "boundary", (50, -100), (50, 100), (400, 100), (400, -100))]
    assert (
        "home by 50 m, point 1 by 10 m"
        in said(checked(areas=areas, plan=plan((40, 0))), "warning", "Outside").what
    )


def test_boundary_with_a_notch_is_left_on_the_way_home() -> None:
    # A U open to the north; home in its left arm, the point in its right one, at 200 m north both.
    u_shape = ((-100, -100), (300, -100), (300, 50), (0, 50), (0, 150), (300, 150), (300, 300), (-100, 300))
    remarks = checked(areas=[area("field", "boundary", *u_shape)], plan=plan((-50, 0), (-50, 200), (200, 200)))
    assert len(remarks) == 1
    # The straight way from 200, 200 to 0, 0 leaves the arm at 150, 150 (212 m, 045 deg), is back at 50, 50.
    what = said(remarks, "warning", "Outside field").what
    assert what == "Outside field: the way home from point 3 between 212 m, 045 deg and 71 m, 045 deg"


def test_way_from_border_to_border_through_the_outside() -> None:
    # Home and the point on either side of the U's gap, both on its border: nothing of the leg is inside.
    u_shape = ((-100, -100), (300, -100), (300, 0), (-50, 0), (-50, 150), (300, 150), (300, 300), (-100, 300))
    what = said(
        checked(areas=[area("field", "boundary", *u_shape)], plan=plan((0, 150))), "warning", "Outside"
    ).what
    assert "the leg from home to point 1 between home and 150 m, 090 deg" in what


def test_narrow_notch_is_not_missed() -> None:
    # A needle, 2 m wide at its foot on the north border, its tip 150 m north of home: at 300 m it is 2 x 150 / 250
    # = 1.2 m wide.
    needle = ((-50, -400), (-50, 400), (400, 400), (400, 1), (150, 0), (400, -1), (400, -400))
    field = area("field", "boundary", *needle)
    what = said(checked(areas=[field], plan=plan((300, -200), (300, 200))), "warning", "Outside field").what
    assert what == "Outside field: the leg from point 1 to point 2 between 300 m, 000 deg and 300 m, 000 deg"
    assert checked(areas=[field], plan=plan((140, -200), (140, 200))) == ()  # south of its tip


def test_area_inside_the_triangle_of_ways_home() -> None:
    # 10 m wide, 150 m north of home: no way home from an end of the leg (at 500 m north, 300 m to either side),
    # nor the leg, comes near; the way home from its middle goes right over it.
    hut = area("hut", "keep_out", (150, -5), (150, 5), (160, 5), (160, -5))
    remark = said(checked(areas=[hut], plan=plan((500, -300), (500, 300))), "warning", "Inside hut")
    before, place = remark.what.split(" at ")
    assert before == "Inside hut, to be kept out of: a way home from the leg from point 1 to point 2"
    assert place in {"150 m, 002 deg", "150 m, 358 deg"}
    behind = area("hut", "keep_out", (-150, -5), (-150, 5), (-160, 5), (-160, -5))
    beyond = area("hut", "keep_out", (550, -5), (550, 5), (560, 5), (560, -5))
    assert checked(areas=[behind, beyond], plan=plan((500, -300), (500, 300))) == ()


def test_hole_of_two_boundaries_inside_the_triangle() -> None:
    # Two halves that leave a slit of 4 m from 100 to 200 m north of home, and meet elsewhere.
    left = area(
        "left", "boundary", (-50, -400), (600, -400), (600, 0), (200, 0), (200, -2), (100, -2), (100, 0), (-50, 0)
    )
    right = area(
        "right", "boundary", (-50, 400), (600, 400), (600, 0), (200, 0), (200, 2), (100, 2), (100, 0), (-50, 0)
    )
    remark = said(
        checked(areas=[left, right], plan=plan((500, -300), (500, 300))), "warning", "Outside left, right"
    )
    assert "a way home from the leg from point 1 to point 2 at 100 m, " in remark.what


def test_several_boundaries_hold_together() -> None:
    # Two fields that share a border 100 m east of home: the way from one into the other is inside.
    west = area("west", "boundary", (-200, -200), (-200, 100), (200, 100), (200, -200))
    east = area("east", "boundary", (-200, 100), (-200, 500), (200, 500), (200, 100))
    assert checked(areas=[west, east], plan=plan((0, 400), (150, 300))) == ()
    # A corner on the border they share, in the midst of the ways home, lets nobody out.
    bent = area("west", "boundary", (-200, -200), (-200, 100), (50, 100), (200, 100), (200, -200))
    assert checked(areas=[bent, east], plan=plan((0, 200), (190, 200))) == ()
    apart = area("east", "boundary", (-200, 110), (-200, 500), (200, 500), (200, 110))
    what = said(checked(areas=[west, apart], plan=plan((0, 400))), "warning", "Outside west, east").what
    assert "the leg from home to point 1 between 100 m, 090 deg and 110 m, 090 deg" in what


def test_keep_out_on_the_path_and_on_the_way_home() -> None:
    # A block from 100 to 200 m north, 50 m to either side. The path goes round it, the way home does not.
    block = area("works", "keep_out", (100, -50), (100, 50), (200, 50), (200, -50))
    remark = said(checked(areas=[block], plan=plan((0, 200), (300, 200), (300, 0))), "warning", "Inside works")
    assert remark.about == "keep out"
    assert "the way home from point 3 between 200 m, 000 deg and 100 m, 000 deg" in remark.what
    assert "leg" not in remark.what
    on_path = said(checked(areas=[block], plan=plan((150, -300), (150, 300))), "warning", "Inside works")
    assert "the leg from point 1 to point 2 between 158 m, 342 deg and 158 m, 018 deg" in on_path.what


def test_point_in_a_keep_out_area_and_landing_place_too() -> None:
    block = area("works", "keep_out", (100, -50), (100, 50), (200, 50), (200, -50))
    places = [{"name": "yard", "at": offset(150, 0)}, {"name": "meadow", "at": offset(-150, 0)}]
    remarks = checked(areas=[block], plan=plan((150, 20)), landing_places=places)
    assert said(remarks, "warning", "Inside works").what == "Inside works, to be kept out of: point 1"
    assert said(remarks, "caution", "Landing places in works").what.endswith(": yard")


def test_landing_place_outside_the_boundary_is_a_caution() -> None:
    places = [{"name": "meadow", "at": offset(-150, 0)}]
    remarks = checked(areas=[area("field", "boundary", *square(100))], landing_places=places)
    assert said(remarks, "caution", "Landing places outside field: meadow by 5").weight == "caution"
    assert len(remarks) == 1


def test_over_people_is_a_caution_also_on_the_way_home() -> None:
    road = area("road", "people", (100, -500), (100, 500), (110, 500), (110, -500))
    remark = said(checked(areas=[road], plan=plan((50, 100), (200, 0))), "caution", "Over people, road")
    assert "the leg from point 1 to point 2" in remark.what
    assert "the way home from point 2 between 110 m, 000 deg and 100 m, 000 deg" in remark.what
    assert "would fall there" in remark.do


def test_passing_near_is_a_caution() -> None:
    # 15 m, as far as a return may stray beside its track.
    block = area("works", "keep_out", (100, 10), (100, 50), (200, 50), (200, 10))
    assert "Within 10 m of works" in said(checked(areas=[block], plan=plan((300, 0))), "caution", "Within").what
    apart = area("works", "keep_out", (100, 16), (100, 50), (200, 50), (200, 16))
    assert checked(areas=[apart], plan=plan((300, 0))) == ()


def test_border_and_corner_count_as_inside() -> None:
    # The plan ends on the border of the boundary, and on the corner of a keep-out area.
    assert checked(areas=[area("field", "boundary", *square(200))], plan=plan((199.99, 0))) == ()
    block = area("works", "keep_out", (100, 0), (200, 50), (200, 100))
    assert "point 1" in said(checked(areas=[block], plan=plan((100, 0))), "warning", "Inside works").what
    assert "home" in said(checked(areas=[block], plan=plan((300, 0))), "warning", "Inside works").what


def test_border_that_crosses_itself_is_refused_where_the_sortie_is_read() -> None:
    tie = area("field", "boundary", (-200, -200), (200, 200), (200, -200), (-200, 200))
    with pytest.raises(ValueError, match="the border of 'field' crosses itself"):
        sortie(areas=[tie])


def test_without_areas_or_plan_there_is_nothing_to_say() -> None:
    assert checked() == ()
    assert checked(plan=plan((300, 0))) == ()
    assert checked(areas=[area("field", "boundary", *square(100))]) == ()


@pytest.mark.parametrize("home", [(90.0, 0.0), (-90.0, 10.0), (89.99, -180.0)])
def test_poles_and_flat_areas_do_no_harm(home: tuple[float, float]) -> None:
    same = [
        {"name": "flat", "kind": kind, "points": [at(100, 0)] * 3} for kind in ("keep_out", "boundary", "people")
    ]
    assert checked(home, areas=same, plan=[{"at": list(home), "height": "5 m"}])
    said(checked(areas=same), "warning", "Outside flat: home by 10")


def test_large_sortie_in_time_and_larger_ones_are_refused_with_words() -> None:
    rng = random.Random(3)
    corners = [(400 * math.cos(k / 159.2), 400 * math.sin(k / 159.2)) for k in range(1000)]
    points = [(rng.uniform(-200, 200), rng.uniform(-200, 200)) for _ in range(150)]
    given = sortie(areas=[area("field", "boundary", *corners)], plan=plan(*points))
    begun = time.perf_counter()
    assert check_areas(given, HOME) == ()
    assert time.perf_counter() - begun < 20.0
    large = given.model_copy(update={"plan": given.plan * 20})
    said(check_areas(large, HOME), "warning", "The areas are not checked")
