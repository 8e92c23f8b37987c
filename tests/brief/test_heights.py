"""The window of return heights, worked by hand in the comments.

The rule: clear what stands there by 10 to 15 % and stay under the ceiling (facts section 14, common practice);
120 m and 400 ft: (EU) 2019/947 Art. 4(1)(e), 14 CFR 107.51 (facts section 3).
"""

from __future__ import annotations

import time
from typing import Any

import pytest

from tests.brief.groundwork import HOME, point, post, said, sortie
from watchkeeper.aircraft.files import Clearance
from watchkeeper.brief.findings import HeightToday
from watchkeeper.brief.heights import advised, climbs, flown_m, return_height
from watchkeeper.estimate.home.places import clearing_m
from watchkeeper.estimate.home.returnplan import ReturnPlan

FILE = "the aircraft file"
MAST = post("mast", 300, 45, "100 m")


def height(back: ReturnPlan | None = None, set_by: str = FILE, /, **keys: Any) -> HeightToday:
    return return_height(sortie(**keys), HOME, back or ReturnPlan(), set_by)


def test_required_is_the_tallest_with_its_share_and_the_line() -> None:
    # 100 m + 15 % of 100 m = 115 m; on a line of 20 m the aircraft is 20 m above its load: 135 m.
    found = height(obstacles=[MAST], plan=[point(500, 45)], payload={"line": "20 m"}, ceiling="150 m")
    assert found.required_m == pytest.approx(135.0)
    assert found.required_by == "mast (100 m)"
    assert found.allowed_m == 150.0
    # A little over the least, on a whole metre: 135 + 2.
    assert found.advised_m == 137.0


def test_least_metres_count_where_they_are_more_than_the_share() -> None:
    # 30 m: 15 % is 4.5 m, less than 10 m: 40 m. Under home the share is of nothing: -20 + 10.
    assert clearing_m(30.0, Clearance(), 0.0) == pytest.approx(40.0)
    assert clearing_m(-20.0, Clearance(), 0.0) == pytest.approx(-10.0)
    # From 66.7 m on the share is more: at 80 m 12 m. 10 % of 80 m is 8 m: 10 m again.
    assert clearing_m(80.0, Clearance(), 0.0) == pytest.approx(92.0)
    assert clearing_m(80.0, Clearance.model_validate({"share": "10 %"}), 0.0) == pytest.approx(90.0)


@pytest.mark.parametrize("top_m", [20.1, 60.1, 73.0, 79.8, 100.0, 106.6])
def test_a_height_that_just_does_is_not_called_too_low(top_m: float) -> None:
    # By hand in tenths, which floats do not hold: the larger of 15 % and 10 m, and 3.3 m of line.
    least_m = round(top_m + max(top_m * 0.15, 10.0) + 3.3, 3)
    found = height(
        ReturnPlan(height_m=least_m), obstacles=[post("mast", 300, 45, f"{top_m} m")], payload={"line": "3.3 m"},
        ceiling=f"{least_m} m",
    )  # fmt: skip
    assert [one for one in found.remarks if one.weight != "advisory"] == []
    assert found.advised_m == pytest.approx(least_m)


def test_share_decides_which_obstacle_binds() -> None:
    # Both by 20 %: 70 -> 84, 72 -> 86.4 m.
    found = height(
        obstacles=[post("chimney", 200, 0, "70 m"), post("crane", 200, 90, "72 m")], clearance={"share": "20 %"}
    )
    assert found.required_by == "crane (72 m)"
    assert found.required_m == pytest.approx(86.4)


def test_without_anything_level_ground_asks_for_the_least_metres_and_the_line() -> None:
    found = height(payload={"line": "15 m"})
    assert found.required_m == pytest.approx(25.0)
    assert found.required_by == "level ground at home's height"


def test_rise_and_rooftop_count_as_ground() -> None:
    # A rise of 50 m: 50 + 10. A landing place on a roof of 70 m: 70 + 15 % of 70 = 80.5.
    rise: dict[str, Any] = {"ground": [{"at": point(100, 10)["at"], "height": "50 m"}]}
    assert height(**rise).required_m == pytest.approx(60.0)
    assert height(**rise).required_by == "ground at 100 m, 010 deg (50 m)"
    roof = {"name": "roof", "at": point(100, 20)["at"], "height": "70 m"}
    assert height(**rise, landing_places=[roof]).required_m == pytest.approx(80.5)


@pytest.mark.parametrize(
    ("distance_m", "radius", "counts"),
    [
        (595.0, "0 m", True),  # within 500 m of the farthest point and 100 m
        (605.0, "0 m", False),
        (605.0, "10 m", True),  # its edge is at 595 m
        (605.0, "3 m", False),
    ],
)
def test_only_todays_area_counts(distance_m: float, radius: str, counts: bool) -> None:
    found = height(obstacles=[post("mast", distance_m, 200, "100 m", radius)], plan=[point(500, 20)])
    assert found.required_m == pytest.approx(115.0 if counts else 10.0)


def test_everything_counts_without_a_plan() -> None:
    assert height(obstacles=[post("mast", 9000, 200, "100 m")]).required_m == pytest.approx(115.0)


def test_ceiling_falls_with_the_ground() -> None:
    # 120 m over ground 30 m below home is 90 m above home; ground above home does not raise it.
    valley = {"at": point(400, 90)["at"], "height": "-30 m"}
    rise = {"at": point(200, 90)["at"], "height": "15 m"}
    found = height(ground=[valley, rise], ceiling="120 m", plan=[point(500, 90)])
    assert found.allowed_m == pytest.approx(90.0)
    assert found.allowed_by == "ceiling of 120 m over ground at 400 m, 090 deg, 30 m below home"
    assert height(ground=[rise], ceiling="120 m").allowed_m == pytest.approx(120.0)
    # Below home, but not where it flies today.
    assert height(ground=[valley], ceiling="120 m", plan=[point(200, 90)]).allowed_m == pytest.approx(120.0)


def test_no_window_says_what_would_open_it() -> None:
    # Asked for 100 + 15 + 12 = 127 m, allowed 120 m: 7 m short; a line of 12 - 7 = 5 m; without the mast 10 + 12.
    found = height(obstacles=[MAST], plan=[point(500, 45)], payload={"line": "12 m"}, ceiling="120 m")
    assert found.advised_m is None
    remark = said(found.remarks, "warning", "No return height fits")
    assert "mast (100 m) asks for 127 m, the ceiling of 120 m allows 120 m: 7 m short" in remark.what
    assert "Shorten the line to 5 m" in remark.do
    assert "Plan a way that stays well clear of mast: without, 22 m is enough" in remark.do
    assert "ceiling 7 m higher" in remark.do


def test_a_line_shorter_than_the_gap_cannot_be_shortened_enough() -> None:
    found = height(obstacles=[post("mast", 300, 45, "110 m")], payload={"line": "5 m"}, ceiling="120 m")
    assert "Shorten" not in said(found.remarks, "warning", "No return height fits").do


def test_every_obstacle_that_binds_is_named_and_level_ground_cannot_be_avoided() -> None:
    masts = [MAST, post("tower", 350, 200, "104 m"), post("shed", 100, 20, "5 m")]
    remark = said(height(obstacles=masts, ceiling="110 m", plan=[point(500, 45)]).remarks, "warning", "No return")
    # The tower stands behind home: the return from the only point does not pass it.
    assert "well clear of tower, mast (tower not on a straight way home): without, 15 m is enough" in remark.do
    low = said(height(payload={"line": "20 m"}, ceiling="25 m").remarks, "warning", "No return")
    assert "level ground at home's height asks for 30 m" in low.what
    assert "well clear" not in low.do
    assert "Shorten the line to 15 m" in low.do


@pytest.mark.parametrize(
    ("required_m", "allowed_m", "expected"),
    [
        (58.0, None, 60.0),
        (58.3, 120.0, 61.0),  # 58.3 + 2, whole
        (58.3, 60.0, 59.0),  # no room for 2 m more
        (58.3, 58.7, 58.5),  # no whole metre in it: its middle
        (58.0, 58.0, 58.0),
        (58.0, 57.9, None),
    ],
)
def test_advised_height_lies_in_the_window(
    required_m: float, allowed_m: float | None, expected: float | None
) -> None:
    found = advised(required_m, allowed_m)
    assert found == (None if expected is None else pytest.approx(expected))


@pytest.mark.parametrize(
    ("set_m", "weight", "words"),
    [
        (90.0, "warning", "is 10 m under the top of mast (100 m)"),
        (100.0, "caution", "is 15 m under what mast (100 m) asks"),
        (114.9, "caution", "is 0.1 m under what mast (100 m) asks"),
        (121.0, "caution", "is 1 m over the ceiling of 120 m"),
    ],
)
def test_set_height_against_the_window(set_m: float, weight: str, words: str) -> None:
    found = height(ReturnPlan(height_m=set_m), obstacles=[MAST], ceiling="120 m")
    assert found.set_m == set_m
    assert said(found.remarks, weight, words).do == "Set 117 m"


@pytest.mark.parametrize("set_m", [115.0, 120.0])
def test_a_height_in_the_window_needs_no_words(set_m: float) -> None:
    assert height(ReturnPlan(height_m=set_m), obstacles=[MAST], ceiling="120 m").remarks == ()


def test_line_hits_what_the_aircraft_clears() -> None:
    found = height(ReturnPlan(height_m=105.0), obstacles=[MAST], payload={"line": "20 m"}, ceiling="200 m")
    assert "15 m under the top of mast (100 m), with 20 m of line" in found.remarks[0].what
    assert found.remarks[0].weight == "warning"


def test_nothing_set_is_judged_when_nobody_knows_it() -> None:
    found = height(ReturnPlan(height_m=5.0, hold_m=1.0), "", obstacles=[MAST], ceiling="120 m")
    assert (found.set_m, found.hold_m, found.remarks) == (None, None, ())
    assert found.advised_m == 117.0
    assert height(ReturnPlan(hold_m=1.0), "", payload={"line": "20 m"}, ceiling="120 m").remarks == ()


PRESENT = (
    ReturnPlan(height_m=None),
    ReturnPlan(height_m=200.0, order=("cruise", "descend", "land")),
    ReturnPlan(height_m=200.0, order=("cruise", "climb", "land")),
)


@pytest.mark.parametrize("plan", PRESENT)
def test_return_at_the_present_height_counts_with_the_lowest_point(plan: ReturnPlan) -> None:
    points = [point(200, 45, "130 m"), point(400, 45, "60 m"), point(500, 45, "118 m")]
    found = height(plan, obstacles=[MAST], plan=points, ceiling="150 m")
    assert not climbs(plan)
    assert found.set_m == 60.0
    said(found.remarks, "advisory", "at the height it has when it begins: least from point 2, at 60 m")
    said(found.remarks, "warning", "The return height of 60 m (the aircraft file) is 40 m under the top of mast")


def test_present_height_without_a_plan_is_not_known() -> None:
    found = height(ReturnPlan(height_m=None), ceiling="120 m")
    assert found.set_m is None
    said(found.remarks, "caution", "without a plan, that is not known")


def test_a_return_that_does_not_fly_home() -> None:
    found = height(ReturnPlan(order=("land",)), ceiling="120 m")
    assert found.set_m is None
    said(found.remarks, "warning", "does not fly home")


def test_order_decides_where_it_flies_and_holds() -> None:
    plan = ReturnPlan(height_m=60.0, hold_s=30.0, hold_m=8.0)
    assert flown_m(plan, 20.0, 500.0) == (60.0, 8.0)
    assert flown_m(plan, 80.0, 500.0) == (80.0, 8.0)  # higher already: it stays there
    assert flown_m(plan._replace(order=("climb", "cruise", "hold", "land")), 20.0, 500.0) == (60.0, 60.0)
    assert flown_m(plan._replace(order=("climb", "cruise", "hold", "descend", "land")), 20.0, 500.0)[1] == 60.0
    assert flown_m(plan._replace(order=("climb", "descend", "cruise", "land")), 20.0, 500.0) == (8.0, None)
    assert flown_m(plan._replace(order=("climb", "cruise", "land", "hold")), 20.0, 500.0)[1] is None
    assert flown_m(plan._replace(hold_s=0.0), 20.0, 500.0)[1] is None


@pytest.mark.parametrize(
    ("hold_m", "line", "weight", "words"),
    [
        (12.0, "10 m", "caution", "holds at 12 m with 10 m of line: less than 13 m"),
        (10.0, "10 m", "warning", "holds at 10 m with 10 m of line: the load lies on the ground"),
        (2.0, "0 m", "caution", "holds at 2 m: less than 3 m"),
    ],
)
def test_hold_leaves_the_load_off_the_ground(hold_m: float, line: str, weight: str, words: str) -> None:
    # Line and 3 m (common practice).
    found = height(ReturnPlan(height_m=60.0, hold_m=hold_m), payload={"line": line}, ceiling="120 m")
    assert found.hold_least_m == float(line.removesuffix(" m")) + 3.0
    assert said(found.remarks, weight, words).do == f"Set the hold to {found.hold_least_m:g} m or more"


def test_hold_margin_can_be_set() -> None:
    given = sortie(payload={"line": "10 m"}, ceiling="120 m")
    plan = ReturnPlan(height_m=60.0, hold_m=13.0)
    assert not [one for one in return_height(given, HOME, plan, FILE).remarks if "holds at" in one.what]
    assert return_height(given, HOME, plan, FILE, hold_margin_m=5.0).hold_least_m == 15.0
    said(return_height(given, HOME, plan, FILE, hold_margin_m=5.0).remarks, "caution", "holds at 13 m")


def test_landing_by_itself_on_a_line_is_said() -> None:
    given = {"payload": {"line": "10 m"}, "ceiling": "120 m"}
    said(height(ReturnPlan(hold_m=15.0), **given).remarks, "advisory", "puts the load down first")
    assert height(ReturnPlan(hold_m=15.0, order=("climb", "cruise", "hold")), **given).remarks == ()


def test_near_home_it_may_climb_less() -> None:
    # Nearer than 80 m it climbs to 15 m only; a return from just beyond a tree of 20 m at 30 m asks for 30 m.
    plan = ReturnPlan(height_m=60.0, near_m=80.0, near_height_m=15.0)
    tree = post("tree", 30, 10, "20 m")
    found = height(plan, obstacles=[tree], plan=[point(300, 10, "10 m")], ceiling="120 m")
    said(found.remarks, "warning", "from just beyond tree (20 m), at 30 m, 010 deg, climbs to 15 m only")
    # What a return from afar does not clear either is said once, of the set height.
    mast = post("mast", 30, 10, "70 m")
    low = height(
        plan._replace(near_height_m=60.0), obstacles=[mast], plan=[point(300, 10, "10 m")], ceiling="120 m"
    )
    assert [one.what for one in low.remarks if one.weight == "warning"] == [
        "The return height of 60 m (the aircraft file) is 10 m under the top of mast (70 m)"
    ]
    far = post("tree", 100, 10, "20 m")
    assert height(plan, obstacles=[far], plan=[point(300, 10, "10 m")], ceiling="120 m").remarks == ()


def test_under_a_cone_it_may_climb_less() -> None:
    # A slope of 0.5: from 100 + 15 m beyond, 57.5 m; a tree of 50 m asks for 60 m, of 45 m for 55 m.
    plan = ReturnPlan(height_m=80.0, cone=0.5)
    keys: dict[str, Any] = {"plan": [point(300, 10, "10 m")], "ceiling": "120 m"}
    said(
        height(plan, obstacles=[post("tree", 100, 10, "50 m")], **keys).remarks, "caution", "climbs to 57 m only"
    )  # 57.5 to the even metre
    assert height(plan, obstacles=[post("tree", 100, 10, "45 m")], **keys).remarks == ()


def test_no_ceiling_named_defers_to_local_rules() -> None:
    quiet = said(height(plan=[point(300, 10)]).remarks, "advisory", "nothing planned is above the customary 120 m")
    assert "local rules" in quiet.do
    high = said(
        height(obstacles=[post("mast", 300, 45, "106 m")]).remarks, "caution", "No ceiling is named; above"
    )
    # 106 m + 15 % = 121.9 m; advised 124 m.
    assert "the advised return height at 124 m" in high.what
    assert "they decide" in high.do
    points = [point(300, 10, "121 m"), point(300, 20, "120 m")]
    remark = said(height(plan=points).remarks, "caution", "point 1 at 121 m")
    assert "point 2" not in remark.what


def test_plan_above_the_ceiling_is_named() -> None:
    points = [point(300, 10, "121 m"), point(300, 20, "119 m")]
    remark = said(height(ReturnPlan(height_m=50.0), plan=points, ceiling="120 m").remarks, "caution", "Above the")
    assert "point 1 at 121 m" in remark.what
    assert "point 2" not in remark.what
    # A return that always climbs 5 m goes through the ceiling from 119 m.
    plan = ReturnPlan(height_m=50.0, least_climb_m=5.0)
    said(height(plan, plan=points, ceiling="120 m").remarks, "caution", "a return from point 2 at 124 m")


def test_obstacle_on_home() -> None:
    found = height(ReturnPlan(height_m=60.0), obstacles=[post("hangar", 0, 0, "8 m", "30 m")], ceiling="120 m")
    assert found.required_m == pytest.approx(18.0)
    said(found.remarks, "caution", "where a return comes down: hangar")
    clear = [post("hangar", 46, 0, "8 m", "30 m")]  # 16 m from its edge, 15 m asked for
    assert height(ReturnPlan(height_m=60.0), obstacles=clear, ceiling="120 m").remarks == ()


def test_ten_thousand_obstacles_in_time() -> None:
    one = sortie(obstacles=[post("mast", 300, 45, "90 m", "20 m")], plan=[point(500, 45)], ceiling="100 m")
    many = one.model_copy(update={"obstacles": one.obstacles * 10_000})
    begun = time.perf_counter()
    found = return_height(many, HOME, ReturnPlan(), FILE)
    assert time.perf_counter() - begun < 3.0
    assert found.required_m == pytest.approx(103.5)  # 90 m + 15 %
    assert len(said(found.remarks, "warning", "No return height fits").do) < 400
