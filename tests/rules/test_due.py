"""When time alone can turn a condition: at that moment, found by trying every tenth of a second, not before."""

from __future__ import annotations

import pytest

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.rules.condition import NEVER_US, View
from watchkeeper.rules.expression import compile_condition
from watchkeeper.rules.verdict import Verdict

START_US = 1_000_000_000
STEP_US = 100_000


def seen(text: str, **readings: float | str) -> tuple[View, int]:
    """Return a view at START_US of readings that came then, and when the condition is due."""
    condition = compile_condition(text, {})
    held = Readings()
    stream = Stream()
    stream.mark(START_US)
    for name, value in readings.items():
        held.put(INDEX[name.replace("__", ".")], value, stream)
    view = View(held, START_US, condition.new_windows())
    condition.evaluate(view)
    return view, condition.due(view)


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("link.age > 5 s", {"link__age": 0.0}),
        ("link.age >= 5 s and position.height > 3 m", {"link__age": 1.3, "position__height": 9.0}),
        ("age(position.height) > 2 s", {"position__height": 4.0}),
        ("return.turn_back_in < 60 s", {"return__turn_back_in": 61.25}),
        ("not (return.turn_back_in - 10 s > 30 s)", {"return__turn_back_in": 41.0}),
        ("link.age > 90 s or return.turn_back_in < 0 s", {"link__age": 0.0, "return__turn_back_in": 0.7}),
        ("5 s < link.age", {"link__age": 0.0}),
    ],
)
def test_nothing_turns_before_it_is_due_and_it_is_due_no_more_than_a_step_early(
    text: str, readings: dict[str, float]
) -> None:
    view, due_us = seen(text, **readings)
    condition = compile_condition(text, {})
    first = condition.evaluate(view)

    def at(now_us: int) -> Verdict:
        return condition.evaluate(View(view.readings, now_us, view.windows))

    steps = range(START_US, START_US + 200_000_000, STEP_US)
    turned_us = next(now_us for now_us in steps if at(now_us) is not first)
    assert turned_us - STEP_US - 2 <= due_us <= turned_us


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("position.height > 3 m", {"position__height": 2.0}),
        ("link.age < 5 s", {"link__age": 9.0}),
        ("link.age > 5 s", {}),
        ("flight.phase == landed", {"flight__phase": "landed"}),
    ],
)
def test_what_time_alone_never_turns_is_never_due(text: str, readings: dict[str, float | str]) -> None:
    assert seen(text, **readings)[1] == NEVER_US


@pytest.mark.parametrize(
    "text",
    ["average(position.height, 10 s) > 3 m", "lasting(position.height > 3 m, 5 s)", "link.age * 2 > 9 s"],
)
def test_where_nobody_can_say_any_moment_is(text: str) -> None:
    assert seen(text, position__height=2.0, link__age=0.0)[1] <= START_US
