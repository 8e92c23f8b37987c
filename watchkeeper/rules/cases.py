"""Cases of a rule: readings over time, and what is to come of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX, ReadingType
from watchkeeper.errors import BadInputError, bad_input, did_you_mean
from watchkeeper.rules.levels import Change
from watchkeeper.rules.verdict import Verdict
from watchkeeper.units import parse_quantity

VERDICTS = {"met": Verdict.MET, "not met": Verdict.NOT_MET, "blind": Verdict.BLIND, "fault": Verdict.FAULT}
SPOKEN = "spoken"
MISSING = "missing"
NOT_A_NUMBER = "not a number"
LONGEST_S = 3600.0
SETTLE_S = 3.0
"""A case without `until` goes on for so long after the last thing that it names."""
_EXPECTED = (*(change.value for change in Change), SPOKEN)


class CaseError(Exception):
    """A case cannot be used; `path` leads from the case to what is at fault (its key, if `key`)."""

    def __init__(self, path: tuple[str | int, ...], what: str, do: str, *, key: bool = False) -> None:
        super().__init__(what)
        self.path = path
        self.key = key
        self.what = what
        self.do = do


@dataclass(frozen=True, slots=True)
class Case:
    """Series by catalogue index, each a list of (time_s, value); a value of None ends it (missing from then on).

    `verdict` is expected at the end; or `changes`, (time_s, word) in order, and nothing else.
    """

    given: Mapping[int, tuple[tuple[float, Any], ...]]
    verdict: Verdict | None
    changes: tuple[tuple[float, str], ...]
    sample_s: float
    until_s: float
    place: str

    @property
    def shows_met(self) -> bool:
        """Whether it is an example of the rule being met."""
        return self.verdict is Verdict.MET or any(word in {Change.RAISED, SPOKEN} for _, word in self.changes)

    @property
    def shows_not_met(self) -> bool:
        """Whether it is an example of the rule not being met at all."""
        return self.verdict is Verdict.NOT_MET or (self.verdict is None and not self.changes)


def build_case(
    given: Mapping[str, Any], expect: Any, sample_s: float, until_s: float | None, place: str
) -> tuple[Case, list[CaseError]]:
    """Check one written case against the catalogue; with any errors the case is not to be used."""
    errors: list[CaseError] = []
    series: dict[int, tuple[tuple[float, Any], ...]] = {}
    for name, value in given.items():
        index = INDEX.get(name)
        if index is None:
            hint = did_you_mean(name, INDEX, otherwise="see 'watchkeeper rules list'")
            errors.append(CaseError(("given", name), f"unknown reading '{name}'", hint, key=True))
            continue
        try:
            series[index] = _series(CATALOGUE[index], value, ("given", name))
        except CaseError as error:
            errors.append(error)
    verdict = None
    changes: list[tuple[float, str]] = []
    if isinstance(expect, str):
        verdict = VERDICTS.get(expect)
        if verdict is None:
            hint = did_you_mean(expect, VERDICTS, otherwise="use met, not met, blind or fault")
            errors.append(CaseError(("expect",), f"unknown verdict '{expect}'", hint))
    elif isinstance(expect, list):
        for i, item in enumerate(expect):
            try:
                changes.append(_expected(item, ("expect", i)))
            except CaseError as error:
                errors.append(error)
    latest_s = max([t for points in series.values() for t, _ in points] + [t for t, _ in changes], default=0.0)
    end_s = latest_s + SETTLE_S if until_s is None else until_s
    return Case(series, verdict, tuple(changes), sample_s, end_s, place), errors


def _series(reading: ReadingType, value: Any, path: tuple[str | int, ...]) -> tuple[tuple[float, Any], ...]:
    if value == MISSING:
        return ()
    if not isinstance(value, list):
        return ((0.0, _value(reading, value, path)),)
    points: list[tuple[float, Any]] = []
    for i, item in enumerate(value):
        if not isinstance(item, list) or len(item) != 2 or not _is_time(item[0]):
            raise CaseError((*path, i), "is not [seconds, value]", f"write it like [[0, 1 {reading.unit_symbol}]]")
        if points and item[0] <= points[-1][0]:
            raise CaseError((*path, i), "times must increase", "sort the series")
        points.append((float(item[0]), None if item[1] == MISSING else _value(reading, item[1], (*path, i, 1))))
    return tuple(points)


def _is_time(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= LONGEST_S


def _value(reading: ReadingType, value: Any, path: tuple[str | int, ...]) -> Any:
    if reading.words:
        if value not in reading.words:
            hint = did_you_mean(str(value), reading.words, otherwise="one of " + ", ".join(reading.words))
            raise CaseError(path, f"'{value}' is no word of {reading.name}", hint)
        return value
    if reading.boolean:
        if not isinstance(value, bool):
            raise CaseError(path, f"{reading.name} is true or false", "write one of them")
        return value
    if reading.text:
        if not isinstance(value, str):
            raise CaseError(path, f"{reading.name} is a text", "write some words")
        return value
    if value == NOT_A_NUMBER:
        return float("nan")
    try:
        return _quantity(reading, value)
    except BadInputError as error:
        raise CaseError(path, error.faults[0].what, error.faults[0].do) from None


def _quantity(reading: ReadingType, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise bad_input(f"{reading.name} is not a quantity here", f"write it like '5 {reading.unit_symbol}'")
    plain_count = isinstance(value, int | float) and reading.unit_symbol == "count"
    number = parse_quantity(f"{value} count" if plain_count else str(value), reading.unit_symbol)
    if not math.isfinite(number):
        raise bad_input(f"'{value}' is too large", "write a smaller one")
    return number


def _expected(item: Any, path: tuple[str | int, ...]) -> tuple[float, str]:
    if not isinstance(item, list) or len(item) != 2 or not _is_time(item[0]):
        raise CaseError(path, "is not [seconds, change]", "write it like [[5, raised]]")
    word = item[1]
    if word not in _EXPECTED:
        raise CaseError(
            path, f"unknown change '{word}'", did_you_mean(str(word), _EXPECTED, otherwise="see the README")
        )
    return (float(item[0]), word)
