"""Acknowledging, shelving, latching, suppression, muting, routine calls."""

from __future__ import annotations

from tests.alerts.driver import Driver, rule
from watchkeeper.alerts.events import AlertChange, State
from watchkeeper.alerts.orders import MAX_SHELVE_MIN

CAUSE = rule('id: cause\nlevel: warning\nwhen: link.lag > 3 s\nsay: "Link. Late. Wait."')
EFFECT = rule(
    'id: effect\nlevel: caution\nwhen: wind.speed > high\ncaused_by: [cause]\nsay: "Wind. Strong. Turn back."'
)


def _states(drive: Driver, rule_id: str) -> list[State]:
    return [h.state for h in drive.happenings if isinstance(h, AlertChange) and h.rule == rule_id]


def test_an_effect_is_suppressed_while_its_cause_stands() -> None:
    drive = Driver(EFFECT, CAUSE)  # the effect is written first: causes are judged first all the same
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    drive.run(4)
    drive.hold("link.lag", 0.0)
    drive.run(8)
    assert drive.changes == [
        (0.0, "cause", "raised"),
        (0.0, "effect", "suppressed"),
        (4.0, "cause", "cleared"),
        (4.0, "effect", "unsuppressed"),
    ]
    assert drive.spoken == ["Warning. Link. Late. Wait.", "Caution. Wind. Strong. Turn back."]
    assert _states(drive, "effect") == [State.SUPPRESSED, State.UNACKNOWLEDGED]


def test_an_alert_that_stands_is_suppressed_when_its_cause_comes() -> None:
    drive = Driver(CAUSE, EFFECT)
    drive.hold("wind.speed", 12.0)
    drive.run(2)
    drive.hold("link.lag", 5.0)
    drive.run(3)
    drive.hold("wind.speed", 1.0)
    drive.run(5)
    assert [(r, c) for _, r, c in drive.changes] == [
        ("effect", "raised"),
        ("cause", "raised"),
        ("effect", "suppressed"),
        ("effect", "cleared"),
    ]


def test_shelving_is_timed_and_bounded() -> None:
    # OPC 10000-9 5.8.17: a timed shelf returns by itself; a time above the maximum is refused
    drive = Driver(EFFECT, CAUSE)
    drive.hold("wind.speed", 12.0)
    drive.run(1)
    drive.order("shelve", "effect", minutes=MAX_SHELVE_MIN + 1)
    drive.order("shelve", "effect", minutes=0.5)
    drive.run(40)
    assert [(t, c) for t, _, c in drive.changes] == [
        (0.0, "raised"),
        (1.0, "refused"),
        (1.0, "shelved"),
        (31.0, "unshelved"),
    ]
    assert _states(drive, "effect")[1:] == [State.SHELVED, State.UNACKNOWLEDGED]


def test_no_warning_is_shelved_from_afar_in_flight() -> None:
    drive = Driver(CAUSE)
    drive.hold("link.lag", 5.0)
    drive.order("shelve", "cause", minutes=1, afar=True)
    drive.order("shelve", "cause", minutes=1, role="post")
    assert [c for _, _, c in drive.changes] == ["raised", "refused", "refused"]
    drive.once("flight.phase", "landed")
    drive.order("shelve", "cause", minutes=1, afar=True)
    assert drive.changes[-1][2] == "shelved"


def test_a_latched_alert_waits_for_its_reset() -> None:
    drive = Driver(
        rule('id: latched\nlevel: caution\nwhen: wind.speed > high\nlatch: true\nsay: "Wind. Was strong. Look."')
    )
    drive.hold("wind.speed", 12.0)
    drive.run(1)
    drive.hold("wind.speed", 1.0)
    drive.run(2)
    drive.order("reset", "latched")
    drive.order("acknowledge", "latched")
    drive.order("reset", "latched")
    assert [c for _, _, c in drive.changes] == ["raised", "cleared", "refused", "acknowledged", "reset"]
    assert drive.book.alerts() == []


def test_an_unacknowledged_warning_stays_listed_as_over() -> None:
    drive = Driver(CAUSE, EFFECT)
    drive.hold("link.lag", 5.0)
    drive.run(1)
    drive.hold("link.lag", 0.0)
    drive.run(2)
    assert [alert.state for alert in drive.book.alerts()] == [State.RETURNED]
    drive.order("acknowledge")
    assert drive.book.alerts() == []


def test_what_is_not_there_cannot_be_acknowledged() -> None:
    drive = Driver(CAUSE)
    drive.order("acknowledge", "cause")
    drive.order("acknowledge", "nonsense")
    assert [c for _, _, c in drive.changes] == ["refused", "refused"]


def test_mutes_keeps_the_other_off_the_voice_but_on_the_list() -> None:
    loud = rule('id: loud\nlevel: warning\nwhen: link.lag > 3 s\nmutes: [quiet]\nsay: "Link. Late. Wait."')
    quiet = rule(
        'id: quiet\nlevel: caution\nwhen: wind.speed > high\nrepeat: 5 s\nsay: "Wind. Strong. Turn back."'
    )
    drive = Driver(loud, quiet)
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    drive.run(12)
    assert drive.spoken == ["Warning. Link. Late. Wait."]
    assert [alert.rule for alert in drive.book.alerts()] == ["loud", "quiet"]


def test_a_trial_records_and_does_not_speak() -> None:
    drive = Driver(
        rule(
            'id: new\nlevel: warning\nwhen: wind.speed > high\ntrial: true\nrepeat: 5 s\nsay: "Wind. High. Land."'
        )
    )
    drive.hold("wind.speed", 12.0)
    drive.run(12)
    assert [c for _, _, c in drive.changes] == ["raised"]
    assert drive.spoken == []


def test_a_routine_call_speaks_when_something_happens_not_when_it_is_so() -> None:
    drive = Driver(rule('id: windy\nlevel: routine\nwhen: wind.speed > high\nsay: "Wind picks up."'))
    drive.hold("wind.speed", 12.0)
    drive.run(2)
    drive.hold("wind.speed", 5.0)
    drive.run(4)
    drive.hold("wind.speed", 12.0)
    drive.run(8)
    assert drive.changes == [(4.0, "windy", "spoken")]
