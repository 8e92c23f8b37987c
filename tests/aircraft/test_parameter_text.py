"""Parameters as a text: what is taken, and that every fault names its place and what to do."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.aircraft.feeder import ARDUPILOT, GENERIC, PX4
from tests.aircraft.test_settings import A_PX4, AN_ARDUPILOT, simulated
from watchkeeper.aircraft.parameter_text import (
    MAX_CHARACTERS,
    SeenParameters,
    parse_parameters,
    settings_of,
    told_by_names,
)
from watchkeeper.aircraft.parameters import MOST
from watchkeeper.aircraft.vocabulary import VOCABULARY, Status
from watchkeeper.errors import BadInputError, Fault


def faults_of(text: str) -> tuple[Fault, ...]:
    with pytest.raises(BadInputError) as raised:
        parse_parameters(text, "own.txt")
    assert all(fault.file == "own.txt" and fault.do for fault in raised.value.faults)
    return raised.value.faults


@pytest.mark.parametrize("gap", [" ", "\t", "   ", ",", ", ", "=", " = ", ":", " : ", "\t,\t"])
def test_every_way_of_parting_name_and_number(gap: str) -> None:
    seen = parse_parameters(f"# mine\n\nreturn.height_m{gap}40.5\n  low1.volt_v{gap}-1e1  # V\n", "own.txt")
    assert seen.values == {"return.height_m": 40.5, "low1.volt_v": -10.0}
    assert (seen.source, seen.version, seen.vehicle, seen.complete) == ("own.txt", None, None, False)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_and_a_byte_order_mark(end: str) -> None:
    text = end.join(["\ufeffA 1", "# c", "B 2", "C x"])
    (fault,) = faults_of(text)
    assert (fault.line, fault.column) == (4, 3)
    assert parse_parameters(text.replace("x", "3"), "own.txt").values == {"A": 1.0, "B": 2.0, "C": 3.0}


@pytest.mark.parametrize(
    ("line", "column", "what"),
    [
        ("A", 2, "no number"),
        ("  A = ", 4, "no number"),
        ("A nan", 3, "no finite number"),
        ("A inf", 3, "no finite number"),
        ("A -Infinity", 3, "no finite number"),
        ("A 1e999", 3, "larger than a parameter can be"),
        ("A 1e39", 3, "larger than a parameter can be"),
        ("A 0x10", 4, "behind the number"),
        ("A 1_000", 4, "behind the number"),
        ("A \u0661", 3, "no finite number"),
        ("A 44,5", 5, "decimal comma"),
        ("A 44.5 V", 7, "behind the number"),
        ("A 1 2", 4, "behind the number"),
        ("A == 4", 4, "no finite number"),
        ("= 4", 1, "printable ASCII"),
        ("H\u00f6he 4", 1, "printable ASCII"),
        ("A\x1b[31m 4", 1, "printable ASCII"),
        ("A\x00 4", 1, "printable ASCII"),
        ("ABCDEFGHIJKLMNOPQ 4", 1, "longer than 16"),
    ],
)
def test_each_fault_has_its_place(line: str, column: int, what: str) -> None:
    (fault,) = faults_of(f"GOOD 1\n{line}\n")
    assert (fault.line, fault.column) == (2, column)
    assert what in fault.what
    assert all(character.isprintable() for character in str(fault))


def test_a_name_may_have_sixteen_characters_and_a_number_seven_digits() -> None:
    # PARAM_VALUE.param_id is char[16], param_value a float32 (MAVLink common.xml)
    assert parse_parameters("ABCDEFGHIJKLMNOP 16777215", "own.txt").values == {"ABCDEFGHIJKLMNOP": 16777215.0}


def test_the_same_name_with_two_numbers_names_both_lines() -> None:
    (fault,) = faults_of("A 44\nB 1\nA 44.0\nA 44.00001\n")
    assert (fault.line, fault.what) == (4, "'A' is 44.00001 here and 44.0 in line 1")


def test_an_empty_text_and_one_of_comments_hold_nothing() -> None:
    for text in ("", "\n\n", "# A 1\n"):
        assert "holds no parameters" in faults_of(text)[0].what


def test_what_is_too_much_is_refused_in_little_time() -> None:
    assert "larger than" in faults_of("A" * (MAX_CHARACTERS + 1))[0].what
    assert len(faults_of("x y\n" * 50_000)) < 30
    assert f"more than {MOST}" in faults_of("".join(f"P{i} 1\n" for i in range(MOST + 1)))[0].what
    assert len(parse_parameters("".join(f"P{i} 1\n" for i in range(MOST)), "own.txt").values) == MOST


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_with_a_place(text: str) -> None:
    faults: tuple[Fault, ...] = ()
    names: tuple[str, ...] = ()
    try:
        names = tuple(parse_parameters(text, "own.txt").values)
    except BadInputError as error:
        faults = error.faults
    lines = text.replace("\r\n", "\n").replace("\r", "\n").count("\n") + 1
    assert bool(names) is not bool(faults)
    assert all(0 <= fault.line <= lines for fault in faults)
    assert all(name.isascii() and name.isprintable() and 0 < len(name) <= 16 for name in names)


@pytest.mark.parametrize(
    ("values", "autopilot"), [(simulated(), GENERIC), (AN_ARDUPILOT, ARDUPILOT), (A_PX4, PX4)]
)
def test_the_names_tell_the_autopilot(values: dict[str, float | None], autopilot: int) -> None:
    text = "".join(f"{name} {value!r}\n" for name, value in values.items())
    seen = parse_parameters(text, "own.txt")
    assert seen.values == pytest.approx(values)
    assert seen.autopilot == autopilot
    assert settings_of(seen).return_height_m.status is Status.UNDERSTOOD


def test_names_of_two_kinds_or_of_none_tell_nothing() -> None:
    assert told_by_names({*AN_ARDUPILOT, *A_PX4}) is None
    assert told_by_names({"SOMETHING", "ELSE"}) is None
    assert told_by_names({*A_PX4} - {"RTL_RETURN_ALT"}) is None
    # a mark of one kind among many names of another
    assert told_by_names({"RTL_ALT", *A_PX4} - {"RTL_RETURN_ALT"}) is None


def test_of_an_unknown_kind_nothing_is_understood() -> None:
    settings = settings_of(SeenParameters("x", None, None, None, {"return.height_m": 40.0}, complete=True))
    assert settings.low_battery is None
    assert {settings[name].status for name in VOCABULARY} == {Status.NOT_UNDERSTOOD}
