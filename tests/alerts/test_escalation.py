"""An alert that stands unacknowledged is raised to a higher level, in the sense of ISA-18.2's re-alarm.

OPC 10000-9 B.1.5, ReAlarmTime: what is still active after this time becomes unacknowledged again as if new.
"""

from __future__ import annotations

from tests.alerts.driver import Driver, rule
from watchkeeper.alerts.events import AlertChange, Level, State
from watchkeeper.casebook import run_case
from watchkeeper.rules.load import load_packs
from watchkeeper.rules.wording import callout_faults

WIND = (
    "id: wind\nlevel: caution\nwhen: wind.speed > high\nescalate: {after: 20 s, to: warning}\n"
    'say: "Wind. Strong. Turn back."'
)
RISING = rule(WIND)
CAUSE = rule('id: cause\nlevel: warning\nwhen: link.lag > 3 s\nsay: "Link. Late. Wait."')
LOUD = rule('id: loud\nlevel: warning\nwhen: link.lag > 3 s\nmutes: [wind]\nsay: "Link. Late. Wait."')


def wind(drive: Driver) -> list[tuple[float, str, str, str]]:
    return [
        (round(h.elapsed_us / 1e6, 3), h.change.value, h.level.value, h.state.value)
        for h in drive.happenings
        if isinstance(h, AlertChange) and h.rule == "wind"
    ]


def test_it_is_raised_once_told_anew_and_ends_listed_like_any_warning() -> None:
    drive = Driver(RISING)
    drive.run(0.5)  # so that the time is not one of the once-a-second looks
    drive.hold("wind.speed", 12.0)
    drive.run(60)
    drive.hold("wind.speed", 1.0)
    assert wind(drive) == [
        (0.5, "raised", "caution", "unacknowledged"),
        (20.5, "escalated", "warning", "unacknowledged"),
        (60.0, "cleared", "warning", "returned-unacknowledged"),
    ]
    assert drive.spoken == ["Caution. Wind. Strong. Turn back.", "Warning. Wind. Strong. Turn back."]


def test_it_comes_back_at_its_own_level_once_it_was_over() -> None:
    drive = Driver(RISING)
    drive.hold("wind.speed", 12.0)
    drive.run(21)
    drive.hold("wind.speed", 1.0)
    drive.hold("wind.speed", 12.0)  # still unacknowledged: a level never goes down while it waits
    assert wind(drive)[-1][1:] == ("raised", "warning", "unacknowledged")
    drive.order("acknowledge", "wind")
    drive.hold("wind.speed", 1.0)
    drive.hold("wind.speed", 12.0)
    assert wind(drive)[-1][1:] == ("raised", "caution", "unacknowledged")


def test_only_the_pilots_acknowledgement_keeps_it_down() -> None:
    for role, last in (("pilot", "acknowledged"), ("post", "escalated")):
        drive = Driver(RISING)
        drive.hold("wind.speed", 12.0)
        drive.run(10)
        drive.order("acknowledge", "wind", role=role)
        drive.run(60)
        assert wind(drive)[-1][1] == last


def test_an_acknowledgement_before_it_does_not_hold_after_it() -> None:
    drive = Driver(RISING)
    drive.hold("wind.speed", 12.0)
    drive.run(10)
    drive.order("acknowledge", "wind", role="post")
    drive.run(30)
    drive.order("acknowledge", "wind", role="post")  # of the new level
    assert [c for _, c, _, _ in wind(drive)] == ["raised", "acknowledged", "escalated", "acknowledged"]


def test_time_that_nobody_heard_does_not_count() -> None:
    # shelved from 10 s to 40 s; told at 40 s, raised 20 s (and a step of the grid) later
    drive = Driver(RISING)
    drive.hold("wind.speed", 12.0)
    drive.run(10)
    drive.order("shelve", "wind", minutes=0.5)
    drive.run(70)
    assert [(t, c) for t, c, _, _ in wind(drive)] == [
        (0, "raised"), (10, "shelved"), (40, "unshelved"), (60.1, "escalated"),
    ]  # fmt: skip
    # suppressed from 10 s to 40 s
    drive = Driver(CAUSE, rule(WIND + "\ncaused_by: [cause]"))
    drive.hold("wind.speed", 12.0)
    drive.run(10)
    drive.hold("link.lag", 5.0)
    drive.run(40)
    drive.hold("link.lag", 0.0)
    drive.run(70)
    assert [(t, c) for t, c, _, _ in wind(drive)] == [
        (0, "raised"), (10, "suppressed"), (40, "unsuppressed"), (60.1, "escalated"),
    ]  # fmt: skip
    # muted from the beginning to 40 s: told then
    drive = Driver(LOUD, RISING)
    drive.hold("link.lag", 5.0)
    drive.hold("wind.speed", 12.0)
    drive.run(40)
    drive.hold("link.lag", 0.0)
    drive.run(70)
    assert [(t, c) for t, c, _, _ in wind(drive)] == [(0, "raised"), (40, "repeated"), (60.1, "escalated")]


def test_what_cannot_be_seen_is_not_raised_until_it_is_seen_again() -> None:
    drive = Driver(rule(WIND.replace("20 s", "45 s")))
    drive.hold("wind.speed", 12.0)
    drive.run(10)
    drive.hold("wind.speed", None)
    drive.run(60)
    assert [c for _, c, _, _ in wind(drive)] == ["raised", "stale"]
    drive.hold("wind.speed", 12.0)
    drive.run(61)
    assert [c for _, c, _, _ in wind(drive)][2:] == ["fresh", "escalated"]


def test_what_is_about_to_be_over_is_not_raised() -> None:
    drive = Driver(rule(WIND + "\noff_delay: 10 s"))
    drive.hold("wind.speed", 12.0)
    drive.run(15)
    drive.hold("wind.speed", 1.0)
    drive.run(40)
    assert [c for _, c, _, _ in wind(drive)] == ["raised", "cleared"]


def test_latched_it_waits_for_its_reset_at_the_higher_level() -> None:
    drive = Driver(rule(WIND + "\nlatch: true"))
    drive.hold("wind.speed", 12.0)
    drive.run(21)
    drive.hold("wind.speed", 1.0)
    drive.run(60)
    drive.order("acknowledge", "wind")
    drive.order("reset", "wind")
    assert [(c, v, s) for _, c, v, s in wind(drive)][2:] == [
        ("cleared", "warning", "latched-unacknowledged"),
        ("acknowledged", "warning", "latched-acknowledged"),
        ("reset", "warning", "normal"),
    ]
    assert drive.book.rulings[0].alert.level is Level.CAUTION


def test_on_trial_it_is_noted_and_not_spoken() -> None:
    drive = Driver(rule(WIND + "\ntrial: true"))
    drive.hold("wind.speed", 12.0)
    drive.run(30)
    drive.hold("wind.speed", 1.0)
    assert [(t, c, s) for t, c, _, s in wind(drive)] == [
        (0, "raised", State.OUT_OF_SERVICE),
        (20, "escalated", State.OUT_OF_SERVICE),
        (30, "cleared", State.NORMAL),  # nobody could see to it, so it does not stay listed
    ]
    assert drive.spoken == []


PACK = """
pack: test
about: for tests
rules:
  - id: wind
    level: {level}
    when: wind.speed > 10 m/s
    escalate: {{after: 60 s, to: warning}}
    say: "{say}"
    why: common practice
    cases:
      - given: {{flight.phase: airborne, wind.speed: 12 m/s}}
        expect: [[0, raised], [60, escalated]]
      - given: {{flight.phase: airborne, wind.speed: 12 m/s}}
        expect: [[0, raised], [61, escalated]]
      - {{given: {{wind.speed: 1 m/s}}, expect: not met}}
"""


def test_cases_of_a_pack_can_show_it() -> None:
    text = PACK.format(level="caution", say="Wind. Strong. Turn back.")
    (one,) = load_packs([("test.yaml", text)]).rules
    assert [run_case(one, case) for case in one.cases] == [
        [],
        ["expected escalated at 61 s, was escalated at 60 s"],
        [],
    ]


def test_its_words_have_the_parts_of_the_level_it_is_raised_to() -> None:
    text = PACK.format(level="advisory", say="Wind. Strong.")
    (one,) = load_packs([("test.yaml", text)]).rules
    assert ["2 of 3 parts" in fault.what for fault in callout_faults(one)] == [True]
