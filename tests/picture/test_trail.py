"""What a picture keeps of the past stays bounded and keeps what matters; invariants by hypothesis."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from watchkeeper.aircraft.geodesy import Around
from watchkeeper.picture.trail import (
    FRESH_TRACK,
    MOST_POINTS,
    MOST_TRACK,
    RECENT,
    SPAN_S,
    Row,
    Series,
    Track,
    thin,
)

VALUES = st.one_of(st.none(), st.floats(-1e3, 1e3))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([0.5, 1.0, 1.1, 2.0, 7.0, 130.0]), VALUES), max_size=900))
def test_a_history_stays_bounded_and_true(steps: list[tuple[float, float | None]]) -> None:
    series, given_rows, now_s = Series(), [], 0.0
    for step_s, value in steps:
        now_s = round(now_s + step_s, 1)
        given_rows.append(Row(now_s, value, None if value is None else value - 1.0))
        series.add(given_rows[-1])
    rows = series.rows()
    assert len(rows) <= MOST_POINTS
    times = [row.time_s for row in rows]
    assert times == sorted(set(times))
    assert all(row.time_s >= now_s - SPAN_S for row in rows)
    known = [row for row in rows if row.value is not None]
    assert set(known) <= set(given_rows)  # nothing is made up
    recent = [row for row in given_rows if row.time_s >= now_s - SPAN_S]
    newest = recent[-RECENT // 2 :]
    assert newest == [row for row in rows if row in newest]
    values = [row.value for row in recent if row.value is not None]
    if values:  # what a limit is held against is not thinned away
        low = min(values)
        assert min(row.value for row in known if row.value is not None) == low


def test_the_highest_of_each_time_is_kept_too() -> None:
    series = Series()
    for second in range(300):
        series.add(Row(float(second), 90.0 if second == 100 else 10.0 + second % 3))
    assert max(row.value or 0.0 for row in series.rows()) == 90.0


def test_a_full_history_is_nearly_as_long_as_it_may_be() -> None:
    series = Series()
    for second in range(2000):
        series.add(Row(float(second), math.sin(second)))
    rows = series.rows()
    assert 200 <= len(rows) <= MOST_POINTS
    assert rows[0].time_s <= 1999 - SPAN_S + 6.0
    assert [row.time_s for row in rows[-RECENT:]] == [float(second) for second in range(1970, 2000)]


def test_a_gap_is_seen_for_as_long_as_it_is_kept() -> None:
    series = Series()
    for second in range(500):
        if not 100 <= second < 140:
            series.add(Row(float(second), 5.0))
    gaps = [row.time_s for row in series.rows() if row.value is None]
    assert len(gaps) == 1
    assert 99 < gaps[0] < 140
    series = Series()
    for second in range(500):
        series.add(Row(float(second), None if 100 <= second < 103 else 5.0))
    assert any(row.value is None for row in series.rows())


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(-400, 400), st.floats(-400, 400)), min_size=1, max_size=420))
def test_a_track_stays_bounded(points: list[tuple[float, float]]) -> None:
    track, home = Track(), Around(10.0, 20.0)
    places = [(10.0 + north / 110_600, 20.0 + east / 109_600) for north, east in points]
    for place in places:
        track.add(place)
    laid = track.around(home)
    assert 1 <= len(laid) <= MOST_TRACK
    assert laid[0] == home.flat(*places[0])
    assert math.dist(laid[-1], home.flat(*places[-1])) < 0.6
    all_of_them = [home.flat(*place) for place in places]
    at = -1
    for spot in laid:  # a part of what was flown, in its order
        at = all_of_them.index(spot, at + 1)


def test_a_track_keeps_its_corners() -> None:
    """A square of 200 m flown at 1 m/s, with a metre of noise: after 800 points its corners are still there."""
    track, home = Track(), Around(10.0, 20.0)
    corners = [(0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0), (0.0, 1.0)]
    for (north, east), (to_north, to_east) in pairwise(corners):
        for step in range(200):
            part = step / 200
            n, e = north + part * (to_north - north), east + part * (to_east - east)
            noise = 0.5 * math.sin(13.7 * (n + 3 * e))
            place = Geodesic.WGS84.Direct(10.0, 20.0, math.degrees(math.atan2(e, n)), math.hypot(n, e) + noise)
            track.add((place["lat2"], place["lon2"]))
    laid = track.around(home)
    assert len(laid) == MOST_TRACK
    for corner in corners[:4]:
        assert min(math.dist(corner, spot) for spot in laid) < 2.5, corner


def test_the_newest_part_of_a_track_is_not_thinned() -> None:
    straight = [(float(i), 0.0) for i in range(MOST_TRACK + 1)]  # every point could go
    gone = thin(straight)
    assert gone is not None
    assert 0 < gone < len(straight) - FRESH_TRACK
    assert thin(straight[:MOST_TRACK]) is None


def test_an_aircraft_that_stands_makes_no_track() -> None:
    track = Track()
    for i in range(1000):
        track.add((10.0 + (i % 3) * 1e-6, 20.0))  # 0.1 m to and fro
    assert len(track.around(Around(10.0, 20.0))) == 1


@pytest.mark.parametrize("bearing_deg", [0, 77, 200, 359])
def test_a_track_is_where_it_was_flown(bearing_deg: float) -> None:
    """Within 0.1 % of geographiclib's geodesics, as `geodesy.Around` promises."""
    track = Track()
    there = Geodesic.WGS84.Direct(60.0, -5.0, bearing_deg, 3000.0)
    track.add((there["lat2"], there["lon2"]))
    ((north_m, east_m),) = track.around(Around(60.0, -5.0))
    assert math.hypot(north_m, east_m) == pytest.approx(3000.0, rel=1e-3)
    assert math.degrees(math.atan2(east_m, north_m)) % 360 == pytest.approx(bearing_deg, abs=0.1)
