"""Pictures of what goes wrong: nothing known, nothing heard, several at once, gone and back."""

from __future__ import annotations

import json
import math

import pytest
from geographiclib.geodesic import Geodesic

from tests.alerts.speech import german
from tests.picture.craft import HOME, T0_US, Craft, Field, rules
from tests.picture.pictures import Watching
from watchkeeper.aircraft.files import load_aircraft_file, load_sortie_file
from watchkeeper.alerts.events import Level, Order, RoutineCall
from watchkeeper.engine import GONE_AFTER_US, Engine
from watchkeeper.estimate.home.limits import LONGEST_S, binds, turn_back_s
from watchkeeper.estimate.surroundings.dusk import to_dusk
from watchkeeper.picture.live import MOST_SAID, MOST_WORDS, Painter
from watchkeeper.picture.models import StationPicture
from watchkeeper.resources import shipped_rules
from watchkeeper.rules.load import load_packs

AIRCRAFT = load_aircraft_file(
    "aircraft: Crane\nkind: multirotor\nrotors: {count: 6, diameter: 0.7 m}\nmass: {empty: 17 kg}\n"
    "packs: {chemistry: lipo, cells: 12, capacity: 22 Ah}\nreturn: {height: 40 m, speed: 8 m/s}\n",
    "aircraft.yaml",
)


def _sortie(more: str = "") -> str:
    far = [
        Geodesic.WGS84.Direct(*HOME, bearing, metres) for bearing, metres in ((30, 400), (120, 250), (250, 900))
    ]
    mast, meadow, turn = ([round(one["lat2"], 7), round(one["lon2"], 7)] for one in far)
    return (
        f"sortie: test\nhome: [{HOME[0]}, {HOME[1]}]\nreserve: 30 %\n"
        f"obstacles: [{{name: mast, at: {mast}, height: 42 m, radius: 10 m}}]\n"
        f"landing_places: [{{name: meadow, at: {meadow}, height: 5 m}}]\n"
        f"plan: [{{at: {turn}, height: 60 m}}]\n"
        f"areas: [{{name: path, kind: people, points: [{mast}, {meadow}, {turn}]}}]\n"
        f"checklist: [rotor latches, antennas down]\n{more}"
    )


SORTIE = load_sortie_file(_sortie(), "sortie.yaml")


def assert_finite(picture: StationPicture) -> None:
    """JSON without NaN and infinities, which comes back the same."""
    text = json.dumps(picture.model_dump(mode="json"), allow_nan=False)
    assert StationPicture.model_validate_json(text) == picture


# ---- nothing, or next to nothing


def test_a_watch_that_hears_nobody_has_an_empty_picture() -> None:
    field = Field()
    picture = field.fly(20)
    assert picture.aircraft == []
    assert [alert.rule for alert in picture.alerts] == ["watch-unheard"]
    assert picture.since == "2026-04-24T03:06:40.250000Z"  # `date -u -d @1777000000`
    assert picture.time == "2026-04-24T03:07:00.000000Z"
    assert picture.elapsed_s == 0.0
    assert_finite(picture)


def test_before_any_call_there_is_a_picture() -> None:
    picture = Painter(Engine(rules()), station="s", exercise=True).picture(T0_US, {"observer": False})
    assert picture.hearing == {"observer": False}
    assert picture.exercise
    assert_finite(picture)


def test_without_files_the_answer_is_unknown_and_says_why() -> None:
    field = Field(Craft())
    one = field.one(70)
    assert one.name == "aircraft 7"
    assert one.answer.standing == "unknown"
    assert one.answer.words == "Not known. The capacity of its packs is in no file."
    assert one.answer.reserve_pct is None
    assert one.answer.turn_back_in_s is None
    assert one.answer.floor_pct == 20.0
    assert one.reach_m == []
    assert one.surroundings.points == []
    assert any("the capacity of its packs is in no file" in line for line in one.blind)


def test_without_a_home_nothing_has_a_place() -> None:
    craft = Craft(home=False)
    field = Field(craft)
    one = field.one(5)
    assert one.surroundings.home is None
    assert one.place is None
    assert one.track == []
    craft.home = HOME  # told at last: the track that was flown until then is there
    for step in range(4):
        craft.at(10.0 * step, 0.0)
        one = field.one(2)
    assert one.place is not None
    assert one.place.north_m == pytest.approx(30.0, rel=0.01)
    assert len(one.track) == 4


# ---- where everything is


def test_places_are_where_geographiclib_puts_them() -> None:
    field = Field(Craft(), files=(AIRCRAFT,), sortie=SORTIE)
    around = field.one(3).surroundings
    assert around.home == HOME
    for spots, name, bearing_deg, metres in (
        (around.obstacles, "mast", 30.0, 400.0),
        (around.places, "meadow", 120.0, 250.0),
        (around.points, "point 1", 250.0, 900.0),
    ):
        (spot,) = spots
        assert spot.name == name
        assert math.hypot(spot.north_m, spot.east_m) == pytest.approx(metres, rel=1e-3, abs=0.1)
        assert math.degrees(math.atan2(spot.east_m, spot.north_m)) % 360 == pytest.approx(bearing_deg, abs=0.1)
    (zone,) = around.zones
    assert zone.kind == "people"
    assert len(zone.corners) == 3
    assert (around.obstacles[0].height_m, around.obstacles[0].radius_m) == (42.0, 10.0)


def test_the_aircraft_is_where_its_readings_say() -> None:
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    there = Geodesic.WGS84.Direct(*HOME, 200.0, 600.0)
    craft.place = there["lat2"], there["lon2"]
    craft.velocity = (-3.0, 4.0)
    one = field.one(10)
    place = one.place
    assert place is not None
    assert (place.north_m, place.east_m) == pytest.approx(
        (600 * math.cos(math.radians(200)), 600 * math.sin(math.radians(200))), rel=1e-3
    )
    assert place.course_deg == pytest.approx(math.degrees(math.atan2(4, -3)), abs=0.1)
    assert place.speed_m_s == 5.0
    assert one.answer.distance_m == pytest.approx(600.0, rel=1e-3)
    assert one.answer.bearing_deg == pytest.approx(200.0, abs=0.1)
    assert one.answer.distance_m == pytest.approx(math.hypot(place.north_m, place.east_m), abs=0.2)


def test_a_fall_from_here_lies_in_the_circle() -> None:
    """Without drag it goes v sqrt(2 h / g) along its course (any textbook); with much it goes with the wind."""
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    craft.height_m, craft.velocity, craft.wind = 80.0, (10.0, 0.0), (0.0, 6.0)
    place = field.one(10).place
    assert place is not None
    falls = place.falls
    assert falls is not None
    free = (place.north_m + 10.0 * math.sqrt(2 * 80.0 / 9.80665), place.east_m)
    assert math.dist(free, (falls.north_m, falls.east_m)) <= falls.radius_m
    assert falls.east_m > place.east_m  # the wind blows to the east
    craft.landed, craft.armed, craft.height_m, craft.velocity = 1, False, 0.0, (0.0, 0.0)
    grounded = field.one(15).place
    assert grounded is not None
    assert grounded.falls is None


def test_a_home_that_moves_moves_everything_at_once() -> None:
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    craft.at(0.0, 0.0)
    field.fly(2)
    craft.at(100.0, 0.0)
    before = field.one(3)
    moved = Geodesic.WGS84.Direct(*HOME, 0.0, 100.0)
    craft.home = moved["lat2"], moved["lon2"]
    data = craft.frames(field.second)
    field.engine.receive("udp://a", data, field.now_us / 1e6)
    (after,) = field.painter.picture(field.now_us).aircraft  # no sample in between
    assert before.place is not None
    assert after.place is not None
    assert after.surroundings.home == pytest.approx(craft.home, abs=1e-6)
    assert after.place.north_m == pytest.approx(before.place.north_m - 100.0, abs=0.3)
    assert after.track[0][0] == pytest.approx(before.track[0][0] - 100.0, abs=0.3)
    assert after.surroundings.obstacles[0].north_m == pytest.approx(
        before.surroundings.obstacles[0].north_m - 100.0, abs=0.3
    )


# ---- what is not known any more


def test_a_lost_position_is_no_answer_and_no_place() -> None:
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    craft.at(300.0, 0.0)
    good = field.one(40)
    assert good.answer.standing == "yes"
    assert len(good.reach_m) == 24
    craft.fix = 1
    craft.at(500.0, 400.0)  # where it thinks that it is
    craft.height_m = 22.0  # by its pressure sensor
    lost = field.one(12)
    assert lost.answer.standing == "unknown"
    assert lost.answer.words == "Not known. Its position is lost."
    gone = lost.answer
    assert (gone.reserve_pct, gone.turn_back_in_s, gone.time_home_s, gone.distance_m) == (None, None, None, None)
    assert lost.reach_m == []
    assert lost.place is not None
    assert good.place is not None
    assert (lost.place.north_m, lost.place.east_m) == (good.place.north_m, good.place.east_m)
    assert lost.place.age_s == pytest.approx(12.0, abs=0.5)
    assert lost.place.height_m == 22.0
    assert lost.place.falls is None
    assert lost.track == good.track
    reserve = next(history for history in lost.histories if history.reading == "return.reserve")
    assert reserve.points[-1][1] is None
    craft.fix = 3
    assert field.one(30).answer.standing == "yes"


def test_a_lost_link_is_forecast_and_said_to_be() -> None:
    craft = Craft()
    files = (AIRCRAFT,)
    sortie = load_sortie_file(_sortie("radio: {control: same}\n"), "sortie.yaml")
    field = Field(craft, files=files, sortie=sortie)
    craft.at(0.0, 300.0)
    heard = field.one(40)
    craft.silent = True
    one = field.one(10)
    assert one.heard_s == pytest.approx(10.0, abs=0.5)
    assert one.answer.standing == "unknown"
    assert one.answer.words.startswith("Not heard for 10 s. Should be over home in ")
    place = one.place
    assert place is not None
    assert place.forecast
    assert place.doubt_m == pytest.approx(one.readings["forecast.doubt"], abs=0.06)
    assert math.hypot(place.north_m, place.east_m) == pytest.approx(
        one.readings["forecast.home_distance"], abs=0.1
    )
    assert place.age_s == pytest.approx(10.0, abs=0.5)
    later = field.one(30)
    assert later.place is not None
    assert place.doubt_m is not None
    assert later.place.doubt_m is not None
    assert later.place.doubt_m > place.doubt_m
    assert math.hypot(later.place.north_m, later.place.east_m) < 300.0
    assert later.reach_m == []
    craft.silent = False
    back = field.one(5)
    assert back.place is not None
    assert not back.place.forecast
    assert back.place.east_m == pytest.approx(300.0, rel=0.01)
    assert heard.answer.standing == "yes"


def test_a_position_that_stops_grows_old() -> None:
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    field.fly(40)
    craft.place = None
    one = field.one(30)
    assert one.place is not None
    assert one.place.age_s == pytest.approx(30.0, abs=0.5)
    assert not one.place.forecast
    assert one.place.falls is None
    assert one.answer.standing == "unknown"
    assert one.answer.reserve_pct is None


def test_one_that_is_gone_leaves_nothing_behind() -> None:
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    craft.armed, craft.landed, craft.height_m = False, 1, 0.0
    one = field.one(10)
    assert one.answer.standing == "home"
    assert one.answer.words == "On the ground."
    craft.silent = True
    assert field.one(10).answer.words == "On the ground. Not heard for 10 s."
    assert field.fly(GONE_AFTER_US / 1e6 - 5).aircraft == []
    craft.silent = False
    (back,) = field.fly(3).aircraft
    times = [time_s for time_s, _ in back.histories[1].points]
    assert times[0] > GONE_AFTER_US / 1e6  # nothing of what was before
    field.second += GONE_AFTER_US / 1e6 + 5  # gone and back while nobody looked
    field.engine.tick(field.now_us / 1e6)
    for _ in range(3):
        field.engine.receive("udp://a", craft.frames(field.second), field.now_us / 1e6)
    (anew,) = field.painter.picture(field.now_us).aircraft
    assert len(anew.histories[1].points) == 1


def test_numbers_that_are_none_never_reach_a_picture() -> None:
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    for wind in ((math.nan, 1.0), (math.inf, 0.0), (1e38, -1e38), (3.0, 4.0)):
        craft.wind = wind
        assert_finite(field.fly(3))
    (one,) = field.fly(1).aircraft
    assert one.wind_speed_m_s == 5.0
    assert one.wind_from_deg == pytest.approx(math.degrees(math.atan2(-4, -3)) % 360, abs=0.1)
    watched = field.engine.watched(7)
    readings = watched.aircraft.readings
    for index, stream in enumerate(readings.streams):
        if stream is not None and isinstance(readings.values[index], float):
            readings.values[index] = math.nan if index % 2 else math.inf
    assert_finite(field.painter.picture(field.now_us))


# ---- what the answer is made of


def test_the_contour_is_the_reach_at_its_bearing() -> None:
    """Due east is the seventh of 24 bearings: the reading is worked out for where it is, the contour for each."""
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    craft.wind = (0.0, 7.0)  # to the east
    craft.at(0.0, 300.0)
    one = field.one(60)
    assert len(one.reach_m) == 24
    assert one.answer.bearing_deg == pytest.approx(90.0, abs=0.1)
    assert one.reach_m[6] == pytest.approx(one.readings["return.reach"], rel=0.01)
    assert one.reach_m[6] < 0.9 * one.reach_m[18]  # home against the wind is dearer
    assert min(one.reach_m) == pytest.approx(one.readings["return.reach_least"], rel=0.01)


def test_the_answer_is_what_the_readings_say() -> None:
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    craft.at(0.0, 300.0)
    one = field.one(60)
    told = one.answer
    for value, name in (
        (told.reserve_pct, "return.reserve"),
        (told.reserve_low_pct, "return.reserve_low"),
        (told.turn_back_in_s, "return.turn_back_in"),
        (told.time_home_s, "return.time"),
        (told.distance_m, "position.home_distance"),
    ):
        assert value == pytest.approx(one.readings[name], abs=0.06), name
    assert told.floor_pct == 30.0  # the sortie's, for it is more than two aborted landings take
    assert told.nearest is not None
    metres = Geodesic.WGS84.Inverse(*(craft.place or HOME), *SORTIE.landing_places[0].at)["s12"]
    assert told.nearest.startswith(f"meadow, {metres:.0f} m, bearing ")
    known = {name: value for name, value in field.engine.readings(7).items() if value is not None}
    assert set(one.readings) == set(known)
    for name, read in known.items():
        assert one.readings[name] == (pytest.approx(read, rel=1e-5) if isinstance(read, float) else read), name


def test_dusk_sets_the_last_moment_where_it_comes_first() -> None:
    craft = Craft()
    dusk_s = to_dusk(T0_US / 1e6, *HOME)
    assert dusk_s is not None
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE, begin_us=T0_US + round((dusk_s - 200.0) * 1e6))
    craft.at(0.0, 300.0)
    one = field.one(60)
    told = one.answer
    assert told.turn_back_before == "dusk"
    home_s, left_s = one.readings["return.time"], one.readings["time.to_dusk"]
    assert isinstance(home_s, float)
    assert isinstance(left_s, float)
    assert told.turn_back_in_s == pytest.approx(left_s - home_s, abs=0.2)
    assert told.standing == "yes"
    late = field.one(left_s - home_s + 8.0).answer
    assert late.words == "Turn back before dark."
    assert late.standing == "soon"
    assert late.turn_back_in_s is not None
    assert late.turn_back_in_s < 0.0


def test_what_binds_is_what_moves_the_last_moment() -> None:
    """Asked for a little more of what binds, the last moment comes sooner; for more of the other, it stays."""
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    craft.at(0.0, 300.0)
    one = field.one(60)
    assert one.answer.turn_back_before == "charge"
    home = field.engine.watched(7).suite._home
    assert home._case is not None
    case, power_w = home._case
    seen: set[str | None] = set()
    for floor_v in (3.3, 3.5, 3.7, 3.75):
        held = case._replace(worst=case.worst._replace(floor_v=floor_v))
        turn_back_in_s = turn_back_s(held, power_w, 300.0)
        if turn_back_in_s <= 1.0:
            continue
        bound = binds(held, power_w, turn_back_in_s)
        more = held._replace(required_pct=held.required_pct + 1.0)
        charge_s = turn_back_in_s - turn_back_s(more, power_w, 300.0)
        volt = held._replace(worst=held.worst._replace(floor_v=floor_v + 0.01))
        volt_s = turn_back_in_s - turn_back_s(volt, power_w, 300.0)
        if bound == "charge":
            assert charge_s > 1.0
            assert volt_s < charge_s
        else:
            assert bound == "voltage"
            assert volt_s > 1.0
            assert charge_s < volt_s
        seen.add(bound)
    assert seen == {"charge", "voltage"}
    assert binds(case, power_w, LONGEST_S) is None
    over_m_s = 1.1 * case.plan.airspeed_m_s
    downwind = case.wind._replace(speed_m_s=over_m_s, head_m_s=-over_m_s)
    carried = case._replace(wind=downwind, start=case.start._replace(outward_m_s=-10.0))
    assert binds(carried, power_w, turn_back_s(carried, power_w, 300.0)) == "wind"


# ---- several


def test_five_aircraft_stand_in_the_order_of_their_need() -> None:
    craft = [Craft(system) for system in (9, 8, 7, 6, 5)]
    for i, one in enumerate(craft):
        one.at(0.0, 300.0 * i)
    field = Field(*craft, files=(AIRCRAFT,), sortie=SORTIE)
    field.fly(20)
    craft[0].fix = 1  # a warning, beside which it has no answer
    picture = field.fly(8)
    needs = []
    for each in picture.aircraft:
        levels = [alert.level.urgency for alert in each.alerts if not alert.over and alert.state != "suppressed"]
        needs.append((-max(levels, default=-1), each.answer.turn_back_in_s or 1e9, each.system))
    assert needs == sorted(needs)  # warning, then caution, then time left
    assert len({need[1] for need in needs}) == 5
    order = [one.system for one in picture.aircraft]
    assert order.index(9) < order.index(8)  # nearest, but with a warning
    assert {one.name for one in picture.aircraft} == {f"Crane, aircraft {system}" for system in order}
    assert all(alert.aircraft == one.system for one in picture.aircraft for alert in one.alerts)
    assert_finite(picture)


# ---- the lists


def test_what_was_said_is_kept_newest_first() -> None:
    craft = Craft()
    field = Field(craft)
    field.fly(10)
    craft.fix = 1
    said = field.fly(40).said
    (first, *_) = [one for one in said if one.aircraft == 7 and one.level is Level.WARNING]
    assert first.words == "Warning. Position. Lost. Take manual control, hold height."
    assert [one.time for one in said] == sorted((one.time for one in said), reverse=True)
    field.painter.take([RoutineCall(T0_US + i, 0, None, "test", f"call {i}" + 9000 * ".") for i in range(50)])
    kept = field.painter.picture(field.now_us).said
    assert len(kept) == MOST_SAID
    assert kept[0].words.startswith("call 49")
    assert kept[0].level is Level.ROUTINE
    assert all(len(one.words) <= MOST_WORDS for one in kept)


def test_an_alert_is_shown_as_it_is() -> None:
    craft = Craft()
    field = Field(craft)
    field.fly(10)
    craft.fix = 1
    field.fly(3)
    field.painter.take(
        field.engine.order(Order("acknowledge", rule="position-lost", aircraft=7), field.now_us / 1e6)
    )
    (alert,) = [a for a in field.one(1).alerts if a.rule == "position-lost"]
    assert alert.acknowledged_by == ["pilot"]
    assert alert.since == "2026-04-24T03:06:51.000000Z"  # a second after it was lost
    assert alert.evidence == {"position.valid": False}
    assert not alert.over
    craft.fix = 3
    field.fly(1)
    assert all(a.rule != "position-lost" or not a.over for a in field.one(1).alerts)
    assert all(a.rule != "position-lost" for a in field.one(10).alerts)  # acknowledged, and over


def test_what_is_suppressed_is_not_shown_and_what_is_shelved_comes_last() -> None:
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    craft.at(300.0, 0.0)
    field.fly(30)
    craft.left_pct, craft.used, craft.hdop = 20, 7, 520  # cautions, of gauge and satellites
    shown = [alert.rule for alert in field.one(10).alerts]
    assert {"gauge-low", "satellite-loss"} <= set(shown)
    order = Order("shelve", rule="gauge-low", aircraft=7, minutes=5.0)
    field.engine.order(order, field.now_us / 1e6)
    alerts = field.one(1).alerts
    assert (alerts[-1].rule, alerts[-1].state) == ("gauge-low", "shelved")
    craft.silent = True
    lost = field.one(10)
    assert lost.alerts[0].rule == "link-lost"
    assert "satellite-loss" not in {alert.rule for alert in lost.alerts}
    listed = {alert.rule: alert.state for alert in field.engine.alerts()}
    assert listed["satellite-loss"] == "suppressed"


def test_a_shelved_alert_makes_no_answer_better() -> None:
    watching = Watching("four-faults")
    at_s, (one,) = 185.0, watching.fly(185.0).aircraft
    while one.answer.standing != "now" and at_s < 260.0:
        at_s += 1.0
        (one,) = watching.fly(at_s).aircraft
    assert one.answer.words == "Turn back now."
    for rule in ("return-now", "return-reserve"):
        order = Order("shelve", rule=rule, aircraft=one.system, role="pilot", minutes=5.0)
        watching.engine.order(order, watching.now_us / 1e6)
    (one,) = watching.fly(at_s + 2.0).aircraft
    assert {"return-now", "return-reserve"} <= {alert.rule for alert in one.alerts if alert.state == "shelved"}
    while (one.answer.turn_back_in_s or 0.0) >= 0.0 and at_s < 280.0:  # about 0 it goes up and down by a second
        at_s += 1.0
        (one,) = watching.fly(at_s + 2.0).aircraft
    assert one.answer.turn_back_in_s is not None
    assert one.answer.turn_back_in_s < 0.0
    assert (one.answer.standing, one.answer.words) == ("now", "Turn back now.")


def test_before_a_take_off_it_says_what_is_open() -> None:
    craft = Craft()
    craft.armed, craft.landed, craft.height_m = False, 1, 0.0
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
    field.fly(5)
    field.engine.order(Order("check", aircraft=7, text="rotor latches"), field.now_us / 1e6)
    one = field.one(2)
    assert [(check.words, check.done) for check in one.checklist] == [
        ("rotor latches", True),
        ("antennas down", False),
    ]
    assert [check.words for check in one.roles] == ["pilot", "observer", "post"]
    assert "Checklist. Open: antennas down." in one.waits
    craft.armed, craft.landed, craft.height_m = True, 2, 30.0
    assert field.one(5).waits == []


def test_limits_are_those_of_the_rules_in_use() -> None:
    sortie = load_sortie_file(_sortie("settings: {cell_floor: 3.4 V, satellites_few: 8 count}\n"), "sortie.yaml")
    texts = [(path.name, path.read_text("utf-8")) for path in sorted(shipped_rules().glob("*.yaml"))]
    own = load_packs(texts, sortie.settings)
    field = Field(Craft(), files=(AIRCRAFT,), sortie=sortie, rule_set=own)
    drawn = {h.reading: {limit.words: limit.value for limit in h.limits} for h in field.one(40).histories}
    assert drawn["return.reserve"] == {"reserve": 30.0, "landing floor": 5.0}
    assert drawn["battery.cell_voltage"] == {"cell floor": 3.4}
    assert drawn["satellites.used"] == {"few satellites": 8.0}
    assert drawn["link.loss"] == {"most loss": 20.0}  # no radio tells of a margin
    assert "link.margin" not in drawn
    higher = tuple((name, text.replace("loss_most: 20 %", "loss_most: 30 %")) for name, text in texts)
    field.engine.order(Order("reload", packs=higher), field.now_us / 1e6)
    (one,) = field.painter.picture(field.now_us).aircraft  # no sample in between
    loss = next(history for history in one.histories if history.reading == "link.loss")
    assert [limit.value for limit in loss.limits] == [30.0]


def test_a_crew_reads_it_in_its_language() -> None:
    craft = Craft()
    field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE, language=german())
    one = field.one(40)
    assert one.answer.words == "Über dem Rückkehrpunkt."
    craft.at(300.0, 0.0)
    one = field.one(40)
    assert one.answer.words == "Rückkehr möglich."
    assert one.answer.nearest is not None
    assert one.answer.nearest.startswith("meadow, ")
    assert "Richtung" in one.answer.nearest
    assert [history.words for history in one.histories] == [
        "Ladung bei Rückkehr", "Zellenspannung", "verlorene Telegramme", "Satelliten",
    ]  # fmt: skip
    craft.fix = 1
    assert field.one(5).answer.words == "Nicht bekannt. Position verloren."


# ---- the same calls, the same picture


def test_pictures_are_the_same_each_time() -> None:
    def picture(often: int) -> str:
        craft = Craft()
        field = Field(craft, files=(AIRCRAFT,), sortie=SORTIE)
        for step in range(30):
            craft.at(10.0 * step, 3.0 * step)
            field.fly(1)
            for _ in range(often):  # to look at it changes nothing
                field.painter.picture(field.now_us)
        return field.painter.picture(field.now_us).model_dump_json()

    assert picture(0) == picture(3)
