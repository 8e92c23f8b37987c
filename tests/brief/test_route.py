"""Legs of a plan by the wind triangle, worked by hand."""

from __future__ import annotations

import math

import pytest

from tests.brief.aday import bare_plan, known_day, sortie, still
from tests.brief.groundwork import HOME, at
from watchkeeper.brief.route import Point, as_far, back, met, out, points

ROUND_PLAN = bare_plan(climb_m_s=2.5, descent_m_s=2.0, acceleration_m_s2=2.0)


def spot(
    north_m: float, east_m: float, height_m: float = 0.0, stay_s: float = 0.0, name: str = "point 1"
) -> Point:
    return Point(name, north_m, east_m, height_m, stay_s)


@pytest.mark.parametrize(
    ("from_deg", "track_deg", "head_m_s", "cross_m_s"),
    [(0.0, 0.0, 10.0, 0.0), (180.0, 0.0, -10.0, 0.0), (90.0, 0.0, 0.0, -10.0), (30.0, 90.0, 5.0, 8.660)],
)
def test_wind_triangle(from_deg: float, track_deg: float, head_m_s: float, cross_m_s: float) -> None:
    # head wind W cos(from - track), cross wind W sin(from - track) (trigonometry; ICAO Doc 8168's parts of a wind)
    angle = math.radians(track_deg)
    found = met(still(10.0, from_deg), math.cos(angle), math.sin(angle))
    assert found.speed_m_s == pytest.approx(10.0)
    assert found.head_m_s == pytest.approx(head_m_s, abs=1e-3)
    assert abs(found.cross_m_s) == pytest.approx(abs(cross_m_s), abs=1e-3)


@pytest.mark.parametrize(
    ("from_deg", "most_m_s", "ground_m_s", "air_m_s"),
    [
        (0.0, 20.0, 8.0, 14.0),  # 6 m/s ahead, 8 demanded: it flies 14 through the air
        (180.0, 20.0, 8.0, 2.0),
        (90.0, 20.0, 8.0, 10.0),  # 6 aside and 8 along: 10 (3, 4, 5)
        (0.0, 10.0, 4.0, 10.0),  # 10 is all: 4 are left over ground
        (90.0, 7.0, math.sqrt(49.0 - 36.0), 7.0),
    ],
)
def test_a_ground_speed_is_demanded_and_airspeed_follows(
    from_deg: float, most_m_s: float, ground_m_s: float, air_m_s: float
) -> None:
    plan = bare_plan(airspeed_m_s=most_m_s)
    day = known_day(plan=plan, wind=still(6.0, from_deg))
    parts = out(day, plan, [spot(1000.0, 0.0)], day.wind)
    assert parts is not None
    (leg,) = (part.leg for part in parts)
    assert leg.time_s == pytest.approx(1000.0 / ground_m_s, rel=1e-6)
    assert leg.airspeed_m_s == pytest.approx(air_m_s)
    # the same home, from the other side
    home = back(plan, spot(-1000.0, 0.0), day.wind)
    assert home is not None
    cruise = next(one for one in home if one.name == "cruise")
    assert cruise.time_s == pytest.approx(1000.0 / ground_m_s, rel=1e-6)
    assert cruise.airspeed_m_s == pytest.approx(air_m_s)


def test_no_way_against_the_wind_and_as_far_as_it_gets() -> None:
    plan = bare_plan(airspeed_m_s=10.0)
    day = known_day(plan=plan, wind=still(9.8, 0.0))
    way = [spot(-500.0, 0.0, 10.0), spot(-100.0, 0.0, 10.0, name="point 2")]
    assert out(day, plan, way, day.wind) is None
    assert [one.leg.name for one in as_far(day, plan, way, day.wind)] == [
        "climb to point 1", "to point 1",
    ]  # fmt: skip
    assert back(plan, way[0], day.wind) is None
    assert back(plan, spot(0.0, 0.0, 10.0), day.wind) is not None


def test_legs_follow_one_another_in_the_costly_way() -> None:
    # up 50 m at 2.5 m/s and 2.5 / 0.8 s; 400 m at 8 m/s and 8 / 2 s; down 20 m at 2 m/s; a stay
    day = known_day(plan=ROUND_PLAN)
    parts = out(day, ROUND_PLAN, [spot(0.0, 400.0, 50.0), spot(300.0, 400.0, 30.0, 9.0, "point 2")], day.wind)
    assert parts is not None
    assert [(one.leg.name, round(one.leg.time_s, 3), one.leg.end_m) for one in parts] == [
        ("climb to point 1", 23.125, 50.0),
        ("to point 1", 54.0, 50.0),
        ("to point 2", 41.5, 50.0),
        ("descend at point 2", 10.0, 30.0),
        ("stay at point 2", 9.0, 30.0),
    ]
    assert [round(one.to.distance_m) for one in parts] == [0, 400, 500, 500, 500]


def test_a_short_way_never_sees_full_speed() -> None:
    # 8 m/s at 2 m/s2 take 16 m to gain and 16 to lose; over 8 m: 2 sqrt(8 / 2) = 4 s
    day = known_day(plan=ROUND_PLAN)
    parts = out(day, ROUND_PLAN, [spot(8.0, 0.0)], day.wind)
    assert parts is not None
    assert parts[0].leg.time_s == pytest.approx(4.0)


def test_a_point_at_home_the_same_twice_and_below() -> None:
    day = known_day(plan=ROUND_PLAN)

    def names(*way: Point) -> list[str]:
        parts = out(day, ROUND_PLAN, way, day.wind)
        assert parts is not None
        return [one.leg.name for one in parts]

    assert names(spot(0.0, 0.0)) == []
    assert names(spot(0.3, 0.3, 20.0)) == ["climb to point 1"]
    assert names(spot(50.0, 0.0, 20.0), spot(50.0, 0.0, 20.0, name="point 2")) == [
        "climb to point 1",
        "to point 1",
    ]
    assert names(spot(50.0, 0.0, -20.0)) == ["to point 1", "descend at point 1"]
    assert names() == []


def test_points_lie_where_the_sortie_says() -> None:
    # places by geographiclib (Karney 2013)
    flight = sortie(
        home=list(HOME),
        plan=[
            {"at": at(800.0, 30.0), "height": "60 m", "stay": "90 s"},
            {"at": at(300.0, 270.0), "height": "-5 m"},
        ],
    )
    first, second = points(flight)
    assert (first.distance_m, first.bearing_deg) == pytest.approx((800.0, 30.0), abs=1.0)
    assert (first.height_m, first.stay_s, first.name) == (60.0, 90.0, "point 1")
    assert (second.distance_m, second.bearing_deg) == pytest.approx((300.0, 270.0), abs=1.0)
    assert points(sortie(home=None, plan=[{"at": at(800.0, 30.0), "height": "60 m"}])) == []
