"""What the crew sees and presses, through the engine: said at once, again, acknowledged, over; never too much.

The words are held to the grammar of all callouts; what a crew needs of them is this project's design (sections 6
and 9: told at once, an unacknowledged warning stays listed, an acknowledgement belongs to a role).
"""

from __future__ import annotations

import pytest

from tests.alerts.driver import pack, rule
from tests.test_engine import T0, Plane
from watchkeeper.alerts.audience import told
from watchkeeper.alerts.callqueue import CallQueue
from watchkeeper.alerts.events import AlertChange, Change, Happening, Level, Order, Refusal, RoutineCall, State
from watchkeeper.alerts.phrases import PHRASES
from watchkeeper.alerts.sightings import KINDS, MOST, SIGHTS, sighting_words
from watchkeeper.engine import Engine
from watchkeeper.errors import BadInputError
from watchkeeper.rules.wording import wrongs

STERILE = pack(
    rule('id: high\nlevel: caution\nwhen: wind.speed > high\nsay: "Wind. Strong. Land soon."'),
    sterile="flight.phase == airborne",
)


class Watch:
    """An engine with aircraft in the air, and its happenings."""

    def __init__(self, *systems: int) -> None:
        self.engine = Engine(STERILE)
        self.planes = [Plane(system) for system in systems]
        self.second = 0.0
        self.run(2)

    def run(self, seconds: float) -> list[Happening]:
        happened: list[Happening] = []
        end = self.second + seconds
        while self.second < end:
            self.second = round(self.second + 0.5, 3)
            for plane in self.planes:
                happened += self.engine.receive("a", plane.frames(self.second), T0 + self.second)
            happened += self.engine.tick(T0 + self.second)
        return [one for one in happened if one.rule is None or one.rule.startswith("sighted")]

    def press(self, text: str, aircraft: int | None = 7, role: str = "observer") -> list[Happening]:
        order = Order("sighted", aircraft=aircraft, role=role, by="page", text=text)
        return self.engine.order(order, T0 + self.second)

    def acknowledge(self, rule: str | None, aircraft: int | None = 7, role: str = "pilot") -> list[Happening]:
        return self.engine.order(Order("acknowledge", rule, aircraft, role), T0 + self.second)

    @property
    def listed(self) -> list[tuple[str, State]]:
        return [(alert.rule, alert.state) for alert in self.engine.alerts() if alert.rule.startswith("sighted")]


def changes(happened: list[Happening]) -> list[tuple[Change, bool]]:
    return [(one.change, one.spoken) for one in happened if isinstance(one, AlertChange)]


def reasons(happened: list[Happening]) -> list[str]:
    return [one.reason for one in happened if isinstance(one, Refusal)]


@pytest.mark.parametrize(
    ("text", "callout", "level"),
    [
        ("people", "Caution. Observer. People entering. Hold, keep clear of them.", Level.CAUTION),
        ("traffic", "Caution. Observer. Traffic in sight. Look around, be ready to descend.", Level.CAUTION),
        ("lost_sight", "Caution. Observer. Lost sight of the aircraft. Hold, look for it.", Level.CAUTION),
        ("stop", "Warning. Observer. Calls stop. Stop now, hold position.", Level.WARNING),
    ],
)
def test_it_is_spoken_in_the_same_moment_in_a_sterile_phase_too(text: str, callout: str, level: Level) -> None:
    [one] = Watch(7).press(text)
    assert isinstance(one, AlertChange)
    assert (one.change, one.spoken, one.level, one.callout) == (Change.RAISED, True, level, callout)
    assert (one.aircraft, one.by, one.reason) == (7, "observer", "pressed by observer, page")
    assert told(one, "pilot")
    assert not told(one, "observer")  # who pressed it


def test_what_the_post_sees_is_told_to_the_observer_where_it_is_a_warning() -> None:
    [stop] = Watch(7).press("stop", role="post")
    assert isinstance(stop, AlertChange)
    assert told(stop, "pilot")
    assert told(stop, "observer")
    assert stop.callout == "Warning. Post. Calls stop. Stop now, hold position."


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.rule)
def test_words_keep_the_grammar_of_all_callouts(kind: object) -> None:
    assert isinstance(kind, type(KINDS["stop"]))
    for words in kind.words.values():
        assert [*wrongs(words, kind.level, own_words=True)] == []
        assert words in PHRASES
    assert f"Warning. {KINDS['stop'].words['observer']}" == sighting_words()[0]


def test_a_double_tap_is_one_press_and_later_it_is_said_again() -> None:
    watch = Watch(7)
    watch.press("people")
    watch.run(1.5)
    assert changes(watch.press("people")) == [(Change.REPEATED, False)]
    watch.run(0.5)
    assert changes(watch.press("people")) == [(Change.REPEATED, True)]
    assert watch.listed == [("sighted-people", State.UNACKNOWLEDGED)]


def test_somebody_who_leans_on_the_button_is_refused_while_it_is_said_again_anyway() -> None:
    watch = Watch(7)
    answers = []
    for _ in range(100):
        answers += watch.press("stop")
        answers += watch.run(0.5)
    spoken = [one for one in answers if isinstance(one, AlertChange) and one.spoken]
    taken = [one for one in answers if isinstance(one, AlertChange) and one.by == "observer"]
    assert len(taken) == MOST
    assert len(spoken) <= 3 + 5  # ten presses in five seconds, then every ten seconds by itself
    assert set(reasons(answers)) == {
        "pressed too often; it stands, and is said again until the pilot acknowledges"
    }
    assert changes(watch.press("people")) == [(Change.RAISED, True)]  # another thing is another button


def test_it_is_said_again_until_the_pilot_acknowledges_and_ends_by_itself() -> None:
    watch = Watch(7)
    watch.press("people")
    assert changes(watch.run(45)) == [(Change.REPEATED, True)] * 2
    assert changes(watch.acknowledge("sighted-people", role="post")) == [(Change.ACKNOWLEDGED, False)]
    assert changes(watch.run(20)) == [(Change.REPEATED, True)]  # the post's is not the pilot's
    assert changes(watch.acknowledge(None)) == [(Change.ACKNOWLEDGED, False)]
    assert changes(watch.run(54.5)) == []
    assert changes(watch.run(0.5)) == [(Change.CLEARED, False)]  # 120 s after it was pressed
    assert watch.listed == []


def test_a_stop_that_nobody_acknowledged_stays_listed_as_over() -> None:
    watch = Watch(7)
    watch.press("stop")
    watch.run(121)
    assert watch.listed == [("sighted-stop", State.RETURNED)]
    assert changes(watch.run(30)) == []
    assert changes(watch.press("stop")) == [(Change.RAISED, True)]
    watch.acknowledge("sighted-stop")
    watch.run(121)
    assert watch.listed == []


def test_seen_again_after_the_acknowledgement_it_is_told_anew() -> None:
    watch = Watch(7)
    watch.press("people")
    watch.acknowledge("sighted-people")
    watch.run(1)
    assert changes(watch.press("people")) == [(Change.REPEATED, False)]
    watch.run(1)
    assert changes(watch.press("people")) == [(Change.CLEARED, False), (Change.RAISED, True)]
    assert watch.listed == [("sighted-people", State.UNACKNOWLEDGED)]


def test_all_clear_ends_what_stands_and_is_said() -> None:
    watch = Watch(7)
    assert reasons(watch.press("clear")) == ["nothing seen that could be clear again"]
    watch.press("people")
    watch.press("traffic", None)
    happened = watch.press("clear")
    assert [one.rule for one in happened] == ["sighted-people", "sighted-traffic", "sighted-clear"]
    assert [one.callout for one in happened if isinstance(one, RoutineCall)] == ["Observer. All clear."]
    assert watch.listed == []


def test_of_several_aircraft_one_is_named_or_all_are_meant() -> None:
    watch = Watch(7, 8)
    [one] = watch.press("people", 8)
    assert isinstance(one, AlertChange)
    assert one.callout == "Aircraft 8. Caution. Observer. People entering. Hold, keep clear of them."
    [every] = watch.press("people", None)
    assert isinstance(every, AlertChange)
    assert (every.aircraft, every.callout) == (
        None,
        "Caution. Observer. People entering. Hold, keep clear of them.",
    )
    assert [one.aircraft for one in watch.press("clear", 8)] == [8, 8]
    assert watch.listed == [("sighted-people", State.UNACKNOWLEDGED)]


def test_what_cannot_be_is_refused() -> None:
    watch = Watch(7)
    assert reasons(watch.press("people", 9)) == ["no such aircraft"]
    assert reasons(watch.press("whale")) == ["no such sighting"]
    assert reasons(watch.press("people", role="pilot")) == ["observer and post tell the pilot what they see"]
    assert reasons(watch.acknowledge("sighted-people")) == ["no such alert"]
    watch.press("people")
    shelve = Order("shelve", "sighted-people", 7, "pilot", minutes=5)
    assert reasons(watch.engine.order(shelve, T0 + watch.second)) == [
        "a sighting is acknowledged, or ends by itself"
    ]


def test_an_aircraft_that_is_gone_takes_its_sightings_along() -> None:
    watch = Watch(7)
    watch.planes[0].landed, watch.planes[0].armed, watch.planes[0].height_m = 1, False, 0.0
    watch.run(10)
    watch.press("stop")
    watch.planes.clear()
    happened = watch.run(70)
    ends = [one for one in happened if isinstance(one, AlertChange) and one.change is Change.CLEARED]
    assert [one.reason for one in ends] == ["aircraft gone"]
    assert watch.listed == []


def test_no_rule_of_a_pack_takes_their_names() -> None:
    with pytest.raises(BadInputError, match="sighted-"):
        pack(rule('id: sighted-people\nlevel: caution\nwhen: wind.speed > high\nsay: "Wind. Strong. Land soon."'))
    assert set(SIGHTS) == {*KINDS, "clear"}


def spoken(rule: str, level: Level) -> AlertChange:
    return AlertChange(0, 0, 7, rule, level, Change.RAISED, State.UNACKNOWLEDGED, f"{rule}.", "", spoken=True)


@pytest.mark.parametrize(
    ("before", "rule", "level", "stops", "then"),
    [
        (Level.ADVISORY, "sighted-people", Level.CAUTION, True, []),
        (Level.CAUTION, "sighted-people", Level.CAUTION, True, ["before."]),
        (Level.WARNING, "sighted-people", Level.CAUTION, False, ["sighted-people."]),
        (Level.WARNING, "sighted-stop", Level.WARNING, True, ["before."]),
        (Level.CAUTION, "voltage-sag", Level.CAUTION, False, ["voltage-sag."]),
        (Level.WARNING, "return-now", Level.WARNING, False, ["return-now."]),
    ],
)
def test_it_cuts_off_its_own_level_and_what_was_worth_saying_is_said_again(
    before: Level, rule: str, level: Level, stops: bool, then: list[str]
) -> None:
    queue = CallQueue()
    queue.offer(spoken("before", before), 0)
    queue.take(0)
    assert queue.offer(spoken(rule, level), 1).stop is stops
    said = []
    if not stops:
        queue.finish(spoken=True)
    while (call := queue.take(2)[0]) is not None:
        said.append(call.words)
        queue.finish(spoken=True)
    assert said == ([f"{rule}.", *then] if stops else then)


def test_it_goes_first_of_those_that_wait_and_does_not_cut_off_another_sighting() -> None:
    queue = CallQueue()
    queue.offer(spoken("first", Level.WARNING), 0)
    queue.take(0)
    for name in ("battery", "sighted-people"):
        queue.offer(spoken(name, Level.CAUTION), 1)
    queue.finish(spoken=True)
    call, _ = queue.take(2)
    assert call is not None
    assert call.words == "sighted-people."
    assert not queue.offer(spoken("sighted-traffic", Level.CAUTION), 3).stop
