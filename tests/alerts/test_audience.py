"""Who is told what by voice: pilot all, observer what is urgent and what eyes help with, post nothing."""

from __future__ import annotations

import pytest

from tests.alerts.test_callqueue import alert, outcomes, routine, speak_all
from tests.recordings import shipped
from watchkeeper.alerts.audience import called_role, told
from watchkeeper.alerts.callqueue import NOT_FOR_THEM, CallQueue, Effect
from watchkeeper.alerts.events import Change, Happening, Level, Preparation, Refusal, RoutineCall, State, Step

EXERCISE = RoutineCall(0, 0, None, "exercise", "Exercise, exercise, exercise.")
LANDING = RoutineCall(0, 0, 42, "landing-call", "Landing. Clear the ground.", eyes=True)


@pytest.mark.parametrize(
    ("item", "pilot", "observer"),
    [
        (alert("w", Level.WARNING), True, True),
        (alert("c"), True, False),
        (alert("c", eyes=True), True, True),
        (alert("a", Level.ADVISORY, eyes=True), True, True),
        (alert("c", eyes=True, acknowledged_by=("observer",)), True, False),
        (alert("w", Level.WARNING, acknowledged_by=("observer", "post")), True, False),
        (alert("w", Level.WARNING, acknowledged_by=("pilot",)), False, True),
        (alert("watch-mqtt", aircraft=None), True, False),
        (routine("charge-call"), True, False),
        (LANDING, True, True),
        (EXERCISE, True, True),
        (routine("watch-test-pilot"), True, False),
        (routine("watch-test-observer"), True, True),
        (routine("watch-test-post"), False, False),
        (Refusal(0, 0, 42, None, "confirm", "no"), False, False),
        (Preparation(0, 0, 42, Step.CONFIRMED, "post", "post"), False, False),
    ],
)
def test_who_is_told(item: Happening, pilot: bool, observer: bool) -> None:
    assert [told(item, role) for role in ("pilot", "observer", "post", "")] == [pilot, observer, False, False]


def test_whom_a_test_call_is_for() -> None:
    assert called_role(routine("watch-test-observer")) == "observer"
    assert called_role(routine("armed-call")) is None
    assert called_role(alert("watch-test-observer")) is None


def test_the_observers_voice_is_quieted_by_the_observer_alone() -> None:
    queue = CallQueue("observer")
    queue.offer(alert("w", Level.WARNING), 0)
    by_pilot = alert("w", Level.WARNING, Change.ACKNOWLEDGED, spoken=False, state=State.ACKNOWLEDGED, by="pilot")
    assert queue.offer(by_pilot, 0) == Effect()
    own = alert(
        "w", Level.WARNING, Change.ACKNOWLEDGED, spoken=False, by="observer", acknowledged_by=("observer",)
    )
    assert outcomes(queue.offer(own, 0).ended) == [("w", "dropped", "acknowledged")]
    again = queue.offer(alert("w", Level.WARNING, Change.REPEATED, acknowledged_by=("observer",)), 0)
    assert outcomes(again.ended) == [("w", "dropped", NOT_FOR_THEM)]
    queue.offer(alert("w", Level.WARNING, Change.RAISED, words="Warning. Anew."), 0)
    assert speak_all(queue) == ["w"]


def test_what_is_not_for_a_role_is_dropped_but_what_ends_still_ends() -> None:
    queue = CallQueue("observer")
    assert outcomes(queue.offer(alert("c"), 0).ended) == [("c", "dropped", NOT_FOR_THEM)]
    assert outcomes(queue.offer(routine("charge-call"), 0).ended) == [("charge-call", "dropped", NOT_FOR_THEM)]
    queue.offer(alert("e", eyes=True), 0)
    over = alert("e", change=Change.CLEARED, spoken=False, state=State.NORMAL)  # no word of eyes: still an end
    assert outcomes(queue.offer(over, 0).ended) == [("e", "dropped", "alert over")]


def test_eyes_help_with_what_can_be_seen_and_not_with_numbers() -> None:
    """Which rules: common practice of a crew with an observer, from memory."""
    rules = {rule.id: rule for rule in shipped().rules}
    for seen in (
        "traffic-converges",
        "people-below",
        "upset",
        "motor-stopped",
        "position-lost",
        "return-not-closing",
    ):
        assert rules[seen].eyes, seen
    for number in (
        "battery-low",
        "link-trend",
        "return-reserve",
        "satellites-few",
        "gauge-disagrees",
        "wind-call",
    ):
        assert not rules[number].eyes, number
