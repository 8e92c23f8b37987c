"""The one grammar of callouts, held by `rules check`.

Level, subject, what, then what to do; at most twelve words, one number. The aircraft, named when there are
several, comes on top.
"""

from __future__ import annotations

import re
from dataclasses import replace
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


def callout_faults(rule: Rule) -> list[Fault]:
    """Return what is wrong with the words of a rule, each with its place."""
    text = _PLACE.sub(_longest, rule.say.text)
    faults: list[Fault] = []

    def fault(what: str, do: str) -> None:
        faults.append(replace(rule.place, what=f"{rule.id}: {what}", do=do))

    if not text.endswith("."):
        fault("a callout ends with a full stop", "add it")
    words = [word.strip(".,;:!?").lower() for word in text.split()]
    count = len(words) + (rule.level is not Level.ROUTINE)
    if count > MOST_WORDS:
        fault(f"{count} words with the level", f"say it in {MOST_WORDS}")
    numbers = sum(1 for word in words if _is_number(word))
    numbers += sum(1 for one, of in pairwise(words) if one == "one" and of in _MEASURES)
    if numbers > 1:
        fault(f"{numbers} numbers", "say one")
    sentences = [part for part in re.split(r"\.(?:\s|$)", text) if part.strip()]
    wanted = _SENTENCES[rule.level if rule.escalate is None else rule.escalate.to]
    if len(sentences) < wanted:
        parts = "subject, what, and what to do" if wanted > 2 else "subject and what"
        fault(f"{len(sentences)} of {wanted} parts", f"say {parts}, each ended by a full stop")
    for phrase, do in _NEVER.items():
        if phrase in " ".join(words):
            fault(f"says '{phrase}'", do)
    return faults


def _longest(place: re.Match[str]) -> str:
    """Return the longest that may stand in a place: of words the one with the most, else a number."""
    index = INDEX.get(place[1].strip())
    words = () if index is None else CATALOGUE[index].words
    spoken = [word.replace("_", " ") for word in words]
    return max(spoken, key=lambda word: (len(word.split()), len(word)), default="0")


def _is_number(word: str) -> bool:
    return any(character.isdigit() for character in word) or not _NUMBER_WORDS.isdisjoint(word.split("-"))
