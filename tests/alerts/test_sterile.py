"""The sterile phase: what waits, what does not, and that nothing is said late that is no longer true.

Its measures (first 5 m, last 10 m) are a crew's own; the term is that of 14 CFR 121.542.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.alerts.driver import Driver, rule
from tests.recordings import shipped
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.alerts.events import AlertChange
from watchkeeper.alerts.sterile import MOST_US, Sterile

NEAR = "position.height < 10 m and flight.phase == landing"
CAUTION = rule('id: windy\nlevel: caution\nwhen: wind.speed > high\nsay: "Wind. Strong. Turn back."')
WARNING = rule('id: late\nlevel: warning\nwhen: link.lag > 3 s\nsay: "Link. Late. Wait."')
CALL = 'id: call\nlevel: routine\nwhen: link.loss > 50 %\nsay: "Half is lost."'


def landing(*rules: str) -> Driver:
    drive = Driver(*rules, phase="landing", sterile=NEAR)
    drive.hold("link.loss", 0.0)
    drive.hold("position.height", 8.0)
    return drive


def test_a_caution_waits_listed_and_is_said_after_it_if_it_still_stands() -> None:
    drive = landing(CAUTION)
    drive.hold("wind.speed", 12.0)
    drive.run(5)
    assert [(a.rule, a.state.value) for a in drive.book.alerts()] == [("windy", "unacknowledged")]
    assert drive.spoken == []
    raised = next(h for h in drive.happenings if isinstance(h, AlertChange))
    assert raised.reason == "wind.speed > high (waits to be spoken: sterile phase)"
    drive.order("acknowledge")  # of all that was told: this was not
    drive.hold("position.height", 12.0)
    drive.run(6)
    assert drive.changes == [(0.0, "windy", "raised"), (5.1, "windy", "repeated")]
    assert drive.spoken == ["Caution. Wind. Strong. Turn back."]


def test_words_that_are_no_longer_true_are_never_said() -> None:
    drive = landing(CAUTION, rule(CALL))
    drive.hold("wind.speed", 12.0)
    drive.hold("link.loss", 60.0)
    drive.run(5)
    drive.hold("wind.speed", 1.0)
    drive.hold("link.loss", 0.0)
    drive.run(6)
    drive.once("flight.phase", "landed")
    drive.run(20)
    assert drive.spoken == []


def test_what_holds_is_said_when_it_is_over() -> None:
    drive = landing(CAUTION, rule(CALL))
    drive.hold("link.loss", 60.0)
    drive.run(5)
    drive.once("flight.phase", "landed")
    drive.run(6)
    assert drive.spoken == ["Half is lost."]


def test_warnings_and_what_belongs_to_the_phase_speak() -> None:
    drive = landing(WARNING, CAUTION + "    sterile: speaks\n", rule(CALL + "\nsterile: speaks"))
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    drive.hold("link.loss", 60.0)
    assert drive.spoken == ["Warning. Link. Late. Wait.", "Caution. Wind. Strong. Turn back.", "Half is lost."]


def test_a_warning_that_nobody_can_act_on_may_wait() -> None:
    drive = landing(WARNING + "    sterile: waits\n")
    drive.hold("link.lag", 5.0)
    drive.run(3)
    assert drive.spoken == []


def test_repetitions_wait_and_an_escalated_one_speaks() -> None:
    text = (
        "id: windy\nlevel: caution\nwhen: wind.speed > high\nrepeat: 5 s\n"
        'escalate: {after: 12 s, to: warning}\nsay: "Wind. Strong. Turn back."'
    )
    drive = Driver(rule(text), phase="landing", sterile=NEAR)
    drive.hold("position.height", 12.0)
    drive.hold("wind.speed", 12.0)
    drive.run(6)
    drive.hold("position.height", 8.0)
    drive.run(13)
    assert [(t, c) for t, _, c in drive.changes] == [(0, "raised"), (5, "repeated"), (12, "escalated")]


def test_what_cannot_be_judged_is_no_sterile_phase() -> None:
    drive = Driver(CAUTION, phase="landing", sterile=NEAR)
    drive.hold("wind.speed", 12.0)
    assert drive.spoken == ["Caution. Wind. Strong. Turn back."]


def test_it_is_bounded_so_that_a_low_hover_silences_nobody() -> None:
    drive = landing(CAUTION)
    drive.run(30)
    drive.hold("wind.speed", 12.0)
    drive.run(MOST_US / 1e6 + 2)
    assert drive.changes == [(30.0, "windy", "raised"), (61.0, "windy", "repeated")]  # first looked at after 1 s


@pytest.mark.parametrize(
    ("phase", "height", "climb", "speed", "sterile"),
    [
        ("taking_off", 4.9, 1.0, 0.5, True),
        ("taking_off", 5.1, 1.0, 0.5, False),
        ("airborne", 4.9, 1.0, 0.5, True),
        ("airborne", 8.0, 0.0, 0.5, False),  # work close to the ground
        ("airborne", 8.0, 1.0, 0.5, False),
        ("airborne", 9.9, -0.5, 0.5, True),  # a landing by hand has no phase of its own
        ("airborne", 10.1, -0.5, 0.5, False),
        ("returning", 9.9, -0.5, 0.5, True),
        ("landing", 9.9, 0.0, 0.5, True),
        ("landing", 10.1, -1.0, 0.5, False),
        ("armed", 0.0, 0.0, 0.5, False),
        ("landed", 0.0, 0.0, 0.5, False),
        ("landing", None, None, None, False),
        ("airborne", 9.9, -0.5, 8.0, False),  # sinks on its way over the ground: not a landing
    ],
)
def test_the_shipped_condition(
    phase: str, height: float | None, climb: float | None, speed: float | None, sterile: bool
) -> None:
    readings = Readings()
    stream = Stream()
    stream.mark(0)
    given: dict[str, Any] = {
        "flight.phase": phase,
        "position.height": height,
        "position.climb_rate": climb,
        "position.ground_speed": speed,
    }
    for name, value in given.items():
        readings.put(INDEX[name], value, stream)
    assert Sterile(shipped().sterile, readings).look(0) is sterile
