"""The aircraft's settings against what today asks. Above all: "fits" is never said by mistake.

What each parameter of the simulated aircraft does: simulators/onboard/parameters.py; those of the two families, as
in tests/aircraft/test_settings.py, from memory of their public documentation.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from simulators.onboard.parameters import parameters
from tests.aircraft.feeder import ARDUPILOT, PX4
from tests.aircraft.test_settings import A_PX4, AN_ARDUPILOT, version
from tests.brief.comparing import ASKED, FITTING, LOW, RETURN, TRIGGERS, changed_by, of, rows_of, seen_of
from watchkeeper.aircraft.parameter_text import SeenParameters, settings_of
from watchkeeper.aircraft.vocabulary import Status
from watchkeeper.brief.asked import Fence, LinkLost, Trigger, Window
from watchkeeper.brief.compare import compare
from watchkeeper.brief.compare_return import return_ends


def test_a_list_that_fits_fits_throughout() -> None:
    rows = rows_of(seen_of(FITTING))
    assert {row.verdict for row in rows.values()} == {"fits"}
    assert {
        "return height", "return from near home", "return speed", "end of the return", "return to",
        "height of the hold over home", "landing speed", RETURN, "low battery: low1 by voltage not too early",
        "low battery: low2 by voltage not too early",
        "control link lost", "station link lost", "fence radius", "fence height",
        "fence action", "position lost",
    } == rows.keys()  # fmt: skip
    assert all(row.own and row.has and row.asked for row in rows.values())
    assert rows["return height"].has == "48 m"
    assert rows["return height"].asked == "46 m to 120 m"
    assert rows[RETURN].own == ("low1.volt_v", "low1.action", "low1.compensate", "low.pack_ohm", "low1.delay_s")


DECIDING = sorted({name for row in rows_of(seen_of(FITTING)).values() for name in row.own})


@pytest.mark.parametrize("complete", [True, False])
@pytest.mark.parametrize("damage", ["gone", None, math.nan, math.inf, 1e30, -1e30, 54321.5])
@pytest.mark.parametrize("name", DECIDING)
def test_nothing_fits_that_hangs_on_a_parameter_lost_or_damaged(
    name: str, damage: float | str | None, complete: bool
) -> None:
    before = rows_of(seen_of(FITTING, complete=complete))
    values = {one: value for one, value in FITTING.items() if one != name}
    if not isinstance(damage, str):
        values[name] = damage
    after = rows_of(seen_of(values, complete=complete))
    hit = [row for row in before.values() if name in row.own]
    assert hit
    for row in hit:
        now = after.get(row.name)
        # a stage that cannot be there any more has no row; what it decided is in the row of the return
        assert now is None or now.verdict != "fits", (row, now)
        assert now is not None or row.name.startswith("low battery: low")
        if now is not None and now.verdict == "not understood":
            assert now.why
    for row in before.values():
        if name not in row.own and name != "return.order":  # by which the aircraft is known
            assert after[row.name].verdict == "fits", row.name


@pytest.mark.parametrize("autopilot", [ARDUPILOT, PX4])
def test_nothing_fits_by_mistake_of_the_two_families(autopilot: int) -> None:
    whole, told = (AN_ARDUPILOT, version(4, 3)) if autopilot == ARDUPILOT else (A_PX4, version(1, 14))
    asked = replace(
        ASKED,
        return_height_m=Window(10.0, 120.0, 48.0),
        control_lost=LinkLost(10.0, flown=("by_hand",)),
        position_lost_within_s=math.inf,
        low_battery=replace(LOW, triggers={**TRIGGERS, "compensated_voltage": Trigger(43.0, 46.0, 42.5)}),
    )
    before = rows_of(seen_of(whole, autopilot, told=told, complete=False), asked)
    assert sum(row.verdict == "fits" for row in before.values()) >= 9
    for name in {name for row in before.values() for name in row.own}:
        for damage in ("gone", None, 1e30):
            values = {one: value for one, value in whole.items() if one != name}
            if not isinstance(damage, str):
                values[name] = damage
            after = rows_of(seen_of(values, autopilot, told=told, complete=False), asked)
            for row in before.values():
                if name in row.own and row.name in after:
                    assert after[row.name].verdict != "fits", (name, damage, row.name)


@pytest.mark.parametrize("count", [0, 1, 10, 25, 40])
def test_half_a_list_never_fits_more_than_the_whole(count: int) -> None:
    dice = random.Random(count)
    for _ in range(20):
        names = dice.sample(sorted(FITTING), count)
        seen = seen_of({name: FITTING[name] for name in names}, complete=False)
        for row in rows_of(seen).values():
            if row.verdict == "fits":
                assert {*row.own} <= {*names}
                assert row.own
        if not count:
            assert {row.verdict for row in rows_of(seen).values()} == {"not understood"}


@pytest.mark.parametrize("seed", range(25))
def test_after_the_proposed_changes_what_differed_fits(seed: int) -> None:
    dice = random.Random(seed)
    values = dict(FITTING)
    for one in dice.sample(parameters().definitions, 12):
        value = dice.uniform(one.minimum, one.maximum)
        values[one.name] = float(round(value)) if one.integer else round(value, 1)
    values["return.order"] = dice.choice((123456.0, 13456.0, 36.0, 135.0, 1345.0, 6.0, 314562.0))
    before = rows_of(seen_of(values))
    changed = {name: row for name, row in before.items() if row.changes}
    assert changed
    bounds = {one.name: (one.minimum, one.maximum) for one in parameters().definitions}
    for name, row in changed.items():
        assert row.verdict == "differs"
        after = changed_by(values, {name: row})
        now = rows_of(seen_of(after))
        assert name not in now or now[name].verdict == "fits", (row, now[name])
        assert all(bounds[n][0] <= (after[n] or 0.0) <= bounds[n][1] for n in after if after[n] != values[n])


@pytest.mark.parametrize(
    ("changed", "name", "weight", "why"),
    [
        ({"return.height_m": 40.0}, "return height", "warning", "too low for the mast"),
        ({"return.height_m": 130.0}, "return height", "caution", "above the ceiling"),
        ({"return.order": 3456.0}, "return height", "warning", "does not first climb"),
        ({"return.order": 14356.0}, "return height", "warning", "does not first climb"),
        ({"return.near_m": 60.0}, "return from near home", "warning", "nearer than 60 m"),
        ({"return.speed_m_s": 4.0}, "return speed", "warning", "too slow"),
        ({"return.speed_m_s": 14.0}, "return speed", "caution", "too fast"),
        ({"return.hold_s": -1.0}, "end of the return", "warning", "until the battery is empty"),
        ({"return.hold_s": 90.0}, "end of the return", "caution", "longer than"),
        ({"return.order": 12345.0}, "end of the return", "warning", "until the battery is empty"),
        ({"return.order": 6.0}, "end of the return", "warning", "does not fly home"),
        ({"return.order": 123465.0}, "end of the return", "warning", "goes on after it has landed"),
        ({"return.places": 1.0}, "return to", "advisory", "safe points"),
        ({"return.hold_m": 8.0}, "height of the hold over home", "caution", "touch the ground"),
        ({"land.slow_m_s": 1.2}, "landing speed", "caution", "lands hard"),
        ({"land.slow_m": 1.0}, "landing speed", "caution", "comes down at 1.5 m/s"),
        ({"low1.volt_v": 44.0}, RETURN, "warning", "too late"),
        ({"low1.compensate": 0.0}, RETURN, "caution", "a climb takes it there"),
        ({"low1.volt_v": 46.5}, RETURN, "caution", "on the planned flight"),
        ({"low1.delay_s": 50.0}, RETURN, "caution", "waits 50 s"),
        ({"low1.volt_v": 0.0, "low2.volt_v": 0.0}, RETURN, "warning", "does nothing at a low battery"),
        ({"low1.action": 0.0, "low2.action": 0.0}, RETURN, "warning", "does nothing at a low battery"),
        ({"low1.action": 0.0}, RETURN, "warning", "does not return"),
        ({"low2.volt_v": 45.5}, "low battery: low2 by voltage not too early", "warning", "before it would return"),
        ({"low2.volt_v": 44.5}, "low battery: low2 by voltage not too early", "caution", "on the way home"),
        ({"low2.volt_v": 47.0}, "low battery: low2 by voltage not too early", "warning", "on the planned flight"),
        ({"low2.action": 5.0}, "low battery: low2 by voltage not too early", "warning", "stops its motors"),
        ({"control.lost_s": 0.0}, "control link lost", "warning", "flies on as if"),
        ({"control.lost_s": 9.0}, "control link lost", "caution", "waits too long"),
        ({"control.lost_s": 0.1}, "control link lost", "caution", "every short gap"),
        ({"control.action": 3.0}, "control link lost", "caution", "does not come home"),
        ({"control.action": 5.0}, "control link lost", "warning", "stops its motors"),
        ({"station.action": 0.0}, "station link lost", "warning", "flies on as if"),
        ({"fence.radius_m": 300.0}, "fence radius", "caution", "runs into it"),
        ({"fence.radius_m": 300.0, "fence.action": 5.0}, "fence radius", "warning", "runs into it"),
        ({"fence.radius_m": 0.0}, "fence radius", "advisory", "there is none"),
        ({"fence.radius_m": 9000.0}, "fence radius", "advisory", "wrong unit"),
        ({"fence.height_m": 130.0}, "fence height", "caution", "beyond what is allowed"),
        ({"fence.height_m": 75.0, "return.height_m": 80.0}, "fence height", "warning", "breaks through"),
        ({"fence.action": 0.0}, "fence action", "caution", "does not hold it back"),
        ({"fence.action": 5.0}, "fence action", "warning", "stops its motors"),
        ({"position.action": 2.0}, "position lost", "warning", "needs to know where it is"),
        ({"position.action": 1.0}, "position lost", "warning", "needs to know where it is"),
        ({"position.action": 0.0}, "position lost", "warning", "that it has not"),
        ({"position.lost_s": 20.0}, "position lost", "caution", "waits too long"),
    ],
)  # fmt: skip
def test_what_differs_is_told_with_its_weight(
    changed: dict[str, float | None], name: str, weight: str, why: str
) -> None:
    row = of(changed)[name]
    assert (row.verdict, row.weight) == ("differs", weight)
    assert why in row.why
    assert row.changes
    assert {change.partition(":")[0] for change in row.changes} <= FITTING.keys()


def test_changes_stand_in_the_aircrafts_own_names_on_the_safe_side() -> None:
    assert of({"low1.volt_v": 44.0})[RETURN].changes == ("low1.volt_v: 44 -> 45.2 V",)
    assert of({"return.height_m": 40.0})["return height"].changes == ("return.height_m: 40 -> 48 m",)
    assert of({"low1.compensate": 0.0})[RETURN].changes == ("low1.compensate: 0 -> 1",)
    # as measured it cannot be used, so that both change
    both = of({"low1.compensate": 0.0, "low1.volt_v": 44.0})[RETURN].changes
    assert both == ("low1.compensate: 0 -> 1", "low1.volt_v: 44 -> 45.2 V")
    both = of({"control.lost_s": 0.0, "control.action": 0.0})["control link lost"].changes
    assert both == ("control.lost_s: 0 -> 5 s", "control.action: 0 -> 2")


@pytest.mark.parametrize(
    ("name", "scale", "row"),
    [
        ("return.height_m", 100.0, "return height"),  # cm taken for m, and m for cm
        ("return.height_m", 0.01, "return height"),
        ("return.height_m", 1 / 0.3048, "return height"),  # feet
        ("return.hold_m", 100.0, "height of the hold over home"),
        ("return.hold_m", 0.01, "height of the hold over home"),
        ("return.speed_m_s", 100.0, "return speed"),
        ("return.speed_m_s", 0.01, "return speed"),
        ("land.slow_m_s", 100.0, "landing speed"),
        ("land.slow_m_s", 0.01, "landing speed"),
        ("low1.volt_v", 1000.0, RETURN),
        ("low1.volt_v", 0.001, RETURN),
        ("low1.volt_v", 1 / 12, RETURN),  # of a cell
        ("control.lost_s", 1000.0, "control link lost"),
        ("control.lost_s", 0.001, "control link lost"),
        ("return.hold_s", 1000.0, "end of the return"),
        ("fence.radius_m", 100.0, "fence radius"),
        ("fence.radius_m", 0.001, "fence radius"),
        ("fence.height_m", 100.0, "fence height"),
    ],
)
@pytest.mark.parametrize("ceiling", [True, False])
def test_a_wrong_unit_never_fits(name: str, scale: float, row: str, ceiling: bool) -> None:
    asked = ASKED
    if not ceiling:
        if scale == 1 / 0.3048:
            return  # 48 m as 157: without a ceiling higher than needed, and no more can be known
        fence = Fence(320.0, 70.0)
        asked = replace(ASKED, return_height_m=Window(46.0, None, None), hold_most_s=30.0, fence=fence)
    value = FITTING[name]
    assert value is not None
    if (name, scale) == ("return.hold_m", 100.0):
        # 12 m as 1200: outside what is plausible; 8 m as 800 would stay within, and is higher than asked
        assert of({name: value * scale}, asked)[row].verdict == "not understood"
    assert of({name: value * scale}, asked)[row].verdict != "fits"


def test_without_a_ceiling_a_height_far_beyond_need_is_no_fit() -> None:
    asked = replace(ASKED, return_height_m=Window(46.0, None, None))
    assert of({"return.height_m": 190.0, "fence.height_m": 0.0}, asked)["return height"].verdict == "fits"
    row = of({"return.height_m": 300.0, "fence.height_m": 0.0}, asked)["return height"]
    assert (row.verdict, row.weight) == ("differs", "caution")
    assert "wrong unit" in row.why


def test_an_end_in_the_air_is_no_fit_whatever_the_order_says() -> None:
    settings = settings_of(seen_of(FITTING))
    assert return_ends(settings, ASKED).found()[0] == "fits"
    aloft = replace(settings, return_final_height_m=replace(settings.return_final_height_m, value=5.0))
    assert return_ends(aloft, ASKED).found()[0] == "differs"
    blind = replace(settings.return_final_height_m, value=None, status=Status.NOT_UNDERSTOOD, why="so")
    assert return_ends(replace(settings, return_final_height_m=blind), ASKED).found()[0] == "not understood"


def test_a_hold_as_high_as_it_comes_home_hangs_on_that_height() -> None:
    name = "height of the hold over home"
    for values, verdict in (
        (AN_ARDUPILOT, "fits"),
        ({**AN_ARDUPILOT, "RTL_ALT": 900}, "differs"),
        ({**AN_ARDUPILOT, "RTL_ALT": 0}, "differs"),
        ({**AN_ARDUPILOT, "RTL_ALT": None}, "not understood"),
    ):
        row = rows_of(seen_of(values, ARDUPILOT, told=version(4, 3), complete=False))[name]
        assert (row.verdict, "RTL_ALT" in row.own) == (verdict, True)


def test_a_low_return_near_home_counts_only_where_something_stands() -> None:
    assert of({}, replace(ASKED, free_around_m=5.0))["return from near home"].verdict == "differs"
    low = of({"return.low_m": 50.0}, replace(ASKED, free_around_m=5.0))["return from near home"]
    assert low.verdict == "fits"
    assert {*low.own} == {"return.near_m", "return.low_m"}


def test_a_cone_around_home_counts_too() -> None:
    """Within height over slope (46 / 3 = 15.3 m) it flies home lower."""
    seen = seen_of({**AN_ARDUPILOT, "RTL_ALT": 4800}, ARDUPILOT, told=version(4, 3), complete=False)
    near = "return from near home"
    assert rows_of(seen, replace(ASKED, free_around_m=16.0))[near].verdict == "fits"
    row = rows_of(seen, replace(ASKED, free_around_m=15.0))[near]
    assert (row.verdict, row.changes) == ("differs", ("RTL_CONE_SLOPE: 3 -> 0",))


def test_the_climb_at_the_start_counts_against_the_ceiling() -> None:
    values = {**AN_ARDUPILOT, "RTL_ALT": 4800, "RTL_CLIMB_MIN": 1500}
    seen = seen_of(values, ARDUPILOT, told=version(4, 3), complete=False)
    assert rows_of(seen)["return height"].verdict == "fits"
    row = rows_of(seen, replace(ASKED, plan_highest_m=110.0))["return height"]
    assert (row.verdict, row.changes) == ("differs", ("RTL_CLIMB_MIN: 1500 -> 1000 cm",))


def test_where_nothing_fits_nothing_is_proposed() -> None:
    row = of({}, replace(ASKED, return_height_m=Window(60.0, 50.0, None)))["return height"]
    assert (row.verdict, row.changes) == ("differs", ())
    assert "nothing fits" in row.asked


def test_a_crew_that_moves_has_to_decide() -> None:
    asked = replace(ASKED, control_lost=LinkLost(5.0, moving_crew=True))
    row = of({}, asked)["control link lost"]
    assert (row.verdict, row.weight, row.changes) == ("differs", "caution", ())
    assert "the crew moves on" in row.why
    for action in (1.0, 3.0):
        row = of({"control.action": action}, asked)["control link lost"]
        assert (row.verdict, "agree" in row.why) == ("fits", True)
    for action, weight in ((0.0, "warning"), (4.0, "caution"), (5.0, "warning")):
        row = of({"control.action": action}, asked)["control link lost"]
        assert (row.verdict, row.weight) == ("differs", weight)


def test_a_flight_in_which_a_lost_link_is_disregarded() -> None:
    values = {**AN_ARDUPILOT, "FS_OPTIONS": 1}
    seen = seen_of(values, ARDUPILOT, told=version(4, 3), complete=False)
    row = rows_of(seen)["control link lost"]
    assert (row.verdict, row.weight) == ("differs", "warning")
    assert row.changes == ("FS_OPTIONS: 1 -> 0",)
    by_hand = replace(ASKED, control_lost=LinkLost(5.0, flown=("by_hand",)))
    assert rows_of(seen, by_hand)["control link lost"].verdict == "fits"


def test_what_is_not_asked_has_no_row() -> None:
    rows = of(
        {},
        replace(ASKED, control_lost=None, station_lost=None, fence=None, return_speed_m_s=None, hold_least_m=None),
    )
    assert not {
        "control link lost", "station link lost", "fence radius", "return speed", "height of the hold over home",
    } & rows.keys()  # fmt: skip


@pytest.mark.parametrize("autopilot", [None, 14, 8])
def test_of_an_unknown_kind_nothing_fits(autopilot: int | None) -> None:
    seen = SeenParameters("own.txt", autopilot, None, 2, FITTING, complete=True)
    today = compare(seen, settings_of(seen), ASKED)
    assert {row.verdict for row in today.rows} == {"not understood"}
    assert [remark.weight for remark in today.remarks] == ["caution"]
