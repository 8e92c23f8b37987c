"""One cause is called once: what every shipped rule does while the link, or the position, is lost.

"A lost link must not also call five stale readings": ISA-18.2's suppression by design.
"""

from __future__ import annotations

import pytest

from tests.recordings import shipped
from tests.test_engine import T0, Plane, fly
from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX, PHASE_GROUPS
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.alerts.book import AlertBook
from watchkeeper.alerts.events import AlertChange, Change, Happening, Level, RoutineCall
from watchkeeper.alerts.teller import Teller
from watchkeeper.engine import Engine
from watchkeeper.rules.schema import Rule

RULES = shipped()
INSTEAD = {"lost-height", "lost-time"}
"""What a crew is told in place of the way home while the position is not known."""
IN_FLIGHT = [rule for rule in RULES.rules if not rule.during.isdisjoint(PHASE_GROUPS["in_flight"])]
ALARMS = [rule for rule in IN_FLIGHT if rule.level is not Level.ROUTINE]


def reads(rule: Rule, *prefixes: str) -> bool:
    return any(CATALOGUE[i].name.startswith(prefixes) for i in rule.when.readings)


def belongs(rule: Rule) -> bool:
    """Whether a rule speaks through the silence: the link's own, those that forecast through it, and one more.

    Somebody else who comes near is heard by a receiver of the crew's own, and the pilot flies by sight.
    """
    return rule.pack == "link" or reads(rule, "link.age", "forecast.") or rule.id == "traffic-near"


@pytest.mark.parametrize("rule", [r for r in ALARMS if not belongs(r)], ids=lambda r: r.id)
def test_every_alarm_in_flight_is_suppressed_by_a_lost_link(rule: Rule) -> None:
    assert "link-lost" in rule.caused_by, f"{rule.id}: add 'caused_by: [link-lost]'"


@pytest.mark.parametrize("rule", [r for r in ALARMS if reads(r, "satellites.")], ids=lambda r: r.id)
def test_every_alarm_about_satellites_is_suppressed_by_a_lost_position(rule: Rule) -> None:
    assert rule.id == "position-lost" or "position-lost" in rule.caused_by, f"{rule.id}: add it to 'caused_by'"


def drive(rule: Rule) -> list[Happening]:
    """Lose the link in flight, then give a rule what its own case says makes it true; return what happened."""
    readings, teller = Readings(), Teller()
    teller.first_us = 0
    book = AlertBook(1, readings, RULES.rules, {}, teller, RULES.sterile)
    streams: dict[int, Stream] = {}

    def put(index: int, value: object, now_us: int) -> None:
        stream = streams.setdefault(index, Stream())
        stream.mark(now_us)
        readings.put(index, value, stream)
        book.judge_readings([index], now_us)

    case = next(case for case in rule.cases if case.shows_met)
    put(INDEX["flight.phase"], "airborne", 0)
    put(INDEX["link.interval"], 1.0, 0)
    for second in range(3):
        put(INDEX["link.age"], 0.0, second * 1_000_000)
    for tenth in range(20, 100):
        (book.sweep if tenth % 10 == 0 else book.grid)(tenth * 100_000)
    before = teller.take()
    assert [h.rule for h in before if isinstance(h, AlertChange) and h.change is Change.RAISED] == ["link-lost"]
    for tenth in range(100, 400):
        now_us = tenth * 100_000
        for index, points in case.given.items():
            value = next((v for t, v in reversed(points) if t * 10 <= tenth - 100), None)
            if tenth % 5 == 0 and index not in (INDEX["link.age"], INDEX["link.interval"], INDEX["flight.phase"]):
                put(index, value, now_us)
        (book.sweep if tenth % 10 == 0 else book.grid)(now_us)
    return [h for h in teller.take() if h.rule != "link-lost"]


@pytest.mark.parametrize("rule", [r for r in ALARMS if not belongs(r)], ids=lambda r: r.id)
def test_while_the_link_is_lost_it_neither_begins_nor_speaks(rule: Rule) -> None:
    happened = drive(rule)
    own = {h.rule for h in happened}
    assert not [h.rule for h in happened if isinstance(h, AlertChange) and (h.spoken or h.change is Change.RAISED)]
    assert rule.id in own or "airborne" not in rule.during, "the case did not even make it true"


def test_a_whole_aircraft_that_falls_silent_calls_the_link_and_nothing_else() -> None:
    engine, plane = Engine(RULES), Plane()
    fly(engine, [plane], 0, 60)
    happened = engine.tick(T0 + 360)
    told = [h for h in happened if isinstance(h, RoutineCall) or (isinstance(h, AlertChange) and h.spoken)]
    begun = [h.rule for h in happened if isinstance(h, AlertChange) and h.change is Change.RAISED]
    assert begun == ["link-lost"]
    assert {h.rule for h in told} == {"link-lost"}


def test_a_lost_position_is_called_once() -> None:
    engine, plane = Engine(RULES), Plane()
    fly(engine, [plane], 0, 60)
    plane.fix, plane.satellites, plane.hdop = 1, 2, 2000
    happened = fly(engine, [plane], 60, 180)
    begun = [h.rule for h in happened if isinstance(h, AlertChange) and h.change is Change.RAISED]
    spoken = {h.rule for h in happened if isinstance(h, AlertChange) and h.spoken}
    assert begun[0] == "position-lost"
    assert set(begun) == spoken <= {"position-lost", *INSTEAD}


def test_going_stale_is_never_spoken() -> None:
    engine, plane = Engine(RULES), Plane()
    plane.fix = 1
    happened = fly(engine, [plane], 0, 20)
    happened += engine.tick(T0 + 200)
    happened += fly(engine, [plane], 200, 230)
    changes = [h for h in happened if isinstance(h, AlertChange)]
    assert not [h.rule for h in changes if h.change is Change.STALE and h.spoken]
    assert "link-lost" in {h.rule for h in changes}
