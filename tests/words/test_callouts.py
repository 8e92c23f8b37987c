"""All that the watch can say keeps the one grammar of callouts as it comes out: rules and composed words alike."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.words.callouts import hard, level_of, parts, shipped
from tests.words.phonemes import apart, phonemes
from watchkeeper.alerts.desk import WatchDesk
from watchkeeper.alerts.events import AlertChange, Level, Order
from watchkeeper.alerts.spoken import NumberStyle, spell_numbers
from watchkeeper.alerts.teller import Teller
from watchkeeper.alerts.wording import blind_words, callout
from watchkeeper.errors import Fault
from watchkeeper.rules.subjects import BEFORE_TO_DO, SUBJECTS, TO_DO
from watchkeeper.rules.wording import wrongs

STYLES = list(NumberStyle)
CODE = Path(__file__).resolve().parents[2] / "watchkeeper"
REPORTING = {"report", "_report", "_say", "_fault", "Trouble"}
HARD = "no space left on device"
"""As long as the system's own words for a trouble usually are (errno, strerror)."""


def faults(words: str, level: Level, *, own_words: bool = False) -> list[str]:
    """Return what is wrong with words, as they are and with numbers spelled out in each style."""
    versions = [words, *(spell_numbers(words, style) for style in STYLES)]
    return [f"{one}: {wrong.what}" for one in versions for wrong in wrongs(one, level, own_words=own_words)]


@pytest.mark.parametrize("style", STYLES)
def test_every_rule_with_hard_values_keeps_the_grammar(style: NumberStyle) -> None:
    """Largest, negative and no value, every word, longest texts; numbers spelled out; with several aircraft."""
    wrong = []
    for rule in shipped():
        for said in hard(rule):
            words = spell_numbers(said, style)
            wrong += [f"{rule.id}: {words}: {one.what}" for one in wrongs(words, level_of(rule))]
            whole = spell_numbers(callout(rule.level, said, 250, several=True), style)
            assert whole.startswith("Aircraft ")
            assert whole.endswith(words)
    assert wrong == []


def test_longest_digits_are_counted_as_one_number_and_second_ones_are_found() -> None:
    """So that the test above can fail: words that break it once spelled out."""
    long = spell_numbers("Battery. Low, -9999.9 percent of it. Plan the landing soon, please do.")
    assert [wrong.what for wrong in wrongs(long, Level.CAUTION)] == ["13 words with the level"]
    two = spell_numbers("Battery. 3.3 volts, 20 percent. Land soon.")
    assert [wrong.what for wrong in wrongs(two, Level.CAUTION)] == ["2 numbers"]


def test_subjects_are_a_closed_list_without_idle_entries() -> None:
    used = {parts(rule)[0].lower() for rule in shipped() if rule.level is not Level.ROUTINE}
    assert used | {"watch", "observer", "post"} == set(SUBJECTS)
    assert all(SUBJECTS.values())


def test_words_of_what_to_do_are_all_in_use() -> None:
    """A list that grows beyond what is said would let anything pass."""
    begun = set()
    for rule in shipped():
        if level_of(rule) in {Level.WARNING, Level.CAUTION}:
            begun |= {word.strip(",").lower() for word in parts(rule)[-1].split()[:2]}
    assert TO_DO - begun <= {"see"}  # of the watch's own words
    assert BEFORE_TO_DO - begun <= {"observer"}


def test_composed_words_of_the_watch_keep_the_grammar() -> None:
    """Watch-blind with every subject, a flood, chatter, refused rules, silence, parts without a text."""
    teller = Teller()
    desk = WatchDesk(teller)
    names = [rule.subject for rule in shipped() if rule.level is not Level.ROUTINE]
    for i in range(0, len(names) - 6, 3):
        assert faults(blind_words(names[i : i + 6]), Level.ADVISORY) == []
    longest = sorted({subject.capitalize() for subject in SUBJECTS}, key=lambda s: -len(s.split()))
    assert faults(blind_words(longest), Level.ADVISORY) == []
    desk.unheard(silent=True, now_us=0)
    desk.changing({(1, "x"): "Landing place"}, 0)
    desk.flood(flooding=True, kept=0, standing=1234, now_us=0)
    desk.flood(flooding=True, kept=1234, standing=3, now_us=200_000_000)
    desk.refused([Fault("a.yaml", 1, 1, "wrong", "mend it")], 0)
    desk.report(Order("report", rule="voice", ok=False), 0)
    told = [one for one in teller.take() if isinstance(one, AlertChange)]
    assert len(told) == 6
    for one in told:
        assert one.callout is not None
        words = one.callout.removeprefix(f"{one.level.value.capitalize()}. ")
        assert words.startswith("Watch. ")
        assert faults(words, Level.ADVISORY) == []


def _texts(node: ast.expr) -> Iterator[str]:
    """Yield the texts that an expression may be; what is put into them is as long as it usually gets."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.JoinedStr):
        yield "".join(str(p.value) if isinstance(p, ast.Constant) else HARD for p in node.values)
    elif isinstance(node, ast.BoolOp):
        for value in node.values:
            yield from _texts(value)


def reports() -> list[str]:
    """Return the texts of reports that parts do not work, as they stand in the code."""
    found = []
    for path in sorted(CODE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            name = ""
            if isinstance(node, ast.Call):
                name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            if isinstance(node, ast.Call) and name in REPORTING:
                found += [text for one in node.args for text in _texts(one) if text[:1].isupper() and " " in text]
    return found


def test_reports_of_parts_keep_the_grammar() -> None:
    """Each is told as "Watch." and the report: two parts at least, twelve words, full stops."""
    texts = reports()
    assert len(texts) > 10
    assert [one for text in texts for one in faults(f"Watch. {text}", Level.ADVISORY)] == []


ALIKE = 0.15
"""Closer than this two callouts differ by a word or less of their phonemes (measured, see below)."""
ONE_PHRASE_APART = {
    ("battery-low", "gauge-low"): "one word more, and the same to do",
}


def test_no_two_callouts_of_a_level_sound_alike() -> None:
    """Edit distance of IPA phonemes by eSpeak NG, the same number in every place."""
    close = {}
    rules = [rule for rule in shipped() if not any("text." in part for part in parts(rule))]
    for i, one in enumerate(rules):
        for other in rules[i + 1 :]:
            if one.level is other.level and apart(_plain(one.say.text), _plain(other.say.text)) < ALIKE:
                close[one.id, other.id] = ""
    assert set(close) == set(ONE_PHRASE_APART)


def test_warnings_with_different_actions_are_a_third_apart() -> None:
    warnings = [rule for rule in shipped() if rule.level is Level.WARNING]
    for i, one in enumerate(warnings):
        for other in warnings[i + 1 :]:
            if parts(one)[-1] != parts(other)[-1]:
                assert apart(_plain(one.say.text), _plain(other.say.text)) > 0.3, (one.id, other.id)


def test_distance_of_sounds_finds_what_sounds_alike() -> None:
    """So that the tests above can fail; homophones by any English dictionary."""
    assert phonemes("wait") == phonemes("weight")
    assert apart("Land now.", "Land no.") < 0.2
    assert apart("Turn back now.", "Check antennas.") > 0.6


def _plain(say: str) -> str:
    return re.sub(r"\{[^{}]*\}", "six", say)
