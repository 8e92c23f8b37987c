"""What a suite keeps and takes up again, whatever its parts or a file do."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.estimate.test_suite import NOON_US, Subject
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Stream
from watchkeeper.estimate.learning import MAX_DEPTH, MAX_TEXT, MAX_VALUES, MAX_WHOLE, plain
from watchkeeper.estimate.part import Part
from watchkeeper.estimate.suite import EstimateSuite


class Sum:
    """Writes a reading, and keeps its value."""

    def __init__(self, name: str) -> None:
        self.stream = Stream()
        self.indexes = (INDEX[name],)
        self.value: Any = 0.0

    def run(self, _now_us: int) -> tuple[float]:
        return (self.value,)


class Good(Sum):
    def learned(self) -> Mapping[str, Any]:
        return {"value": self.value}

    def resume(self, kept: Mapping[str, Any]) -> None:
        self.value = kept["value"]


class Choosy(Good):
    def resume(self, kept: Mapping[str, Any]) -> None:
        self.value = kept["value"]  # half changed, when it sees
        raise ValueError(f"not {self.value}")


class Mute(Good):
    def learned(self) -> Mapping[str, Any]:
        raise ZeroDivisionError("nothing to divide")


class Forgetful(Sum):
    """Has nothing to keep."""


@pytest.fixture
def suite(monkeypatch: pytest.MonkeyPatch) -> EstimateSuite:
    def begin(_: EstimateSuite) -> list[Part]:
        names = ("link.loss", "link.margin_trend", "satellites.drop", "wind.speed")
        return [kind(name) for kind, name in zip((Good, Choosy, Mute, Forgetful), names, strict=True)]

    monkeypatch.setattr(EstimateSuite, "_begin", begin)
    return EstimateSuite(Subject())


def values(suite: EstimateSuite) -> dict[str, Any]:
    return {type(part).__name__: part.value for part in suite._parts if isinstance(part, Sum)}


def test_each_part_keeps_its_own_and_one_that_fails_harms_no_other(suite: EstimateSuite) -> None:
    for part in suite._parts:
        assert isinstance(part, Sum)
        part.value = 4.5
    assert suite.learned() == {"Good": {"value": 4.5}, "Choosy": {"value": 4.5}}
    assert suite.failures == {"Mute": "ZeroDivisionError: nothing to divide"}


def test_each_part_takes_up_its_own_and_one_that_refuses_knows_nothing(suite: EstimateSuite) -> None:
    suite.resume(
        {"Choosy": {"value": 3.0}, "Good": {"value": 2.0}, "Mute": {"value": 1.0}, "Gone": {"value": 9.0}}
    )
    assert values(suite) == {"Good": 2.0, "Choosy": 0.0, "Mute": 1.0, "Forgetful": 0.0}
    assert suite.failures == {"Choosy": "ValueError: not 3.0"}


@pytest.mark.parametrize("own", [None, 1, "x", [1], {}, {"other": 1}])
def test_rubbish_leaves_a_part_as_it_begins(suite: EstimateSuite, own: Any) -> None:
    suite.resume({"Good": own, "Mute": {"value": 1.0}})
    assert values(suite) == {"Good": 0.0, "Choosy": 0.0, "Mute": 1.0, "Forgetful": 0.0}


def test_what_is_taken_up_is_written_as_the_next_sample(suite: EstimateSuite) -> None:
    subject = suite._aircraft
    suite.run(NOON_US)
    suite.run(NOON_US + 500_000)
    suite.resume({"Good": {"value": 2.0}})
    suite.run(NOON_US + 1_000_000)
    stream = subject.readings.streams[INDEX["link.loss"]]
    assert stream is not None
    assert stream.count == 3
    assert subject.readings.read(INDEX["link.loss"], NOON_US + 1_000_000) == 2.0


def test_a_start_seen_since_makes_no_part_forget(suite: EstimateSuite) -> None:
    subject = suite._aircraft
    assert isinstance(subject, Subject)
    subject.power_up = 3
    suite.resume({"Good": {"value": 2.0}})
    suite.run(NOON_US)
    assert values(suite)["Good"] == 2.0


@pytest.mark.parametrize(
    "value",
    [
        math.nan,
        math.inf,
        MAX_WHOLE + 1,
        b"x",
        {1: 2},
        {"a": object()},
        "x" * (MAX_TEXT + 1),
        "\ud800",
        [0] * MAX_VALUES,
    ],
    ids=lambda value: str(value)[:20].encode("ascii", "replace").decode(),
)
def test_what_is_not_plain_is_not_kept(suite: EstimateSuite, value: Any) -> None:
    good = suite._parts[0]
    assert isinstance(good, Good)
    good.value = value
    learned = suite.learned()
    assert "Good" not in learned
    assert suite.failures["Good"].startswith("ValueError")


def test_nesting_is_bounded() -> None:
    value: Any = 1
    for _ in range(MAX_DEPTH):
        value = [value]
    assert plain(value) == value
    with pytest.raises(ValueError, match="deeply"):
        plain([value])


def test_what_is_kept_is_a_copy(suite: EstimateSuite) -> None:
    good = suite._parts[0]
    assert isinstance(good, Good)
    good.value = [1, 2]
    learned = suite.learned()
    good.value.append(3)
    assert learned["Good"] == {"value": [1, 2]}


@given(st.recursive(st.none() | st.booleans() | st.integers() | st.floats() | st.text(), st.lists, max_leaves=30))
def test_plain_values_are_those_that_json_gives_back(value: Any) -> None:
    try:
        kept = plain(value)
    except ValueError:
        return
    assert json.loads(json.dumps(kept, allow_nan=False)) == kept == value
