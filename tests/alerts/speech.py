"""What tests of languages share: the shipped language, and a whole callout of every rule."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from tests.recordings import shipped
from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.alerts import wording
from watchkeeper.alerts.language import Language
from watchkeeper.alerts.language_file import read_language
from watchkeeper.resources import shipped_languages
from watchkeeper.rules.levels import Level
from watchkeeper.rules.schema import Rule

OWN_WORDS = "PreArm 3"
"""What an aircraft says by itself, in this test."""


def german() -> Language:
    path = shipped_languages()["de"]
    return read_language(path.read_text(encoding="utf-8"), str(path), {rule.say.text for rule in shipped().rules})


def value(index: int, number: float) -> Any:
    """Return some value of a reading."""
    reading = CATALOGUE[index]
    if reading.text:
        return OWN_WORDS
    return reading.words[0] if reading.words else reading.boolean or number


def levels(rule: Rule) -> list[Level]:
    return [rule.level, *([rule.escalate.to] if rule.escalate is not None else [])]


def callouts(language: Language, number: float = 3.4) -> Iterator[tuple[Rule, str]]:
    """Yield every rule with its whole callout, once a level and once a word that a reading in it may have."""
    for rule in shipped().rules:
        template = language.say(rule)
        wordy = [i for i in template.readings if CATALOGUE[i].words]
        for turn in range(max((len(CATALOGUE[i].words) for i in wordy), default=1)):

            def read(index: int, turn: int = turn) -> Any:
                words = CATALOGUE[index].words
                return words[turn % len(words)] if words else value(index, number)

            said = template.render(read, language.speak)
            for level in levels(rule):
                yield rule, wording.callout(level, said, 2, several=True, language=language)
