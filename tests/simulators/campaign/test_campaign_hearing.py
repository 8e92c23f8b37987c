"""What a watch is taken to have said, and what one flight is judged to be."""

from __future__ import annotations

import math

import pytest

from simulators.campaign.borne_out import Moments
from simulators.campaign.judge import at_level, why_left_out
from tests.simulators.campaign.campaigning import NEVER, flown, heard

RAISED = ("raised", "cleared")


def several(rule: str, *times_s: float, level: str = "caution") -> list[tuple[float, str, str, str]]:
    """Return an alert raised and cleared in turn."""
    return [(at_s, rule, level, RAISED[i % 2]) for i, at_s in enumerate(times_s)]


def test_an_alert_lives_from_its_telling_to_its_clearing() -> None:
    told = heard(
        (5.0, "a", "caution", "raised"), (6.0, "b", "warning", "raised"), (9.0, "a", "caution", "cleared")
    )
    assert [(one.rule, one.level, one.told_s, one.cleared_s) for one in told.lives()] == [
        ("a", "caution", 5.0, 9.0), ("b", "warning", 6.0, math.inf),
    ]  # fmt: skip


def test_repeats_and_marks_are_no_new_alert() -> None:
    said = [
        (float(i), "a", "caution", change) for i, change in enumerate(("raised", "repeated", "stale", "fresh"))
    ]
    assert len(heard(*said).lives()) == 1


def test_what_is_suppressed_is_told_when_it_is_let_go() -> None:
    told = heard((5.0, "a", "caution", "suppressed"), (8.0, "a", "caution", "unsuppressed"))
    assert [one.told_s for one in told.lives()] == [8.0]
    never = heard((5.0, "a", "caution", "suppressed"), (8.0, "a", "caution", "cleared"))
    assert never.lives() == []
    again = heard(
        (2.0, "a", "caution", "raised"), (5.0, "a", "caution", "suppressed"), (8.0, "a", "caution", "unsuppressed")
    )
    assert [one.told_s for one in again.lives()] == [2.0]


def test_an_escalated_alert_is_one_of_the_higher_level() -> None:
    told = heard(
        (5.0, "a", "caution", "raised"), (9.0, "a", "warning", "escalated"), (12.0, "a", "warning", "cleared")
    )
    assert [(one.level, one.told_s, one.cleared_s) for one in told.lives()] == [
        ("caution", 5.0, 9.0), ("warning", 9.0, 12.0),
    ]  # fmt: skip


def test_the_first_of_some_rules_between_two_times() -> None:
    told = heard(*sorted([*several("a", 5.0, 6.0, 20.0), (12.0, "b", "warning", "raised")]))
    assert told.first(["a", "b"]) == 5.0
    assert told.first(["a", "b"], 5.1) == 12.0
    assert told.first(["a"], 5.0) == 5.0
    assert told.first(["a"], 5.1, 19.0) is None
    assert told.first(["c"]) is None
    assert told.first([]) is None


def test_an_alert_stands_until_it_clears() -> None:
    told = heard(*several("a", 5.0, 9.0))
    assert [told.stands(["a"], at_s) for at_s in (4.0, 5.0, 7.0, 9.0, 12.0)] == [False, False, True, False, False]
    assert not told.stands(["b"], 7.0)


def test_readings_are_by_the_second() -> None:
    told = heard(battery__charge_left=[None, 90.0, 89.0])
    name = "battery.charge_left"
    assert [told.reading(name, at_s) for at_s in (0.0, 1.0, 2.9, 3.0, -1.0)] == [None, 90.0, 89.0, None, None]
    assert told.reading("something.else", 1.0) is None


def test_a_fault_is_called_from_when_it_began() -> None:
    said = several("voltage-sag", 50.0, 60.0, 130.0)
    found = at_level(heard(*said), ["voltage-sag"], flown(fault_began_s=100.0), NEVER)
    assert (found.called_s, found.stood) == (130.0, False)
    standing = at_level(heard(said[0]), ["voltage-sag"], flown(fault_began_s=100.0), NEVER)
    assert (standing.called_s, standing.stood) == (None, True)
    none = at_level(heard(*said), ["voltage-sag"], flown(), NEVER)
    assert (none.called_s, none.stood) == (None, False)


def test_cautions_and_warnings_are_alerts() -> None:
    said = [(5.0, "a", "caution", "raised"), (6.0, "b", "warning", "raised"), (7.0, "c", "advisory", "raised")]
    assert at_level(heard(*said), (), flown(), NEVER).alerts == 2


def test_false_are_warnings_only_and_only_wrong_ones() -> None:
    said = [
        (20.0, "link-lost", "warning", "raised"),
        (20.0, "return-reserve", "caution", "raised"),
        (300.0, "return-now", "warning", "raised"),
        (305.0, "link-trend", "caution", "raised"),
        (309.0, "link-trend", "warning", "escalated"),
    ]
    found = at_level(heard(*said), (), flown(), Moments(320.0, 400.0))
    assert found.false_warnings == [("link-lost", 20.0), ("link-trend", 309.0)]


@pytest.mark.parametrize(
    ("times_s", "chatters"),
    [
        ((10.0, 30.0, 70.0), 1),  # in, out and in again within 60 s
        ((10.0, 30.0, 70.1), 0),
        ((10.0, 30.0), 0),
        ((10.0, 100.0, 110.0, 115.0), 1),
        ((10.0, 100.0, 190.0, 280.0), 0),
    ],
)
def test_chatter_is_three_transitions_in_a_minute(times_s: tuple[float, ...], chatters: int) -> None:
    """facts.md section 1: three alarm transitions or more of one alarm in 60 s, rolling."""
    assert at_level(heard(*several("a", *times_s)), (), flown(), NEVER).chatter == chatters


def test_each_rule_chatters_for_itself_and_once() -> None:
    said = several("a", 10.0, 12.0, 14.0, 16.0, 18.0) + several("b", 11.0, 13.0) + several("c", 20.0, 21.0, 22.0)
    assert at_level(heard(*sorted(said)), (), flown(), NEVER).chatter == 2


def test_errors_of_the_charge_are_taken_in_the_air_and_while_it_is_heard() -> None:
    """From 5 s after take-off at 10 s until the end, without what is unknown or silent."""
    truth = flown(end_s=24.0, charge_pct=[80.0] * 40, silences_s=[(16.0, 20.0)])
    column = [70.0] * 15 + [81.0, 82.0, None, 70.0, 70.0, 70.0, 70.0, 77.0, 76.0] + [70.0] * 10
    found = at_level(heard(battery__charge_left=column), (), truth, NEVER)
    assert found.charge_errors_pct == [1.0, 2.0, 3.0, 4.0]


@pytest.mark.parametrize(
    ("fault", "truth", "last_good_s", "why"),
    [
        (None, {}, 400.0, None),
        ("pack opens", {"fault_began_s": 100.0}, 400.0, None),
        ("satellites jammed", {"fault_began_s": 100.0}, 400.0, "another matter decides"),
        (None, {}, None, "never a good moment"),
        (None, {}, math.inf, "lands by itself"),
        ("motor weakens", {"fault_began_s": 401.0}, 400.0, "nobody could know"),
        ("antenna comes loose", {"fault_began_s": 100.0, "silences_s": [(350.0, 450.0)]}, 400.0, "no telemetry"),
        ("antenna comes loose", {"fault_began_s": 100.0, "silences_s": [(150.0, 250.0)]}, 400.0, None),
    ],
)
def test_some_flights_tell_nothing_of_the_reserve(
    fault: str | None, truth: dict[str, object], last_good_s: float | None, why: str | None
) -> None:
    assert why_left_out(fault, flown(**truth), last_good_s) == why
