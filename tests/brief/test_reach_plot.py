"""The reach plot: well-formed, true to scale and bearing, told apart without colour, told in words."""

from __future__ import annotations

import dataclasses
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable

import pytest

from tests.brief import briefs
from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief.findings import Brief, ReachToday
from watchkeeper.brief.plot_labels import Box, Labels, shortened
from watchkeeper.brief.plot_words import area_words, beyond
from watchkeeper.brief.reach_plot import RADIUS, SIZE, reach_plot, reach_shows, ring_step_m, view_m
from watchkeeper.brief.wording import columns

UNITS = CrewUnits()
EVERY = pytest.mark.parametrize("brief", briefs.ALL.values(), ids=briefs.ALL.keys())
SVG = "{http://www.w3.org/2000/svg}"
NUMBER = r"-?\d+(?:\.\d+)?"


def drawn(brief: Brief) -> ET.Element:
    return ET.fromstring(reach_plot(brief, UNITS))  # noqa: S314 - our own


def of_class(brief: Brief, name: str) -> list[ET.Element]:
    return [e for e in drawn(brief).iter() if name in e.get("class", "").split()]


def begins(element: ET.Element) -> tuple[float, float]:
    """Return where a path begins, from the middle of the plot: right and down."""
    x, y = map(float, re.findall(NUMBER, element.get("d", ""))[:2])
    return x - SIZE / 2, y - SIZE / 2


def reach_of(far: Callable[[float], float], *distances_m: float) -> Brief:
    point = briefs.REACH.points[0]
    reach: ReachToday = dataclasses.replace(
        briefs.REACH,
        bearings=tuple((float(at), far(at)) for at in range(0, 360, 10)),
        points=tuple(dataclasses.replace(point, distance_m=d, reach_m=far(0.0)) for d in distances_m),
    )
    return dataclasses.replace(briefs.FULL, reach=reach)


@EVERY
def test_it_is_well_formed_and_bounded(brief: Brief) -> None:
    root = drawn(brief)
    assert root.tag == f"{SVG}svg"
    text = reach_plot(brief, UNITS)
    assert "nan" not in re.sub(r">[^<]*<", "", text)
    assert "inf" not in re.sub(r">[^<]*<", "", text)
    for element in root.iter():
        for value in re.findall(NUMBER, element.get("d", "")):
            assert abs(float(value)) < 1e5


@EVERY
def test_it_carries_a_title_and_a_description(brief: Brief) -> None:
    root = drawn(brief)
    ids = {e.get("id"): e for e in root.iter() if e.get("id")}
    named = root.get("aria-labelledby", "").split()
    assert root.get("role") == "img"
    assert [ids[name].tag for name in named] == [f"{SVG}title", f"{SVG}desc"]
    assert all(ids[name].text for name in named)


def test_places_lie_at_their_bearing_and_distance() -> None:
    """Compass to plane: right is sin, up is cos of the bearing."""
    brief = briefs.FULL
    assert brief.reach is not None
    scale = RADIUS / view_m(brief)
    for point, mark in zip(brief.reach.points, of_class(brief, "p-point"), strict=False):
        x, y = begins(mark)
        angle = math.radians(point.bearing_deg)
        assert x + 4.5 == pytest.approx(point.distance_m * scale * math.sin(angle), abs=0.06)
        assert y + 4.5 == pytest.approx(-point.distance_m * scale * math.cos(angle), abs=0.06)
    (contour,) = (e for e in of_class(brief, "p-reach") if e.get("d", "").endswith("Z"))
    assert begins(contour) == pytest.approx((0.0, -brief.reach.bearings[0][1] * scale), abs=0.06)
    assert len(re.findall(NUMBER, contour.get("d", ""))) == 2 * len(brief.reach.bearings)


def test_rings_are_true_to_scale_and_say_their_metres() -> None:
    view = view_m(briefs.FULL)
    step = ring_step_m(view)
    radii = [float(e.get("r", "")) for e in of_class(briefs.FULL, "p-ring")]
    assert radii == pytest.approx([k * step / view * RADIUS for k in range(1, len(radii) + 1)], abs=0.06)
    assert [e.text for e in of_class(briefs.FULL, "p-scale")] == ["500 m", "1000 m", "1500 m"]


@pytest.mark.parametrize("view", [50.0, 99.0, 150.0, 149.9, 601.0, 1706.0, 5000.0, 1e6])
def test_ring_steps_are_round_and_few(view: float) -> None:
    step = ring_step_m(view)
    assert step / 10 ** math.floor(math.log10(step)) == pytest.approx(1, rel=1e-9) or step / 10 ** math.floor(
        math.log10(step)
    ) in (2.0, 5.0)
    assert 3 <= view / step < 7.6


def test_the_wind_arrow_points_where_it_blows() -> None:
    """From 250 degrees it blows towards 070. The arrow as drawn points down, so that 0 is from the north."""
    (arrow,) = of_class(briefs.FULL, "p-wind")
    assert "rotate(250)" in arrow.get("transform", "")
    assert "L0 16" in arrow.get("d", "")
    assert not of_class(dataclasses.replace(briefs.FULL, wind=None), "p-wind")


def test_obstacles_are_as_wide_as_they_are() -> None:
    (mast,) = (e for e in of_class(briefs.FULL, "p-girth") if float(e.get("r", "")) > 0)
    assert float(mast.get("r", "")) == pytest.approx(25.0 / view_m(briefs.FULL) * RADIUS, abs=0.06)


def test_a_point_out_of_reach_is_crossed_out_and_says_so() -> None:
    assert not of_class(briefs.FULL, "p-outside")
    assert len(of_class(briefs.OUT_OF_REACH, "p-outside")) == 2  # the point, and the key
    words = " ".join(filter(None, (e.text for e in drawn(briefs.OUT_OF_REACH).iter(f"{SVG}text"))))
    assert "point 2, upper slope, out of reach" in words
    assert "beyond the reach there of 1110 m" in " ".join(drawn(briefs.OUT_OF_REACH).itertext())


def test_areas_differ_by_hatching_and_carry_kind_and_name() -> None:
    areas = [e.get("class") for e in of_class(briefs.FULL, "p-area")][:3]
    assert areas == ["p-area p-boundary", "p-area p-keep-out", "p-area p-people"]
    words = {e.text for e in of_class(briefs.FULL, "p-area-name")}
    assert words == {"stay within: work site", "keep out: hut and yard", "people: footpath"}
    assert area_words("stay within", "boundary") == "stay within"


def test_the_whole_reach_shows_unless_the_plan_would_shrink_away() -> None:
    near = reach_of(lambda _: 1000.0, 600.0)
    assert view_m(near) == pytest.approx(1080.0)
    uneven = reach_of(lambda at: 1000.0 if at < 180 else 9000.0, 600.0)
    assert view_m(uneven) == pytest.approx(2400.0)
    far = reach_of(lambda _: 5000.0, 600.0)
    assert view_m(far) == pytest.approx(672.0)
    assert reach_shows(near, 1080.0)
    assert not reach_shows(far, 672.0)
    assert "reach, 20 % left at home" not in reach_plot(far, UNITS)


def test_what_lies_beyond_the_plot_is_named() -> None:
    assert beyond(briefs.FULL, 700.0) == "Beyond the plot: forest road (322°, 760 m)."
    assert beyond(briefs.FULL, 1000.0) == ""


def test_names_cover_neither_each_other_nor_marks_while_there_is_room() -> None:
    labels = Labels(Box(0, 0, 400, 400))
    marks = [(200.0 + 18 * math.cos(k), 200.0 + 18 * math.sin(k)) for k in range(6)]
    for x, y in marks:
        labels.keep_free(x, y, 4.0)
    for k, (x, y) in enumerate(marks):
        labels.place(f"place {k}", x, y, 4.0)
    boxes, names = labels._taken[:6], labels._taken[6:]
    assert len(names) == 6
    for k, name in enumerate(names):
        assert name.overlap(Box(0, 0, 400, 400)) == pytest.approx(
            (name.right - name.left) * (name.bottom - name.top)
        )
        assert all(name.overlap(other) < 1e-6 for other in (*boxes, *names[:k]))


def test_a_name_away_from_its_mark_is_led_to() -> None:
    labels = Labels(Box(0, 0, 400, 400))
    labels.keep_free(200, 200, 4.0)
    for x in range(150, 260, 8):
        for y in range(180, 230, 8):
            labels.keep_free(x, y, 4.0)
    led = labels.place("home", 200, 200, 4.0)
    assert led.leader is not None
    assert math.hypot(led.leader[0] - 200, led.leader[1] - 200) == pytest.approx(4.0)


def test_long_names_are_cut() -> None:
    assert columns(shortened("m" * 200)) <= 26
    assert shortened("m" * 200).endswith("…")
    assert shortened("meadow") == "meadow"
