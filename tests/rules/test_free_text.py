"""Words from outside in a rule: they may be said, and asked for; nothing else. What is guarded is not missed."""

from __future__ import annotations

import pytest

from tests.rules.test_conditions import judge, view
from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.errors import BadInputError
from watchkeeper.rules.condition import ConditionError
from watchkeeper.rules.expression import compile_condition
from watchkeeper.rules.template import parse_template
from watchkeeper.rules.verdict import Verdict


@pytest.mark.parametrize(
    "text",
    [
        "text.urgent", "not text.urgent", "text.urgent == land", "text.urgent > 1", "text.urgent == text.caution",
        "average(text.urgent, 10 s) > 1", "abs(text.urgent) > 1", "lasting(text.urgent, 5 s)",
    ],
)  # fmt: skip
def test_a_condition_can_do_nothing_with_words_from_outside(text: str) -> None:
    with pytest.raises(ConditionError):
        compile_condition(text, {})


def test_but_ask_whether_they_are_there_and_how_old() -> None:
    assert judge("known(text.urgent)", {"text.urgent": "1 > 0 or flight.armed"}) is Verdict.MET
    assert judge("known(text.urgent)", {}) is Verdict.NOT_MET
    assert judge("age(text.urgent) < 5 s", {"text.urgent": "anything"}) is Verdict.MET


def test_they_are_said_as_they_are_and_have_no_decimals() -> None:
    template = parse_template("Aircraft says. {text.urgent}.", {})
    assert template.render(lambda _: "{battery.voltage}") == "Aircraft says. {battery.voltage}."
    with pytest.raises(ConditionError):
        parse_template("{text.urgent:.1}", {})


def test_what_is_guarded_is_not_missed() -> None:
    guarded = compile_condition("known(motors.still) and motors.still >= 1 count", {})
    assert guarded.missing(view({})) == ()
    bare = compile_condition("motors.uneven > 8 % or (known(motors.still) and motors.still >= 1 count)", {})
    assert bare.missing(view({})) == (INDEX["motors.uneven"],)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("rotors: {count: 4, outputs: [1, 2, 3]}", "3 outputs for 4 rotors"),
        ("rotors: {outputs: [1, 2, 2]}", "twice"),
        ("rotors: {outputs: [0, 2, 3]}", "out of range"),
        ("limits: {vibration: 30 m/s}", "is in m/s"),
        ("limits: {motor_temperature: 10 degC}", "too small"),
    ],
)
def test_faults_of_the_keys_for_motors_and_limits(text: str, what: str) -> None:
    with pytest.raises(BadInputError) as caught:
        load_aircraft_file(text, "a.yaml")
    assert what in str(caught.value)


def test_the_keys_for_motors_and_limits() -> None:
    file = load_aircraft_file(
        "rotors: {outputs: [5, 6, 7, 8]}\nlimits: {vibration: 25 m/s2, motor_temperature: 90 degC}\n", "a.yaml"
    )
    assert file.rotors.outputs == (5, 6, 7, 8)
    assert (file.limits.vibration_m_s2, file.limits.motor_degc) == (25.0, 90.0)
