"""What conditions say. The verdict tables are those of the rule-pack contract, written out here by hand."""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.rules.condition import Setting, View
from watchkeeper.rules.expression import compile_condition
from watchkeeper.rules.verdict import Verdict
from watchkeeper.units import UNITS

MET, NOT_MET, BLIND, FAULT = Verdict.MET, Verdict.NOT_MET, Verdict.BLIND, Verdict.FAULT
NOW_US = 10_000_000
# four readings of one unit, given so that "x > 1 V" has each verdict in turn
VALUES: dict[Verdict, float | None] = {MET: 2.0, NOT_MET: 0.5, BLIND: None, FAULT: math.nan}


def view(values: dict[str, Any]) -> View:
    """Return a view of readings that all came a moment ago."""
    readings = Readings()
    stream = Stream()
    stream.mark(NOW_US - 100_000)
    for name, value in values.items():
        readings.put(INDEX[name], value, stream)
    return View(readings, NOW_US, [])


def judge(text: str, values: dict[str, Any], **settings: Setting) -> Verdict:
    return compile_condition(text, settings).evaluate(view(values))


def expected_and(operands: tuple[Verdict, ...]) -> Verdict:
    return next((v for v in (NOT_MET, FAULT, BLIND) if v in operands), MET)


def expected_or(operands: tuple[Verdict, ...]) -> Verdict:
    return next((v for v in (MET, FAULT, BLIND) if v in operands), NOT_MET)


@pytest.mark.parametrize("operands", list(itertools.product(Verdict, repeat=3)))
@pytest.mark.parametrize(("word", "expected"), [("and", expected_and), ("or", expected_or)])
def test_and_or_follow_their_table(operands: tuple[Verdict, ...], word: str, expected: Any) -> None:
    names = ("battery.voltage", "battery.cell_voltage", "battery.sag")
    values = {name: VALUES[v] for name, v in zip(names, operands, strict=True)}
    text = f" {word} ".join(f"{name} > 1 V" for name in names)
    assert judge(text, values) is expected(operands)


@pytest.mark.parametrize(("of", "expected"), [(MET, NOT_MET), (NOT_MET, MET), (BLIND, BLIND), (FAULT, FAULT)])
def test_not_swaps_met_and_not_met_only(of: Verdict, expected: Verdict) -> None:
    assert judge("not battery.sag > 1 V", {"battery.sag": VALUES[of]}) is expected


@pytest.mark.parametrize("sign", ["+", "-", "<", "=="])
def test_fault_goes_before_blind_in_arithmetic_and_comparison(sign: str) -> None:
    tail = "" if sign in {"<", "=="} else " > 1 V"
    for pair in (("battery.sag", "battery.voltage"), ("battery.voltage", "battery.sag")):
        text = f"{pair[0]} {sign} {pair[1]}{tail}"
        assert judge(text, {"battery.sag": math.nan}) is FAULT
        assert judge(text, {"battery.sag": 1.0}) is BLIND


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("battery.voltage / battery.current > 1 ohm", {"battery.voltage": 1.0, "battery.current": 0.0}),
        ("battery.voltage * battery.current > 1 W", {"battery.voltage": 1e200, "battery.current": 1e200}),
        ("battery.voltage + battery.sag > 1 V", {"battery.voltage": 1.7e308, "battery.sag": 1.7e308}),
        ("battery.voltage > 1 V", {"battery.voltage": math.inf}),
        ("battery.consumed > 1 Ah", {"battery.consumed": 1e307}),  # ampere seconds: over the largest double
        ("max(battery.voltage, 1 V) > 0 V", {"battery.voltage": math.nan}),
    ],
)
def test_division_by_zero_overflow_and_not_a_number_are_faults(text: str, values: dict[str, float]) -> None:
    assert judge(text, values) is FAULT


@pytest.mark.parametrize(
    ("text", "values", "expected"),
    [
        ("3 V < battery.cell_voltage < 4 V", {"battery.cell_voltage": 3.5}, MET),
        ("3 V < battery.cell_voltage < 4 V", {"battery.cell_voltage": 4.0}, NOT_MET),
        ("3 V < battery.cell_voltage <= 4 V", {"battery.cell_voltage": 4.0}, MET),
        ("3 V < battery.cell_voltage < 4 V", {}, BLIND),
        # a chain is an `and`: one side not met is enough, whatever the other lacks
        ("battery.sag < battery.cell_voltage < 4 V", {"battery.cell_voltage": 5.0}, NOT_MET),
    ],
)
def test_a_chain_is_an_and(text: str, values: dict[str, float], expected: Verdict) -> None:
    assert judge(text, values) is expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # by the SI brochure and the international foot and knot: 100 ft = 30.48 m, 10 kt = 5.144 m/s
        ("position.height > 99.9 ft and position.height < 100.1 ft", MET),
        ("position.ground_speed > 9.99 kt and position.ground_speed < 10.01 kt", MET),
        ("battery.consumed > 1999 mAh and battery.consumed < 2001 mAh", MET),
        ("return.energy > 359 J * 1000 and return.energy < 361 J * 1000", MET),
        ("link.margin_trend < -0.9 dB / 10 s and link.margin_trend > -1.1 dB / 10 s", MET),
        ("battery.voltage * battery.current > 0.999 kW", MET),
        ("battery.power == battery.voltage * battery.current", MET),
        ("-battery.sag < -0.1 V", MET),
        ("battery.sag + 1 V * 2 == 2.2 V", MET),
        ("(battery.sag + 1 V) * 2 == 2.4 V", MET),
        ("1 V - 0.5 V - 0.25 V == battery.sag + 0.05 V", MET),
        ("abs(0 V - battery.sag) == 0.2 V and min(battery.sag, 1 V) == 0.2 V", MET),
        ("not battery.sag > 1 V and battery.sag > 1 V", NOT_MET),  # `not` binds closer than `and`
        ("battery.sag < 1 V or battery.sag > 1 V and battery.sag > 2 V", MET),  # `and` closer than `or`
    ],
)
def test_units_and_precedence(text: str, expected: Verdict) -> None:
    values = {
        "position.height": 30.48,
        "position.ground_speed": 5.144,
        "battery.consumed": 2.0,
        "return.energy": 100.0,
        "link.margin_trend": -6.0,
        "battery.voltage": 50.0,
        "battery.current": 20.0,
        "battery.power": 1000.0,
        "battery.sag": 0.2,
    }
    assert judge(text, values) is expected


def test_words_and_yes_or_no() -> None:
    values = {"flight.phase": "landing", "flight.armed": True}
    assert judge("flight.phase == landing", values) is MET
    assert judge("landing == flight.phase", values) is MET
    assert judge("flight.phase != landing", values) is NOT_MET
    assert judge("flight.armed", values) is MET
    assert judge("not flight.armed", values) is NOT_MET
    assert judge("flight.armed", {}) is BLIND
    assert judge("flight.phase != landing", {}) is BLIND


def test_known_is_never_blind() -> None:
    assert judge("known(battery.sag)", {"battery.sag": 0.1}) is MET
    assert judge("known(battery.sag)", {}) is NOT_MET
    assert judge("known(battery.sag)", {"battery.sag": math.nan}) is NOT_MET
    assert judge("known(flight.phase)", {"flight.phase": "landed"}) is MET


def test_settings_stand_for_their_number() -> None:
    floor = Setting(UNITS["mV"], 3300.0)
    assert judge("battery.cell_voltage < cell_floor", {"battery.cell_voltage": 3.29}, cell_floor=floor) is MET
    assert judge("battery.cell_voltage < cell_floor", {"battery.cell_voltage": 3.31}, cell_floor=floor) is NOT_MET


def test_a_reading_too_old_is_blind() -> None:
    condition = compile_condition("battery.sag > 0.1 V", {})
    seen = view({"battery.sag": 0.2})
    assert condition.evaluate(seen) is MET
    entry = CATALOGUE[INDEX["battery.sag"]]
    seen.now_us = NOW_US + round(entry.max_age_s * 1e6) + 1
    assert condition.evaluate(seen) is BLIND


@pytest.mark.parametrize(
    ("text", "timed"),
    [
        ("battery.sag > 0.1 V", False),
        ("known(battery.sag)", False),
        ("return.turn_back_in < 60 s", True),  # a countdown
        ("battery.sag > 0.1 V and link.age > 4 s", True),
        ("age(battery.sag) > 4 s", True),
        ("lasting(battery.sag > 0.1 V, 5 s)", True),
        ("not average(battery.sag, 5 s) > 0.1 V", True),
        ("slope(battery.sag, 5 s) > 0.1 V / 1 s", True),
    ],
)
def test_timed_says_whether_time_alone_can_change_it(text: str, timed: bool) -> None:
    assert compile_condition(text, {}).timed is timed


def names(indexes: tuple[int, ...]) -> set[str]:
    return {CATALOGUE[i].name for i in indexes}


@pytest.mark.parametrize(
    ("values", "deciding", "missing"),
    [
        ({"battery.sag": 0.3, "battery.cell_voltage": 3.9}, {"battery.sag"}, set()),
        ({"battery.sag": 0.3, "battery.cell_voltage": 3.0}, {"battery.sag"}, set()),  # one is enough
        ({"battery.sag": 0.1, "battery.cell_voltage": 3.0}, {"battery.cell_voltage"}, set()),
        ({"battery.sag": 0.1, "battery.cell_voltage": 3.9}, {"battery.sag", "battery.cell_voltage"}, set()),
        ({"battery.sag": 0.1}, {"battery.cell_voltage"}, {"battery.cell_voltage"}),
        ({"battery.sag": math.nan, "battery.cell_voltage": 3.9}, {"battery.sag"}, {"battery.sag"}),
        ({}, {"battery.sag", "battery.cell_voltage"}, {"battery.sag", "battery.cell_voltage"}),
    ],
)
def test_deciding_and_missing(values: dict[str, float], deciding: set[str], missing: set[str]) -> None:
    condition = compile_condition("battery.sag > 0.15 V or battery.cell_voltage < 3.3 V", {})
    assert names(condition.readings) == {"battery.sag", "battery.cell_voltage"}
    assert names(condition.deciding(view(values))) == deciding
    assert names(condition.missing(view(values))) == missing


def test_missing_names_what_is_looked_at_when_a_value_exists_but_cannot_be_used() -> None:
    condition = compile_condition("battery.voltage / battery.current > 1 ohm", {})
    seen = view({"battery.voltage": 1.0, "battery.current": 0.0})
    assert names(condition.missing(seen)) == {"battery.voltage", "battery.current"}


@pytest.mark.parametrize(
    ("text", "missing"),
    [
        ("known(battery.sag) and battery.sag > 0.1 V", set()),
        ("not known(battery.sag) or battery.sag > 0.1 V", set()),
        ("known(battery.sag) and battery.current > 1 A", set()),  # without sag it is never met
        ("not known(battery.sag) and battery.current > 1 A", {"battery.current"}),
        ("(known(battery.sag) and battery.sag > 0.1 V) or battery.current > 1 A", {"battery.current"}),
        (
            "(known(battery.sag) and battery.current > 1 A) or battery.sag > 0.1 V",
            {"battery.sag"},
        ),
    ],
)
def test_what_is_asked_for_with_known_may_be_missing(text: str, missing: set[str]) -> None:
    assert names(compile_condition(text, {}).missing(view({}))) == missing
