"""Every message about a condition, with its place; and that no text can do more than be refused."""

from __future__ import annotations

import json
from contextlib import suppress

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from watchkeeper.aircraft.readings import Readings
from watchkeeper.errors import BadInputError
from watchkeeper.rules.condition import Condition, ConditionError, Setting, View
from watchkeeper.rules.expression import compile_condition
from watchkeeper.rules.load import load_packs
from watchkeeper.rules.verdict import Verdict
from watchkeeper.units import UNITS

SETTINGS = {"cell_floor": Setting(UNITS["V"], 3.3), "share": Setting(UNITS["%"], 20.0)}
LIST = "see 'watchkeeper rules list'"

# text with a caret ^ in front of the character that the fault points to, what, do
FAULTS = [
    ("^", "the condition ends too early", "complete it"),
    ("battery.sag >^", "the condition ends too early", "complete it"),
    ("battery.sag > 1 V and (flight.armed^", "the condition ends too early", "complete it"),
    ("battery.sag ^= 1 V", "unexpected '='", "write == for equal"),
    ("flight.armed ^&& flight.armed", "unexpected '&&'", "write and"),
    ("flight.armed ^|| flight.armed", "unexpected '||'", "write or"),
    ("^!flight.armed", "unexpected '!flight.armed'", "write not"),
    ("battery.sag ^≥ 1 V", "unexpected '≥'", "write >="),
    ("battery.sag > 1 V ^flight.armed", "unexpected 'flight.armed'",
     "join conditions by and, or, not; see the README"),
    ("flight.armed ^) or", "unexpected ')'", "join conditions by and, or, not; see the README"),
    ("battery.sag > 0.1 V ^\x1b[31m", "unexpected character that cannot be printed", "use plain text"),
    ("battery.sag > 0.1 V ^\u2028", "unexpected character that cannot be printed", "use plain text"),
    ("battery.sag > 0.1 V ^; x", "unexpected ';'", "join conditions by and, or, not; see the README"),
    ("^battery.sga > 1 V", "unknown reading 'battery.sga'", "did you mean 'battery.sag'?"),
    ("flight.armed and ^x.y.z > 1 V", "unknown reading 'x.y.z'", LIST),
    ("battery.cell_voltage < ^cel_floor", "unknown setting 'cel_floor'", "did you mean 'cell_floor'?"),
    ("^__import__ > 1", "unknown setting '__import__'", LIST),
    ("^__import__(flight.armed)", "unknown function '__import__'",
     "there are average, slope, lasting, age, known, abs, min, max"),
    ("^flight.armed.__class__", "unknown reading 'flight.armed.__class__'", "did you mean 'flight.armed'?"),
    ("^averge(battery.sag, 3 s) > 1 V", "unknown function 'averge'", "did you mean 'average'?"),
    ("battery.sag > 3 ^Vx", "unknown unit 'Vx'", "did you mean 'V'?"),
    ("battery.sag > 3 ^furlongs", "unknown unit 'furlongs'", LIST),
    ("battery.sag ^> 3 m", "V compared with m", "compare like with like"),
    ("battery.gauge_left ^< 20", "% compared with a plain number", "compare like with like"),
    ("satellites.used ^< 10", "count compared with a plain number", "compare like with like"),
    ("wind.from ^> 20 m", "deg compared with m", "compare like with like"),
    ("link.margin ^< 10 %", "dB compared with %", "compare like with like"),
    ("3 V < battery.sag ^< share", "V compared with %", "compare like with like"),
    ("battery.sag ^+ 1 A > 2 V", "V added to A", "use like units"),
    ("battery.sag ^- 1 A > 2 V", "A taken from V", "use like units"),
    ("min(battery.sag, ^1 A) > 2 V", "A beside V", "use like units"),
    ("^battery.sag", "this is V, not a condition", "compare it with something"),
    ("flight.armed and ^battery.sag", "this is V, not a condition", "compare it with something"),
    ("^flight.phase", "flight.phase is a word", "compare it with one, like flight.phase == on_ground"),
    ("flight.phase ^> landing", "flight.phase is a word", "compare words by == or !="),
    ("^flight.phase + 1 V > 2 V", "flight.phase is a word", "use a number here"),
    ("flight.phase == ^landign", "'landign' is no word of flight.phase", "did you mean 'landing'?"),
    ("satellites.fix == ^landing", "'landing' is no word of satellites.fix",
     "one of none, no_fix, fix_2d, fix_3d, dgps, rtk_float, rtk_fixed, static, ppp"),
    ("position.home_source == ^3 V", "this is no word of position.home_source", "one of aircraft, arming, sortie"),
    ("^flight.armed == true", "flight.armed is true or false, not a number",
     "let it stand alone: flight.armed, or not flight.armed"),
    ("battery.sag > ^true", "'true' is not needed", "write the reading alone, or not in front of it"),
    ("(^flight.armed and flight.armed) > 1 V", "this is a condition, not a number", "use a number here"),
    ("battery.sag ^/ 0 > 1 V", "division by zero", "divide by something else"),
    ("battery.sag ^/ (1 V - 1 V) > 1", "division by zero", "divide by something else"),
    ("battery.sag > ^1e999 V", "the number is too large", "write a smaller one"),
    ("battery.sag > 1e308 V ^* 100", "the result is too large", "write smaller numbers"),
    ("^1 V > 2 V", "the condition looks at no reading", "name one"),
    ("^average(battery.sag) > 1 V", "average takes two arguments, not 1", "see the README"),
    ("^age(battery.sag, 1 s) > 1 s", "age takes one argument, not 2", "see the README"),
    ("^max(battery.sag) > 1 V", "max takes two or more arguments, not 1", "see the README"),
    ("age(^3 V) > 1 s", "age takes the name of a reading", LIST),
    ("known(^cell_floor)", "unknown reading 'cell_floor'", LIST),
    ("known(^battery.sga)", "unknown reading 'battery.sga'", "did you mean 'battery.sag'?"),
    ("average(^cell_floor, 3 s) > 1 V", "average of something that never changes", "name a reading"),
    ("average(battery.sag, ^3 V) > 1 V", "a span is a fixed time of at most 600 s", "write it like 10 s"),
    ("slope(battery.sag, ^11 min) > 1 V / 1 s", "a span is a fixed time of at most 600 s", "write it like 10 s"),
    ("lasting(flight.armed, ^0 s)", "a span is a fixed time of at most 600 s", "write it like 10 s"),
    ("lasting(flight.armed, ^return.time)", "a span is a fixed time of at most 600 s", "write it like 10 s"),
    ("lasting(^battery.sag, 3 s)", "this is V, not a condition", "compare it with something"),
]  # fmt: skip


@pytest.mark.parametrize(("marked", "what", "do"), FAULTS)
def test_message_and_place(marked: str, what: str, do: str) -> None:
    with pytest.raises(ConditionError) as caught:
        compile_condition(marked.replace("^", ""), SETTINGS)
    assert (caught.value.what, caught.value.do) == (what, do)
    assert caught.value.offset == marked.index("^")


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("not " * 40 + "flight.armed", "nested deeper than 30"),
        ("-" * 40 + "battery.sag > 1 V", "nested deeper than 30"),
        ("(battery.sag + " * 40 + "1 V" + ")" * 40 + " > 1 V", "nested deeper than 30"),
        ("abs(" * 40 + "battery.sag" + ")" * 40 + " > 1 V", "nested deeper than 30"),
        ("lasting(" * 40 + "flight.armed" + ", 1 s)" * 40, "more than 8 functions over time"),
        ("battery.sag" + "+ 5 V" * 220 + "> 1 V", "condition of more than 200 parts"),
        ("flight.armed" + " or link.age > 1 s" * 80, "condition of more than 200 parts"),
        ("flight.armed" + " " * 2000, "condition longer than 2000 characters"),
        ("average(battery.sag, 600 s) + " * 9 + "1 V > 2 V", "more than 8 functions over time"),
    ],
)
def test_size_is_bounded(text: str, what: str) -> None:
    with pytest.raises(ConditionError) as caught:
        compile_condition(text, SETTINGS)
    assert caught.value.what == what


def test_the_longest_condition_allowed_can_be_judged_deep_in_a_call_stack() -> None:
    condition = compile_condition(
        "battery.sag" + "+link.age*cell_floor/cell_floor*1V/1s" * 24 + " > 1 V", SETTINGS
    )

    def deep(level: int) -> Verdict:
        return condition.evaluate(View(Readings(), 0, [])) if level == 0 else deep(level - 1)

    assert deep(500) is Verdict.BLIND


PACK = """\
pack: test
about: a test
rules:
  - id: a-rule
    level: advisory
    when: {when}
    say: "Battery. Odd."
    why: a test
    cases:
      - given: {{battery.sag: 1 V}}
        expect: met
      - given: {{battery.sag: 0 V}}
        expect: not met
"""
WORDS = st.sampled_from(
    [
        *("battery.sag", "flight.armed", "flight.phase", "landing", "link.age", "cell_floor", "and", "or", "not"),
        *(
            "(",
            ")",
            ",",
            "<",
            "<=",
            "==",
            "!=",
            "+",
            "-",
            "*",
            "/",
            "0",
            "1e308",
            "0.15 V",
            "60 s",
            "20 %",
            "3 dB/min",
        ),
        *(
            "average(",
            "slope(",
            "lasting(",
            "age(",
            "known(",
            "abs(",
            "min(",
            ".",
            "5",
            "true",
            "é",
            "\u2028",
            "٣",
        ),
    ]
)


def attempt(text: str) -> tuple[Condition | None, ConditionError | None]:
    try:
        return compile_condition(text, SETTINGS), None
    except ConditionError as error:
        return None, error


def check(text: str) -> None:
    condition, refused = attempt(text)
    if refused is not None:
        assert 0 <= refused.offset <= len(text)
        assert refused.what
    if condition is not None:
        view = View(Readings(), 1_000_000, condition.new_windows())
        verdict = condition.evaluate(view)
        assert isinstance(verdict, Verdict)
        assert set(condition.deciding(view)) <= set(condition.readings)
        assert set(condition.missing(view)) <= set(condition.readings)
    with suppress(BadInputError):
        load_packs([("p.yaml", PACK.format(when=json.dumps(text)))])


@settings(max_examples=300, deadline=None)
@given(st.text())
@example("5 V\x00")
@example("battery.sag > 1 V\u2028and flight.armed")
def test_any_text_gives_a_condition_or_a_fault(text: str) -> None:
    check(text)


@settings(max_examples=500, deadline=None)
@given(st.lists(WORDS, max_size=40))
def test_any_row_of_words_gives_a_condition_or_a_fault(words: list[str]) -> None:
    check(" ".join(words))
