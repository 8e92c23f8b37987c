"""Parameters of the simulated aircraft, read and set by pymavlink's own messages.

Protocol: https://mavlink.io/en/services/parameter.html
"""

from __future__ import annotations

import math
import struct
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.wire.packing import Sender
from simulators.wire.parameters import Parameter, ParameterProtocol, ParameterSet
from tests.simulators.wire.plain_client import SYSTEM, PlainClient

DEFINITIONS = [
    Parameter("RETURN_HEIGHT", 40, 5, 120, unit="m", about="height of the way home"),
    Parameter("LOW_BATTERY_ACT", 1, 0, 3, integer=True),
    Parameter("CELL_FLOOR", 3.3, 2.9, 3.7, unit="V"),
    Parameter("SIXTEEN_LETTERS_", 0.1, 0, 0.1),
    Parameter("SERIAL", 77, 77, 77, integer=True, read_only=True),
]


def protocol(definitions: list[Parameter] | None = None) -> tuple[ParameterProtocol, list[tuple[str, float]]]:
    changes: list[tuple[str, float]] = []
    parameters = ParameterSet(definitions or DEFINITIONS, lambda name, value: changes.append((name, value)))
    return ParameterProtocol(Sender(SYSTEM, 1), parameters), changes


def ask(of: ParameterProtocol, message: str, *values: Any, at_s: float = 0.0) -> list[Any]:
    client = PlainClient()
    received = client.received(message, *values, at_s=at_s)
    return client.read(list(of.handlers[received.number](received)))


def set_value(of: ParameterProtocol, name: bytes, value: float, kind: int = 9) -> Any:
    [answer] = ask(of, "param_set", SYSTEM, 1, name, value, kind)
    return answer


def test_a_list_comes_whole_in_order_at_twenty_a_second() -> None:
    of, _ = protocol([Parameter(f"P{i}", i, 0, 1000) for i in range(70)])
    assert not of.pending(0.0)
    assert ask(of, "param_request_list", SYSTEM, 1, at_s=10.0) == []
    client = PlainClient()
    counts = []
    read = []
    for step in range(50 * 4):
        answers = client.read(of.pending(10 + step * 0.02))
        counts.append(len(answers))
        read.extend(answers)
    assert [one.param_id for one in read] == [f"P{i}" for i in range(70)]
    assert [one.param_value for one in read] == list(range(70))
    assert [one.param_index for one in read] == list(range(70))
    assert {one.param_count for one in read} == {70}
    assert counts[0] == 1
    assert max(counts) == 1
    assert sum(counts[:50]) == 20  # in the first second
    assert not of.listing


def test_a_second_request_begins_anew_and_does_not_raise_the_pace() -> None:
    of, _ = protocol([Parameter(f"P{i}", i, 0, 1000) for i in range(70)])
    client = PlainClient()
    ask(of, "param_request_list", SYSTEM, 1)
    for step in range(25):
        of.pending(step * 0.02)
    ask(of, "param_request_list", SYSTEM, 1, at_s=0.5)
    following = [one.param_index for step in range(25, 75) for one in client.read(of.pending(step * 0.02))]
    assert following[:3] == [0, 1, 2]
    sent = 0
    for step in range(50):
        ask(of, "param_request_list", SYSTEM, 1, at_s=1.5 + step * 0.02)
        sent += len(of.pending(1.5 + step * 0.02))
    assert sent == 20


def test_after_a_gap_no_more_comes_at_once_than_of_a_second() -> None:
    of, _ = protocol([Parameter(f"P{i}", i, 0, 1000) for i in range(70)])
    of.rate_hz = 5
    ask(of, "param_request_list", SYSTEM, 1)
    assert len(of.pending(100.0)) == 5
    assert not of.pending(100.0)


@pytest.mark.parametrize(
    ("name", "index", "found"),
    [
        (b"CELL_FLOOR", -1, "CELL_FLOOR"),
        (b"SIXTEEN_LETTERS_", -1, "SIXTEEN_LETTERS_"),
        (b"", 0, "RETURN_HEIGHT"),
        (b"CELL_FLOOR", 4, "SERIAL"),  # the index goes before the name
        (b"CELL", -1, None),
        (b"", 5, None),
        (b"", -2, None),
        (b"\xff\xfe", -1, None),
    ],
)
def test_one_is_read_by_name_or_index(name: bytes, index: int, found: str | None) -> None:
    of, _ = protocol()
    answers = ask(of, "param_request_read", SYSTEM, 1, name, index)
    assert [one.param_id for one in answers] == ([] if found is None else [found])
    assert of.unknown == (found is None)


def test_set_answers_with_what_stands_then_and_tells_the_aircraft() -> None:
    of, changes = protocol()
    answer = set_value(of, b"RETURN_HEIGHT", 55.5)
    assert (answer.param_value, answer.param_index, answer.param_count, answer.param_type) == (55.5, 0, 5, 9)
    answer = set_value(of, b"LOW_BATTERY_ACT", 3.0, 6)  # integers are C casts: three is sent as 3.0
    assert (answer.param_value, answer.param_type) == (3.0, 6)
    assert changes == [("RETURN_HEIGHT", 55.5), ("LOW_BATTERY_ACT", 3.0)]
    assert set_value(of, b"RETURN_HEIGHT", 55.5).param_value == 55.5
    assert len(changes) == 2
    assert of.parameters.get("RETURN_HEIGHT") == of.parameters["RETURN_HEIGHT"] == 55.5


@pytest.mark.parametrize(
    ("name", "value", "stands"),
    [
        (b"RETURN_HEIGHT", math.nan, 40),
        (b"RETURN_HEIGHT", math.inf, 40),
        (b"RETURN_HEIGHT", 120.1, 40),
        (b"RETURN_HEIGHT", 4.9, 40),
        (b"LOW_BATTERY_ACT", 1.5, 1),
        # 2 sent by its bytes instead of as a C cast: a number next to nothing, refused
        (b"LOW_BATTERY_ACT", struct.unpack("<f", struct.pack("<i", 2))[0], 1),
        (b"SERIAL", 77, 77),
        (b"SERIAL", 78, 77),
    ],
)
def test_what_may_not_be_is_answered_with_the_old_value(name: bytes, value: float, stands: float) -> None:
    of, changes = protocol()
    assert set_value(of, name, value).param_value == stands
    assert changes == []


def test_bounds_themselves_are_allowed_as_float32() -> None:
    of, _ = protocol()
    assert set_value(of, b"SIXTEEN_LETTERS_", 0.1).param_value == pytest.approx(0.1)
    assert of.parameters.set("CELL_FLOOR", 3.7)
    assert not of.parameters.set("CELL_FLOOR", 3.8)
    assert not of.parameters.set("CELL_FLOOR", 1e300)


def test_a_name_that_there_is_not_is_counted_and_not_answered() -> None:
    of, _ = protocol()
    assert ask(of, "param_set", SYSTEM, 1, b"NONE", 1.0, 9) == []
    assert of.unknown == 1
    with pytest.raises(KeyError):
        of.parameters.get("NONE")
    with pytest.raises(KeyError):
        of.parameters.set("NONE", 1)
    assert list(of.parameters) == [one.name for one in DEFINITIONS]
    assert "SERIAL" in of.parameters
    assert "NONE" not in of.parameters


@pytest.mark.parametrize(
    ("wrong", "what"),
    [
        ([Parameter("A", 1, 0, 2), Parameter("A", 1, 0, 2)], "twice"),
        ([Parameter("A" * 17, 1, 0, 2)], "sent"),
        ([Parameter("", 1, 0, 2)], "sent"),
        ([Parameter("É", 1, 0, 2)], "sent"),
        ([Parameter("A", 3, 0, 2)], "bounds"),
        ([Parameter("A", 0.5, 0, 2, integer=True)], "bounds"),
        ([Parameter("A", 0, 0, 2**25, integer=True)], "float32"),
    ],
)
def test_a_set_that_cannot_be_sent_is_refused(wrong: list[Parameter], what: str) -> None:
    with pytest.raises(ValueError, match=what):
        ParameterSet(wrong)


@settings(deadline=None)  # a loaded machine is no fault
@given(st.floats(width=32), st.sampled_from(range(5)))
def test_whatever_is_set_all_stay_within_their_bounds(value: float, at: int) -> None:
    of, _ = protocol()
    definition = DEFINITIONS[at]
    answer = set_value(of, definition.name.encode(), value)
    held = of.parameters[definition.name]
    assert answer.param_value == held
    assert definition.minimum - 1e-6 <= held <= definition.maximum + 1e-6
