"""The one grammar of callouts, held by `rules check`.

Level, subject, what, then what to do; at most twelve words, one number. The aircraft, named when there are
several, comes on top.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.errors import Fault
from watchkeeper.rules.levels import Level
from watchkeeper.rules.schema import Rule

MOST_WORDS = 12
_PLACE = re.compile(r"\{([^{}]*)\}")
_NUMBER_WORDS = frozenset(
    {
        *("zero", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"),
        *("fifteen", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"),
        *("hundred", "thousand"),
    }
)
_MEASURES = frozenset({"minute", "second", "metre", "percent", "volt"})  # "one" is a number before these only
_NEVER = {
    "reduce power": "an aircraft that climbs or fights wind cannot; say what to do, like 'slow down'",
    "come home": "home may not be the safe place; say 'turn back' or 'land'",
    "return home": "home may not be the safe place; say 'turn back' or 'land'",
}
_SENTENCES = {Level.WARNING: 3, Level.CAUTION: 3, Level.ADVISORY: 2, Level.ROUTINE: 1}


@dataclass(frozen=True, slots=True)
class Grammar:
    """What the grammar has to know of a language."""

    numbers: frozenset[str] = _NUMBER_WORDS
    """Words that are a number wherever they stand."""
    one: str = "one"
    """A number before these measures only."""
    measures: frozenset[str] = _MEASURES
    never: Mapping[str, str] = field(default_factory=lambda: _NEVER)
    """What no callout may say, and what to do instead."""
    word: Callable[[str], str] = str
    """A value of a reading as it is said, by the English words."""


ENGLISH_GRAMMAR = Grammar()


def callout_faults(rule: Rule) -> list[Fault]:
    """Return what is wrong with the words of a rule, each with its place."""
    found = grammar_faults(rule.say.text, rule, ENGLISH_GRAMMAR)
    return [replace(rule.place, what=f"{rule.id}: {what}", do=do) for what, do in found]


def grammar_faults(say: str, rule: Rule, grammar: Grammar) -> list[tuple[str, str]]:
    """Return what is wrong with `say` as the words of a rule in some language, and what to do."""
    text = _PLACE.sub(lambda place: _longest(place, grammar), say)
    faults: list[tuple[str, str]] = []
    if not text.endswith("."):
        faults.append(("a callout ends with a full stop", "add it"))
    words = [word.strip(".,;:!?").lower() for word in text.split()]
    count = len(words) + (rule.level is not Level.ROUTINE)
    if count > MOST_WORDS:
        faults.append((f"{count} words with the level", f"say it in {MOST_WORDS}"))
    numbers = sum(1 for word in words if _is_number(word, grammar))
    numbers += sum(1 for one, of in pairwise(words) if one == grammar.one and of in grammar.measures)
    if numbers > 1:
        faults.append((f"{numbers} numbers", "say one"))
    sentences = [part for part in re.split(r"\.(?:\s|$)", text) if part.strip()]
    wanted = _SENTENCES[rule.level if rule.escalate is None else rule.escalate.to]
    if len(sentences) < wanted:
        parts = "subject, what, and what to do" if wanted > 2 else "subject and what"
        faults.append((f"{len(sentences)} of {wanted} parts", f"say {parts}, each ended by a full stop"))
    spoken = " ".join(words)
    faults += [(f"says '{phrase}'", do) for phrase, do in grammar.never.items() if phrase in spoken]
    return faults


def _longest(place: re.Match[str], grammar: Grammar) -> str:
    """Return the longest that may stand in a place: of words the one with the most, else a number."""
    index = INDEX.get(place[1].strip())
    words = () if index is None else CATALOGUE[index].words
    spoken = [grammar.word(word.replace("_", " ")) for word in words]
    return max(spoken, key=lambda word: (len(word.split()), len(word)), default="0")


def _is_number(word: str, grammar: Grammar) -> bool:
    return any(character.isdigit() for character in word) or not grammar.numbers.isdisjoint(word.split("-"))
