"""Silences that must not be: what is suppressed, muted, shelved, stale or on trial still gets told."""

from __future__ import annotations

from tests.alerts.driver import Driver, rule
from watchkeeper.alerts.events import AlertChange

CAUSE = rule('id: cause\nlevel: warning\nwhen: link.lag > 3 s\nsay: "Link. Late. Wait."')
EFFECT = rule(
    'id: effect\nlevel: caution\nwhen: wind.speed > high\ncaused_by: [cause]\nsay: "Wind. Strong. Turn back."'
)
LOUD = rule('id: loud\nlevel: warning\nwhen: link.lag > 3 s\nmutes: [quiet]\nsay: "Link. Late. Wait."')
QUIET = rule('id: quiet\nlevel: caution\nwhen: wind.speed > high\nsay: "Wind. Strong. Turn back."')


def words(drive: Driver) -> list[tuple[str, str]]:
    return [(rule_id, change) for _, rule_id, change in drive.changes]


def test_a_cause_that_is_itself_no_longer_seen_suppresses_nothing() -> None:
    drive = Driver(CAUSE, EFFECT)
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    drive.run(2)
    drive.hold("link.lag", None)  # its reading ends: the alert goes stale
    drive.run(40)
    assert ("cause", "stale") in words(drive)
    assert words(drive)[-1] == ("effect", "unsuppressed")
    assert drive.spoken[-1] == "Caution. Wind. Strong. Turn back."


def test_a_trial_neither_suppresses_nor_mutes() -> None:
    trial = rule(
        'id: cause\nlevel: caution\nwhen: link.lag > 3 s\ntrial: true\nmutes: [effect]\nsay: "Link. Late. Wait."'
    )
    drive = Driver(trial, EFFECT)
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    assert words(drive) == [("cause", "raised"), ("effect", "raised")]
    assert drive.spoken == ["Caution. Wind. Strong. Turn back."]


def test_acknowledging_all_leaves_what_was_never_told() -> None:
    drive = Driver(CAUSE, EFFECT)
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    drive.run(1)
    drive.order("acknowledge")
    drive.hold("link.lag", 0.0)
    drive.run(3)
    assert words(drive) == [
        ("cause", "raised"),
        ("effect", "suppressed"),
        ("cause", "acknowledged"),
        ("cause", "cleared"),
        ("effect", "unsuppressed"),
    ]
    assert drive.spoken[-1] == "Caution. Wind. Strong. Turn back."


def test_a_shelved_alert_mutes_nothing() -> None:
    drive = Driver(LOUD, QUIET)
    drive.hold("link.lag", 5.0)
    drive.run(1)
    drive.order("shelve", "loud", minutes=5)
    drive.hold("wind.speed", 12.0)
    assert drive.spoken[-1] == "Caution. Wind. Strong. Turn back."


def test_what_was_muted_is_said_when_the_louder_one_ends() -> None:
    drive = Driver(QUIET, LOUD)
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    drive.run(1)
    assert drive.spoken == ["Warning. Link. Late. Wait."]
    drive.hold("link.lag", 0.0)
    assert drive.spoken[1:] == ["Caution. Wind. Strong. Turn back."]


def test_the_muting_one_comes_first_when_both_come_at_once() -> None:
    both = [text.replace("link.lag > 3 s", "wind.speed > high") for text in (QUIET, LOUD)]
    drive = Driver(*both)
    drive.hold("wind.speed", 12.0)
    assert drive.spoken == ["Warning. Link. Late. Wait."]


def test_a_told_warning_that_ends_while_suppressed_stays_listed_as_over() -> None:
    effect = EFFECT.replace("level: caution", "level: warning")
    drive = Driver(CAUSE, effect)
    drive.hold("wind.speed", 12.0)
    drive.run(1)
    drive.hold("link.lag", 5.0)
    drive.run(2)
    drive.hold("wind.speed", 1.0)
    drive.run(3)
    assert [(a.rule, a.state.value) for a in drive.book.alerts()] == [
        ("effect", "returned-unacknowledged"),
        ("cause", "unacknowledged"),
    ]


def test_absence_raises_in_spite_of_a_delay() -> None:
    # the delay must not wait for a sample of what does not come
    for when in ("age(wind.speed) > 5 s", "not known(wind.speed)"):
        drive = Driver(
            rule(f'id: gone\nlevel: caution\nwhen: {when}\non_delay: 2 s\nsay: "Wind. Not known. Look."')
        )
        drive.hold("wind.speed", 3.0)
        drive.run(1)
        drive.hold("wind.speed", None)
        drive.run(120)
        assert ("gone", "raised") in words(drive), when


def test_nothing_begins_that_would_end_at_once() -> None:
    odd = rule("""
id: odd
level: caution
when: wind.speed > high
clear: link.lag < 1 s
say: "Wind. Strong. Turn back."
""")
    drive = Driver(odd)
    drive.hold("link.lag", 0.0)
    drive.hold("wind.speed", 12.0)
    drive.run(10)
    assert drive.changes == []


def test_a_warning_shelved_from_afar_comes_off_the_shelf_at_take_off() -> None:
    drive = Driver(CAUSE, phase="on_ground")
    drive.order("shelve", "cause", minutes=20, afar=True, role="post")
    drive.hold("link.lag", 5.0)
    drive.run(2)
    drive.once("flight.phase", "armed")
    assert words(drive)[-1] == ("cause", "unshelved")
    assert drive.spoken == ["Warning. Link. Late. Wait."]


def test_one_sample_of_a_running_reading_is_one_sample() -> None:
    soon = rule("""
id: soon
level: caution
when: return.turn_back_in < 60 s
on_delay: 2 s
say: "Return. Soon. Turn back."
""")
    drive = Driver(soon)
    drive.once("return.turn_back_in", 20.0)
    drive.run(3)
    assert drive.changes == []
    drive.hold("return.turn_back_in", 20.0)
    drive.run(6)
    assert words(drive) == [("soon", "raised")]


def test_a_stale_effect_is_told_with_its_value_once_it_is_seen() -> None:
    valued = EFFECT.replace('"Wind. Strong. Turn back."', '"Wind. {wind.speed:.0}. Turn back."')
    drive = Driver(CAUSE, valued)
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    drive.run(1)
    drive.hold("wind.speed", None)
    drive.run(30)
    drive.hold("link.lag", 0.0)
    drive.run(32)
    assert "unknown" not in " ".join(drive.spoken)
    drive.hold("wind.speed", 14.0)
    drive.run(33)
    spoken = [h for h in drive.happenings if isinstance(h, AlertChange) and h.rule == "effect" and h.spoken]
    assert [h.callout for h in spoken] == ["Caution. Wind. 14. Turn back."]


SLOW = EFFECT.replace("caused_by: [cause]", "off_delay: 5 s\n    caused_by: [cause]")


def test_what_is_already_over_when_its_cause_ends_is_not_told() -> None:
    drive = Driver(CAUSE, SLOW)
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    drive.run(2)
    drive.hold("wind.speed", 8.0)
    drive.run(3)
    drive.hold("link.lag", 0.0)  # within the off-delay of what it suppressed
    drive.run(12)
    assert words(drive) == [
        ("cause", "raised"),
        ("effect", "suppressed"),
        ("cause", "cleared"),
        ("effect", "cleared"),
    ]
    assert len(drive.spoken) == 1


def test_what_comes_back_within_its_off_delay_is_told_then() -> None:
    drive = Driver(CAUSE, SLOW)
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    drive.run(2)
    drive.hold("wind.speed", 8.0)
    drive.run(3)
    drive.hold("link.lag", 0.0)
    drive.run(4)
    assert words(drive)[-1] == ("cause", "cleared")
    drive.hold("wind.speed", 12.0)
    drive.run(5)
    assert words(drive)[-1] == ("effect", "unsuppressed")
    assert drive.spoken[-1] == "Caution. Wind. Strong. Turn back."
