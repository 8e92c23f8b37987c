"""Language files: every fault at its place, and nothing in one can do more than be said."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from tests.recordings import shipped
from watchkeeper.alerts.language import ENGLISH, Language, fill
from watchkeeper.alerts.language_file import read_language, try_language, wording_faults
from watchkeeper.errors import BadInputError
from watchkeeper.resources import shipped_languages

TEXT = shipped_languages()["de"].read_text(encoding="utf-8")
SAYS = frozenset(rule.say.text for rule in shipped().rules)


def line_of(text: str, part: str) -> int:
    return next(number for number, line in enumerate(text.splitlines(), 1) if part in line)


def fault_of(text: str) -> str:
    with pytest.raises(BadInputError) as caught:
        read_language(text, "x.yaml", SAYS)
    assert len(caught.value.faults) == 1, caught.value.faults
    return str(caught.value.faults[0])


@pytest.mark.parametrize(
    ("old", "new", "at", "message"),
    [
        ("voice: de", "voyce: de", None, "unknown key 'voyce'; did you mean 'voice'?"),
        ("  minus: minus\n", "", "numbers:", "'minus' is missing; add it"),
        ('  "pilot": "Pilot"\n', "", "phrases:", "'pilot' has no translation; add it"),
        ('  "pilot": "Pilot"', '  "pilot": "Pilot"\n  "copilot": "Kopilot"', "copilot",
         "unknown words 'copilot'; nothing says so; leave it out"),
        ('"pilot": "Pilot"', '"pilot": ""', '"pilot"', "no words; write them"),
        ('"pilot": "Pilot"', '"pilot": 3', '"pilot"', "no words; write them"),
        ('"pilot": "Pilot"', '"pilot": "{}"', '"pilot"', "other places {…} than the English words; these: none"),
        ('"Drohne {}."', '"Drohne {0.__class__}."', '"Aircraft {}."',
         "other places {…} than the English words; these: {}"),
        ('"Drohne {}."', '"Drohne {} }."', '"Aircraft {}."', "a brace without its pair; write {…}"),
        ("voice: de", "voice: ../de", "voice:", "'../de' is no voice"),
        ('sign: ","', 'sign: ";"', "sign:", "';' is no decimal sign; write . or ,"),
        ('thousands: "{}tausend"', "thousands: tausend", "thousands:", "has no place for how many"),
        ("hundreds: [einhundert, ", "hundreds: [", "hundreds:", "no list of 9 words"),
        ('digits: ["null", ', "digits: [null, ", "digits:", "no words; write them, in quotes if they are null"),
        ('"pilot": "Pilot"', '"pilot": !!python/object/apply:os.system ["x"]', '"pilot"', "no words; write them"),
        ('"pilot": "Pilot"', '"pilot": !ours "Pilot"', '"pilot"', "tags (!name) are not allowed"),
        ('"pilot": "Pilot"', '"pilot": *anchor', '"pilot"', "not YAML: aliases"),
        ('"pilot": "Pilot"', '"pilot": "\\u001b[31m"', '"pilot"', "longer than 200 characters, or not printable"),
    ],
)  # fmt: skip
def test_a_fault_has_its_place(old: str, new: str, at: str | None, message: str) -> None:
    assert old in TEXT
    text = TEXT.replace(old, new, 1)
    with pytest.raises(BadInputError) as caught:
        read_language(text, "x.yaml", SAYS)
    told = [str(fault) for fault in caught.value.faults]
    assert any(message in one for one in told), told
    if at is not None:
        assert any(one.startswith(f"x.yaml:{line_of(text, at)}:") for one in told if message in one), told


def test_rules_missing_unknown_and_changed() -> None:
    say = "Link. Lost. Fly by sight, check antennas."
    assert say in SAYS
    gone = TEXT.replace(f'  "{say}":', '  "Link. Lost. Fly by sight, check the antennas.":')
    with pytest.raises(BadInputError) as caught:
        read_language(gone, "x.yaml", SAYS)
    assert [f"{fault.what}; {fault.do}" for fault in caught.value.faults] == [
        f"unknown words 'Link. Lost. Fly by sight, check the antennas.'; did you mean '{say}'?",
        f"'{say}' has no translation; add it",
    ]
    assert caught.value.faults[0].line == line_of(gone, "check the antennas")
    assert read_language(gone, "x.yaml", SAYS - {say}, {"Link. Lost. Fly by sight, check the antennas."})
    language, faults = try_language(gone, "x.yaml", SAYS)  # for a recording: what there is, is used
    assert len(faults) == 2
    rule = next(rule for rule in shipped().rules if rule.say.text == say)
    assert language.say(rule) is rule.say


def test_places_of_a_rule_are_those_of_the_english_words() -> None:
    changed = TEXT.replace('"Satelliten. Nur {satellites.used:.0}. B', '"Satelliten. Nur {satellites.used:.1}. B')
    assert changed != TEXT
    assert "other places {…} than the English words; these: {satellites.used:.0}" in fault_of(changed)


@pytest.mark.parametrize("text", ["", "- a\n- b\n", "language: x\n", "a: [", "x" * 2_000_000, "\x00"])
def test_what_is_no_language_file_is_refused(text: str) -> None:
    with pytest.raises(BadInputError):
        read_language(text, "x.yaml", SAYS)


def test_breaking_the_grammar_is_found_where_it_is_written() -> None:
    text = TEXT.replace(
        "Nach Sicht fliegen, Antennen prüfen", "Nach Sicht fliegen, zwei Antennen in 3 Minuten prüfen"
    )
    language = read_language(text, "x.yaml", SAYS)
    (fault,) = wording_faults(language, "x.yaml", shipped().rules)
    assert str(fault) == f"x.yaml:{line_of(text, 'zwei Antennen')}:5: link-lost: 2 numbers; say one"


@given(st.text(max_size=30), st.lists(st.text(max_size=10), max_size=4))
def test_filling_evaluates_nothing(text: str, args: list[str]) -> None:
    places = "{}".join([text.replace("{}", "")] * (len(args) + 1))
    if places.count("{}") != len(args):  # braces of the pieces joined to a place
        return
    assert fill(places, args) == "".join(
        piece + arg for piece, arg in zip(places.split("{}"), [*args, ""], strict=True)
    )


def test_a_finished_text_is_found_by_its_phrase() -> None:
    phrases = {
        "{} failed. Look.": "{} aus. Hinsehen.",
        "Log not written. {}.": "Nicht geschrieben: {}.",
        "voice": "Stimme",
    }
    language = Language(name="x", phrases=phrases)
    assert language.tell("Voice failed. Look.") == "Stimme aus. Hinsehen."
    assert language.tell("Log not written. {} {0}.") == "Nicht geschrieben: {} {0}."
    assert language.tell("Log not written. a. b.") == "Nicht geschrieben: a. b."
    assert language.tell("Something else.") == "Something else."
    long = f"Log not written. {'x ' * 5000}."
    assert language.tell(long) == long
    assert ENGLISH.tell("Voice failed. Look.") == "Voice failed. Look."


def test_the_shipped_file_is_plain_yaml() -> None:
    """Read by the stock loader too, which knows nothing of this program."""
    assert set(yaml.safe_load(TEXT)) == {
        "language",
        "voice",
        "numbers",
        "units",
        "never",
        "rules",
        "phrases",
        "words",
    }
    assert Path(shipped_languages()["de"]).name == "de.yaml"
