"""The board's pictures, fed with messages as a watch's outlet writes them; no broker, no waiting."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.edges import view_parts
from tests.edges.mqtt_parts import START_US, change
from tests.page.board_parts import SECOND_US, Field, Hall
from watchkeeper.alerts.events import Change, Level, State
from watchkeeper.edges.messages.payloads import PAYLOADS
from watchkeeper.page.board.board import MAX_STATIONS
from watchkeeper.page.board.heard import FILTERS, LONGEST_BYTES
from watchkeeper.page.board.station import MAX_AIRCRAFT, MAX_ALERTS, MAX_SAID
from watchkeeper.picture.models import AircraftPicture, StationPicture


def up(field: Field, picture: StationPicture | None = None) -> None:
    """Let a watch begin: status, surroundings, the first second."""
    field.status(retained=True)
    for one in (picture or view_parts.station(42)).aircraft:
        field.surroundings(one, retained=True)
    field.beat(picture)


def rules(picture: StationPicture | AircraftPicture) -> list[str]:
    return [one.rule for one in picture.alerts]


def test_the_board_shows_what_the_watchs_own_page_shows() -> None:
    hall = Hall()
    field = Field(hall, exercise=True)
    alerts = [
        view_parts.shown_alert("link-lost", acknowledged_by=["observer"]),
        view_parts.shown_alert("voltage-sag", level=Level.CAUTION, stale=True),
        view_parts.shown_alert("wind-high", level=Level.CAUTION, state=State.SHELVED, over=False),
    ]
    craft = view_parts.aircraft(alerts=alerts)
    own = view_parts.station(42, aircraft=[craft], alerts=[])
    up(field, own)
    for one in alerts:
        field.alert(
            dataclasses.replace(
                change(one.state, rule=one.rule, level=one.level), callout=one.callout, reason=one.reason,
                evidence=one.evidence, acknowledged_by=tuple(one.acknowledged_by),
            )
        )  # fmt: skip
    field.alert(change(State.SUPPRESSED, Change.SUPPRESSED, rule="its condition does not hold"))
    hall.wait(0.001)
    field.beat(own)
    shown = hall.only()
    (there,) = shown.aircraft
    # what only the watch has: a track and histories of before the board came, callouts of before
    apart: set[str] = {"track", "histories"}
    assert there.model_dump(exclude=apart) == craft.model_dump(exclude=apart)
    assert there.track == [craft.track[-1]]
    (drawn,), (its,) = there.histories, craft.histories
    assert (drawn.reading, drawn.words, drawn.unit, drawn.limits) == (its.reading, its.words, its.unit, its.limits)
    assert [value for _, value in drawn.points] == [41.0, 41.0]  # two seconds
    apart = {"aircraft", "said", "since", "time", "elapsed_s"}
    assert shown.model_dump(exclude=apart) == own.model_dump(exclude=apart)


def test_an_alert_shows_with_its_message_and_goes_with_its_end() -> None:
    hall = Hall()
    field = Field(hall)
    up(field)
    hall.wait(0.2)
    assert field.alert()
    (craft,) = hall.only().aircraft
    assert rules(craft) == ["link-lost"]
    assert (craft.alerts[0].over, craft.alerts[0].stale) == (False, False)
    assert craft.alerts[0].evidence["link.margin"] is None
    assert field.alert(change(State.RETURNED, Change.CLEARED))
    assert hall.only().aircraft[0].alerts[0].over
    assert field.alert(change(State.NORMAL, Change.ACKNOWLEDGED))
    assert rules(hall.only().aircraft[0]) == []
    field.alert(dataclasses.replace(change(), trial=True))
    assert rules(hall.only().aircraft[0]) == []


def test_an_emptied_alert_and_an_emptied_aircraft_are_gone() -> None:
    hall = Hall()
    field = Field(hall)
    up(field)
    field.alert()
    assert hall.take(field.topics.state(42, "link-lost"), b"")
    assert rules(hall.only().aircraft[0]) == []
    hall.take(field.topics.surroundings_of(42), b"")
    assert hall.only().aircraft == []
    assert hall.only().state == "watching"


def test_who_has_acknowledged_is_shown() -> None:
    hall = Hall()
    field = Field(hall)
    up(field)
    field.alert(dataclasses.replace(change(), acknowledged_by=("post", "observer")))
    assert hall.only().aircraft[0].alerts[0].acknowledged_by == ["observer", "post"]


def test_a_watch_that_tells_nothing_for_five_seconds_is_lost_though_it_says_it_watches() -> None:
    hall = Hall()
    field = Field(hall)
    up(field)
    field.alert()
    hall.wait(5.0)
    assert hall.only().state == "watching"
    hall.wait(0.001)
    shown = hall.only()
    assert shown.state == "lost"
    assert rules(shown) == ["board-lost"]
    (craft,) = shown.aircraft
    assert (craft.answer.standing, craft.answer.reserve_pct, craft.readings) == ("unknown", None, {})
    assert craft.alerts[0].stale
    assert craft.blind == ["The watch has told nothing for 5 s."]
    assert craft.place is not None
    assert craft.place.age_s == pytest.approx(5.2, abs=0.05)
    field.beat()
    shown = hall.only()
    assert (shown.state, rules(shown)) == ("watching", [])
    assert shown.aircraft[0].answer.standing == "yes"


def test_a_watch_that_dies_is_lost_by_its_will() -> None:
    hall = Hall()
    field = Field(hall)
    up(field)
    assert field.status("lost")
    shown = hall.only()
    assert (shown.state, shown.alerts[0].rule) == ("lost", "board-lost")
    assert "died" in shown.alerts[0].reason
    assert field.status("watching")
    assert hall.only().state == "watching"


def test_a_watch_without_aircraft_is_lost_when_its_status_runs_out() -> None:
    hall = Hall()
    field = Field(hall)
    field.status()  # of an older version: it has no outlook
    hall.wait(90.0)
    assert hall.only().state == "watching"
    hall.wait(0.001)
    assert hall.only().state == "lost"


def test_a_status_left_over_from_a_broker_that_fell_with_the_watch_is_not_believed() -> None:
    hall = Hall()
    field = Field(hall, ahead_s=-3600)
    field.status(retained=True)
    assert hall.only().state == "lost"
    field.beat()  # it lives: its clock is wrong
    assert hall.only().state == "watching"


def test_a_stopped_watch_stays_for_ten_minutes() -> None:
    hall = Hall()
    field = Field(hall)
    up(field)
    field.alert(change(aircraft=7))
    field.status("stopped")
    shown = hall.only()
    assert shown.state == "stopped"
    assert [one.system for one in shown.aircraft] == [42]
    assert shown.aircraft[0].answer.standing == "unknown"
    hall.wait(600.0)
    assert hall.only().state == "stopped"
    hall.wait(0.001)
    assert [one.station for one in hall.pictures()] == [hall.board.name]


def test_one_stopped_long_before_the_board_began_is_not_listed() -> None:
    hall = Hall()
    field = Field(hall, ahead_s=-700)
    field.status("stopped", retained=True)
    assert [rules(one) for one in hall.pictures()] == [["board-alone"]]


def test_without_broker_all_is_lost_and_the_board_says_so() -> None:
    hall = Hall()
    field = Field(hall)
    up(field)
    hall.board.away("Message broker lost: timed out. Check the network.", hall.now_us)
    field.beat()
    assert hall.only().state == "watching"  # it may be back at once
    hall.wait(2.001)
    first, shown = hall.pictures()
    assert (first.state, rules(first)) == ("lost", ["board-broker"])
    assert first.alerts[0].reason == "Message broker lost: timed out. Check the network."
    assert shown.state == "lost"
    assert (
        hall.board.reason_against("field-1", hall.now_us) == "Message broker lost: timed out. Check the network."
    )
    hall.board.connected()
    field.beat()
    assert hall.only().state == "watching"
    assert hall.board.reason_against("field-1", hall.now_us) == ""


def test_what_is_not_told_again_after_a_loss_is_let_go() -> None:
    hall = Hall()
    field = Field(hall)
    up(field)
    field.alert(change(rule="ended meanwhile"))
    field.alert()
    hall.board.away("away", hall.now_us)
    hall.board.connected()
    hall.wait(60.0)  # the watch comes back later than the board: nothing is let go before it has had its time
    assert len(hall.only().aircraft[0].alerts) == 2
    field.beat()
    field.alert()
    for _ in range(11):
        hall.wait(1.0)
        field.beat()
    assert rules(hall.only().aircraft[0]) == ["link-lost"]


def test_an_aircraft_of_which_its_living_watch_tells_nothing_more() -> None:
    hall = Hall()
    field = Field(hall)
    up(field, view_parts.station(42, 43, alerts=[]))
    for second in range(62):
        hall.wait(1.0)
        field.beat(view_parts.station(42, alerts=[], elapsed_s=100.0 + second))
        shown = {one.system: one for one in hall.only().aircraft}
        if second == 5:
            assert shown[43].answer.standing == "unknown"
            assert shown[43].blind == ["Its watch has told nothing of it for 6 s."]
            assert shown[42].answer.standing == "yes"
    assert set(shown) == {42}


def test_a_clock_that_is_off_is_told_and_harms_nothing() -> None:
    hall = Hall()
    field = Field(hall, ahead_s=-42.0)
    up(field)
    hall.wait(1.0)
    field.beat()
    shown = hall.only()
    assert shown.state == "watching"
    assert rules(shown) == ["board-clock"]
    assert shown.alerts[0].reason == "Its clock is 42 s behind this board's."
    right = Hall()
    field = Field(right, ahead_s=-4.0)
    up(field)
    field.beat()
    assert rules(right.only()) == []


def test_a_newer_watch_is_shown_as_far_as_it_is_understood_and_said_to_be_newer() -> None:
    hall = Hall()
    field = Field(hall)
    field.writer._version = "9.9"
    up(field)
    said = json.loads(field.writer.state(change(), field.now_us).to_json())
    hall.take(field.topics.state(42, "link-lost"), json.dumps(said | {"mood": [1]}).encode())
    fast = json.loads(view_outlook(field).to_json().replace(b'"bearing_deg"', b'"colour":{"a":1},"bearing_deg"'))
    hall.take(field.topics.under(42, "outlook"), json.dumps(fast).encode())
    shown = hall.only()
    assert rules(shown.aircraft[0]) == ["link-lost"]
    assert shown.aircraft[0].answer.standing == "yes"
    assert rules(shown) == ["board-version"]
    assert shown.alerts[0].reason.startswith("Its watch is version 9.9, this board ")
    assert hall.board.ignored == 0


def view_outlook(field: Field) -> Any:
    from watchkeeper.edges.messages.views import outlook_of  # noqa: PLC0415

    return outlook_of(view_parts.aircraft(), field.writer.head(field.now_us, 3))


def test_an_older_watch_without_outlook_is_shown_by_its_readings() -> None:
    hall = Hall()
    field = Field(hall)
    field.status()
    known: dict[str, float | str | bool | None] = {
        "flight.phase": "airborne",
        "return.reserve": 41.0,
        "position.home_distance": 640.0,
    }
    hall.take(field.topics.under(42, "readings"), field.writer.readings(42, known, field.now_us))
    field.alert(change(State.SHELVED, Change.SHELVED))
    assert hall.only().aircraft[0].blind == []  # it may come yet
    hall.wait(3.001)
    (craft,) = hall.only().aircraft
    assert (craft.phase, craft.answer.reserve_pct, craft.answer.standing) == ("airborne", 41.0, "unknown")
    assert rules(craft) == ["link-lost"]
    assert craft.blind == ["Its watch is of an older version: it tells a board less."]


def test_stations_and_aircraft_come_by_need_exercises_last_among_equals() -> None:
    hall = Hall()
    calm = view_parts.station(42, alerts=[])
    for name, exercise in (("a drill", True), ("b", False), ("c", False), ("d", False), ("e", False)):
        field = Field(hall, name, exercise=exercise)
        up(field, calm)
        if name in ("a drill", "c"):
            field.alert(change(level=Level.CAUTION))
        if name == "d":
            field.alert()
        if name == "e":
            field.status("lost")
    assert [one.station for one in hall.pictures()] == ["d", "e", "c", "a drill", "b"]
    hall = Hall()
    field = Field(hall)
    crafts = [
        view_parts.aircraft(1, answer=view_parts.answer(standing="yes")),
        view_parts.aircraft(2, answer=view_parts.answer(standing="soon")),
        view_parts.aircraft(3, answer=view_parts.answer(standing="no")),
        view_parts.aircraft(4),
    ]
    up(field, view_parts.station(aircraft=crafts))
    field.alert(change(aircraft=4))
    assert [one.system for one in hall.only().aircraft] == [4, 3, 2, 1]


def test_an_exercise_never_passes_for_real_nor_the_other_way() -> None:
    hall = Hall()
    real, drill = Field(hall), Field(hall, exercise=True)
    drill.status()
    drill.beat()
    assert hall.only().exercise
    real.status()
    assert not hall.only().exercise
    drill.alert()
    assert hall.board.ignored == 1
    assert rules(hall.only().aircraft[0]) == []
    drill.status()
    real.alert()  # whatever the status says: a real alarm is none of an exercise
    assert not hall.only().exercise


def test_track_and_histories_grow_and_begin_anew_with_the_watch() -> None:
    hall = Hall()
    field = Field(hall)
    up(field)
    for n in range(1, 5):
        hall.wait(1.0)
        place = view_parts.aircraft().place
        assert place is not None
        moved = view_parts.aircraft(
            place=place.model_copy(update={"north_m": 10.0 * n}), readings={"return.reserve": 41.0 - n}
        )
        field.beat(view_parts.station(aircraft=[moved], elapsed_s=1.0 + n))
    (craft,) = hall.only().aircraft
    assert [north for north, _ in craft.track][-4:] == [10.0, 20.0, 30.0, 40.0]
    assert [value for _, value in craft.histories[0].points][-4:] == [40.0, 39.0, 38.0, 37.0]
    times = [time_s for time_s, _ in craft.histories[0].points]
    assert times == sorted(times)
    field.since_us += 60 * SECOND_US
    field.status()
    field.beat(view_parts.station(elapsed_s=0.5))
    hall.wait(1.0)
    field.beat(view_parts.station(elapsed_s=1.5))
    (craft,) = hall.only().aircraft
    assert (len(craft.track), len(craft.histories[0].points)) == (1, 1)


def test_callouts_are_listed_once_newest_first() -> None:
    hall = Hall()
    field = Field(hall)
    up(field)
    for n in range(MAX_SAID + 5):
        field.say(f"Words {n}.")
    twice = field.writer.callout(change(spoken=True), field.now_us)
    for _ in range(2):  # quality of service 1
        hall.take(field.topics.under(42, "callout"), twice)
    said = [one.words for one in hall.only().said]
    assert said == ["Warning. Link lost.", *(f"Words {n}." for n in range(MAX_SAID + 4, 5, -1))]


def test_bounds() -> None:
    hall = Hall()
    field = Field(hall)
    up(field, view_parts.station(*range(1, MAX_AIRCRAFT + 3), alerts=[]))
    assert len(hall.only().aircraft) == MAX_AIRCRAFT
    for n in range(MAX_ALERTS + 10):
        field.alert(change(rule=f"rule-{n}", aircraft=1))
    assert len(hall.only().aircraft[0].alerts) == MAX_ALERTS
    for n in range(MAX_STATIONS + 5):
        Field(hall, f"far-{n}").status()
    shown = hall.pictures()
    assert len(shown) == MAX_STATIONS + 1
    assert shown[0].alerts[0].reason == "6 more are heard."
    for n in range(100):
        hall.take(f"watchkeeper/odd-{n}/42/alert/x", b"{}")
    assert len(hall.board._stations) == MAX_STATIONS


def test_room_is_made_of_what_nobody_needs() -> None:
    hall = Hall()
    for n in range(MAX_STATIONS):
        field = Field(hall, f"left-{n}", exercise=n == 0)
        if n == 0:
            field.status("lost")
        else:
            field.alert(retained=True)  # left over: no watch behind it
    for n in range(MAX_STATIONS):
        Field(hall, f"here-{n}").status()
    assert {one.station for one in hall.pictures()} == {f"here-{n}" for n in range(MAX_STATIONS)}


def test_what_is_wrong_is_counted_and_shown_nowhere() -> None:
    hall = Hall()
    field = Field(hall)
    up(field)
    before = hall.only()
    state = field.writer.state(change(), field.now_us).to_json()
    base = "watchkeeper/field-1"
    wrong: list[tuple[str, bytes]] = [
        (f"{base}/42/alert/another", state),  # about another rule than its topic
        (f"{base}/43/alert/link-lost", state),
        (f"{base}/0/alert/link-lost", state),
        (f"{base}/٤/alert/link-lost", state),
        (f"{base}/watch/alert/link-lost", state),
        (f"{base}/42/alert/%6Cink-lost", state),  # not as a watch writes it
        (f"{base}/42/alert/link-lost", state + b" " * 20_000),
        (f"{base}/42/alert/link-lost", b"[" * 10_000),
        (f"{base}/42/alert/link-lost", b"\xff"),
        (f"{base}/42/alert/link-lost", state.replace(b'"warning"', b'"panic"')),
        (f"{base}/42/alert/link-lost", state.replace(b'"time":"2026-05', b'"time":"2026-55')),
        (f"{base}/42/readings", b"{}"),
        (f"{base}/42/outlook", view_outlook(field).to_json().replace(b'"north_m":165.6', b'"north_m":1e300')),
        (f"{base}/42/outlook", b" " * (LONGEST_BYTES + 1)),
        ("watchkeeper/\u202efield/status", b"{}"),
        ("watchkeeper/a/b/c/d/e", b"{}"),
        ("elsewhere", b"{}"),
    ]
    for topic, payload in wrong:
        assert not hall.take(topic, payload), topic
    assert hall.board.ignored == len(wrong)
    assert hall.pictures() == [before]


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_rubbish_never_harms(data: st.DataObject) -> None:
    """Any payload on any topic, also right ones with parts replaced: no exception, and still a picture."""
    hall = Hall()
    field = Field(hall)
    up(field)
    good: list[tuple[str, bytes]] = [
        (field.topics.status, field.writer.status("watching", START_US, START_US).to_json()),
        (field.topics.state(42, "link-lost"), field.writer.state(change(), START_US).to_json()),
        (field.topics.under(42, "outlook"), view_outlook(field).to_json()),
        (field.topics.under(42, "readings"), field.writer.readings(42, {"a": 1.0}, START_US).to_json()),
    ]
    scalars = st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=20)
    junk = st.recursive(
        scalars,
        lambda inside: st.lists(inside, max_size=3) | st.dictionaries(st.text(max_size=8), inside, max_size=3),
    )
    for _ in range(6):
        topic, payload = data.draw(st.sampled_from(good))
        kind = data.draw(st.integers(0, 3))
        if kind == 0:
            payload = data.draw(st.binary(max_size=60))
        elif kind == 1:
            content = json.loads(payload)
            content[data.draw(st.sampled_from(sorted(content)) | st.text(max_size=8))] = data.draw(junk)
            payload = json.dumps(content).encode()
        elif kind == 2:
            topic = (
                data.draw(st.text(max_size=30)) if data.draw(st.booleans()) else f"{topic}/{data.draw(st.text())}"
            )
        hall.take(topic, payload, retained=data.draw(st.booleans()))
        hall.wait(data.draw(st.sampled_from([0.0, 0.5, 6.0, 100.0])))
        for picture in hall.pictures():
            assert StationPicture.model_validate_json(picture.model_dump_json()) == picture


def test_the_board_listens_to_all_that_a_watch_sends() -> None:
    sent = {topic for topic in PAYLOADS if not topic.endswith("/order")}
    assert {
        topic.replace("{station}", "+").replace("{aircraft}", "+").replace("{rule}", "+") for topic in sent
    } == {*FILTERS}
