"""What a condition lacks: nothing, where it asks whether a reading is known before it looks at it (design, 6)."""

from __future__ import annotations

import pytest

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.rules.condition import View
from watchkeeper.rules.expression import compile_condition


@pytest.mark.parametrize(
    ("text", "lacks"),
    [
        ("fence.breach == boundary", {"fence.breach"}),
        ("known(fence.breach) and fence.breach == boundary", set()),
        ("known(fence.breach) and (fence.breach == too_low or fence.breach == too_high)", set()),
        ("known(fence.breach) and fence.breach == boundary or position.height > 5 m", {"position.height"}),
        ("known(fence.breach) or fence.breach == boundary", {"fence.breach"}),
        ("known(position.height) and link.margin > 5 dB and position.height > 5 m", set()),
        ("not known(fence.breach) and position.height > 5 m", {"position.height"}),
    ],
)
def test_a_guarded_part_lacks_nothing(text: str, lacks: set[str]) -> None:
    condition = compile_condition(text, {})
    view = View(Readings(), 1_000_000, condition.new_windows())
    assert {name for name, index in INDEX.items() if index in condition.missing(view)} == lacks


def test_with_its_reading_known_the_rest_is_lacking() -> None:
    condition = compile_condition("known(position.height) and position.ground_speed > 5 m/s", {})
    readings, stream = Readings(), Stream()
    stream.mark(1_000_000)
    readings.put(INDEX["position.height"], 10.0, stream)
    view = View(readings, 1_000_000, condition.new_windows())
    assert condition.missing(view) == (INDEX["position.ground_speed"],)
