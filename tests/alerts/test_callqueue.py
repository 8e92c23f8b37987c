"""The queue of callouts: order, cutting off, age, ends of alerts."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.alerts.callqueue import MOST_WAITING, CallQueue, Effect, Unspoken
from watchkeeper.alerts.events import AlertChange, Change, Happening, Level, Refusal, RoutineCall, State

S = 1_000_000


def alert(
    rule: str,
    level: Level = Level.CAUTION,
    change: Change = Change.RAISED,
    *,
    words: str | None = None,
    spoken: bool = True,
    state: State = State.UNACKNOWLEDGED,
    trial: bool = False,
    aircraft: int | None = 42,
    by: str | None = None,
    eyes: bool = False,
    acknowledged_by: tuple[str, ...] = (),
) -> AlertChange:
    callout = words or f"{level.value.capitalize()}. {rule}."
    return AlertChange(
        0, 0, aircraft, rule, level, change, state, callout, "",
        spoken=spoken, trial=trial, by=by, eyes=eyes, acknowledged_by=acknowledged_by,
    )  # fmt: skip


def routine(rule: str) -> RoutineCall:
    return RoutineCall(0, 0, 42, rule, f"{rule}.")


def outcomes(ended: Iterable[Unspoken]) -> list[tuple[str, str, str]]:
    return [(str(one.item.rule), one.outcome, one.detail) for one in ended]


def speak_all(queue: CallQueue, now_us: int = 0) -> list[str]:
    said: list[str] = []
    while (call := queue.take(now_us)[0]) is not None:
        said.append(call.item.rule)
        queue.finish(spoken=True)
    return said


def test_most_urgent_first_then_oldest() -> None:
    """Prioritised within and between levels (14 CFR 25.1322, facts.md section 2)."""
    queue = CallQueue()
    for item in (
        routine("r"), alert("a", Level.ADVISORY), alert("c1"), alert("w1", Level.WARNING), alert("c2"),
        alert("w2", Level.WARNING),
    ):  # fmt: skip
        assert queue.offer(item, 0) == Effect()
    assert speak_all(queue) == ["w1", "w2", "c1", "c2", "a", "r"]


def test_one_at_a_time() -> None:
    queue = CallQueue()
    queue.offer(alert("c1"), 0)
    queue.offer(alert("c2"), 0)
    first, _ = queue.take(0)
    assert first is not None
    assert queue.take(0) == (None, ())
    queue.finish(spoken=True)
    second, _ = queue.take(0)
    assert second is not None
    assert (first.item.rule, second.item.rule) == ("c1", "c2")


@pytest.mark.parametrize("low", [routine("low"), alert("low", Level.ADVISORY)])
def test_a_warning_cuts_off_what_is_lower(low: AlertChange | RoutineCall) -> None:
    queue = CallQueue()
    queue.offer(low, 0)
    queue.take(0)
    effect = queue.offer(alert("w", Level.WARNING), 1)
    assert effect.stop
    assert outcomes(effect.ended) == [("low", "cut off", "by a warning")]
    assert speak_all(queue, 1) == ["w"]


def test_a_caution_cut_off_is_said_from_its_beginning_while_it_is_true() -> None:
    """MIL-STD-411F 5.3.6: a message starts from the beginning each time (facts.md section 2)."""
    queue = CallQueue()
    queue.offer(alert("c"), 0)
    queue.take(0)
    assert queue.offer(alert("w", Level.WARNING), 1) == Effect(stop=True)
    assert speak_all(queue, 4 * S) == ["w", "c"]

    queue.offer(alert("c2"), 0)
    queue.take(0)
    queue.offer(alert("w2", Level.WARNING), 1)
    queue.take(1)
    queue.finish(spoken=True)
    call, ended = queue.take(16 * S)
    assert call is None
    assert outcomes(ended) == [("c2", "dropped", "too old to be true")]


def test_only_a_warning_cuts_off_and_never_another_warning() -> None:
    queue = CallQueue()
    queue.offer(alert("a", Level.ADVISORY), 0)
    queue.take(0)
    assert queue.offer(alert("c"), 0) == Effect()
    queue.finish(spoken=True)
    queue.offer(alert("w1", Level.WARNING), 0)
    queue.take(0)
    assert queue.offer(alert("w2", Level.WARNING), 0) == Effect()


def test_an_escalated_alert_cuts_off_its_own_lower_words_which_do_not_come_back() -> None:
    queue = CallQueue()
    queue.offer(alert("x", Level.CAUTION), 0)
    queue.take(0)
    effect = queue.offer(alert("x", Level.WARNING, Change.ESCALATED), 0)
    assert effect.stop
    assert outcomes(effect.ended) == [("x", "cut off", "by a warning")]
    assert speak_all(queue) == ["x"]


@pytest.mark.parametrize(
    ("item", "limit_s"),
    [(routine("x"), 10), (alert("x", Level.ADVISORY), 10), (alert("x", Level.CAUTION), 15)],
)
def test_what_is_too_old_to_be_true_is_dropped(item: AlertChange | RoutineCall, limit_s: int) -> None:
    in_time, late = CallQueue(), CallQueue()
    in_time.offer(item, 0)
    late.offer(item, 0)
    assert speak_all(in_time, limit_s * S) == ["x"]
    call, ended = late.take(limit_s * S + 1)
    assert call is None
    assert outcomes(ended) == [("x", "dropped", "too old to be true")]


def test_a_warning_waits_as_long_as_its_alert_stands() -> None:
    queue = CallQueue()
    queue.offer(alert("w", Level.WARNING), 0)
    assert speak_all(queue, 3600 * S) == ["w"]


def test_newer_words_take_the_place_of_older_ones() -> None:
    queue = CallQueue()
    queue.offer(alert("w1", Level.WARNING, words="Forty left."), 0)
    queue.offer(alert("w2", Level.WARNING), 0)
    effect = queue.offer(alert("w1", Level.WARNING, Change.REPEATED, words="Thirty left."), 5 * S)
    assert outcomes(effect.ended) == [("w1", "dropped", "newer words")]
    call, _ = queue.take(5 * S)
    assert call is not None
    assert call.words == "Thirty left."
    queue.finish(spoken=True)
    assert speak_all(queue, 5 * S) == ["w2"]


@pytest.mark.parametrize("change", [Change.CLEARED, Change.RESET, Change.SUPPRESSED, Change.SHELVED])
def test_an_ended_alert_leaves_the_voice_at_once(change: Change) -> None:
    """14 CFR 25.1322(a): an alert is removed when its condition ends (facts.md section 2)."""
    queue = CallQueue()
    queue.offer(alert("c1"), 0)
    queue.offer(alert("c2"), 0)
    queue.take(0)
    waiting = queue.offer(alert("c2", change=change, spoken=False, state=State.NORMAL), 0)
    assert [one[:2] for one in outcomes(waiting.ended)] == [("c2", "dropped")]
    assert not waiting.stop
    spoken = queue.offer(alert("c1", change=change, spoken=False, state=State.NORMAL), 0)
    assert [one[:2] for one in outcomes(spoken.ended)] == [("c1", "cut off")]
    assert spoken.stop
    assert speak_all(queue) == []


def test_an_acknowledgement_by_the_pilot_empties_the_queue_but_lets_the_sentence_end() -> None:
    queue = CallQueue()
    queue.offer(alert("c1"), 0)
    queue.offer(alert("c2"), 0)
    queue.take(0)
    for rule, expected in (("c1", []), ("c2", [("c2", "dropped", "acknowledged")])):
        done = alert(rule, change=Change.ACKNOWLEDGED, spoken=False, state=State.ACKNOWLEDGED, by="pilot")
        effect = queue.offer(done, 0)
        assert outcomes(effect.ended) == expected
        assert not effect.stop


def test_another_roles_acknowledgement_quiets_nothing() -> None:
    queue = CallQueue()
    queue.offer(alert("c"), 0)
    assert queue.offer(alert("c", change=Change.ACKNOWLEDGED, spoken=False), 0) == Effect()
    assert speak_all(queue) == ["c"]


def test_only_a_repeat_is_said_twice_unchanged() -> None:
    queue = CallQueue()
    queue.offer(alert("c"), 0)
    assert speak_all(queue) == ["c"]
    again = queue.offer(alert("c", change=Change.ESCALATED), 0)
    assert outcomes(again.ended) == [("c", "dropped", "said already")]
    queue.offer(alert("c", change=Change.REPEATED), 0)
    assert speak_all(queue) == ["c"]
    queue.offer(alert("c", change=Change.ESCALATED, words="Caution. Worse."), 0)
    assert speak_all(queue) == ["c"]


def test_words_are_new_again_after_the_alert_has_ended() -> None:
    queue = CallQueue()
    queue.offer(alert("c"), 0)
    assert speak_all(queue) == ["c"]
    queue.offer(alert("c", change=Change.CLEARED, spoken=False, state=State.NORMAL), 0)
    queue.offer(alert("c"), 0)
    assert speak_all(queue) == ["c"]


def test_a_repeat_of_words_that_are_being_said_is_dropped() -> None:
    queue = CallQueue()
    queue.offer(alert("c"), 0)
    queue.take(0)
    effect = queue.offer(alert("c", change=Change.REPEATED), 0)
    assert outcomes(effect.ended) == [("c", "dropped", "being said")]


def test_what_could_not_be_said_may_be_said_again() -> None:
    queue = CallQueue()
    queue.offer(alert("c"), 0)
    queue.take(0)
    queue.finish(spoken=False)
    assert queue.offer(alert("c"), 0) == Effect()
    assert speak_all(queue) == ["c"]


def test_a_routine_call_is_said_each_time() -> None:
    queue = CallQueue()
    for _ in range(2):
        queue.offer(routine("landing"), 0)
        assert speak_all(queue) == ["landing"]


def test_what_is_not_spoken_is_not_queued() -> None:
    queue = CallQueue()
    for item in (
        alert("a", spoken=False), alert("b", trial=True), Refusal(0, 0, 42, "c", "shelve", "no"),
        AlertChange(0, 0, 42, "d", Level.WARNING, Change.RAISED, State.UNACKNOWLEDGED, None, "", spoken=True),
    ):  # fmt: skip
        assert queue.offer(item, 0) == Effect()
    assert queue.take(0) == (None, ())


def test_the_same_rule_of_two_aircraft_is_two_alerts() -> None:
    queue = CallQueue()
    queue.offer(alert("c", aircraft=1), 0)
    queue.offer(alert("c", aircraft=2), 0)
    assert speak_all(queue) == ["c", "c"]


def test_too_many_drop_the_least_urgent_oldest() -> None:
    queue = CallQueue()
    queue.offer(alert("a1", Level.ADVISORY), 0)
    queue.offer(alert("a2", Level.ADVISORY), 0)
    for n in range(MOST_WAITING - 2):
        assert queue.offer(alert(f"c{n}"), 0) == Effect()
    for expected in ("a1", "a2", "c0"):
        effect = queue.offer(alert(f"w{expected}", Level.WARNING), 0)
        assert outcomes(effect.ended) == [(expected, "dropped", "too many callouts")]
    assert len(queue) == MOST_WAITING


def test_the_end_of_the_watch_ends_every_callout() -> None:
    queue = CallQueue()
    queue.offer(alert("c1"), 0)
    queue.offer(alert("c2"), 0)
    queue.take(0)
    assert sorted(outcomes(queue.clear("end"))) == [("c1", "cut off", "end"), ("c2", "dropped", "end")]
    assert queue.clear("end") == ()


RULES = st.sampled_from([f"r{n}" for n in range(40)])
ENDS = {Change.CLEARED, Change.RESET, Change.SUPPRESSED, Change.SHELVED}
ITEMS = st.one_of(
    st.builds(routine, RULES),
    st.builds(alert, RULES, st.sampled_from(Level), st.sampled_from([one for one in Change if one not in ENDS])),
    st.builds(alert, RULES, st.sampled_from(Level), st.sampled_from(Change), spoken=st.just(False)),
)


@given(st.lists(st.one_of(ITEMS, st.sampled_from(["take", "spoken", "failed"])), max_size=120))
def test_every_callout_ends_exactly_once_and_the_queue_is_bounded(steps: list[Happening | str]) -> None:
    queue = CallQueue()
    ends: list[int] = []
    items: list[Happening] = []
    for now, step in enumerate(steps):
        if isinstance(step, str):
            if step == "take":
                ends.extend(id(one.item) for one in queue.take(now * S)[1])
            elif queue.speaking is not None:
                ends.append(id(queue.speaking.item))
                queue.finish(spoken=step == "spoken")
            continue
        if isinstance(step, RoutineCall) or (isinstance(step, AlertChange) and step.spoken):
            items.append(step)
        effect = queue.offer(step, now * S)
        ends.extend(id(one.item) for one in effect.ended)
        assert len(queue) <= MOST_WAITING
    ends.extend(id(one.item) for one in queue.clear("end"))
    assert sorted(ends) == sorted(id(item) for item in items)
