"""The one grammar of callouts, held by `rules check`.

Level, subject, what, then what to do; at most twelve words, one number. The aircraft, named when there are
several, comes on top.
"""

from __future__ import annotations

import re
from dataclasses import replace

from watchkeeper.errors import Fault
from watchkeeper.rules.levels import Level
from watchkeeper.rules.schema import Rule

MOST_WORDS = 12
_NUMBER = re.compile(r"\{|\d")
_NUMBER_WORDS = frozenset(
    "zero two three four five six seven eight nine ten twenty thirty forty fifty sixty hundred thousand".split()
)  # "one" is also a word like any other ("within one minute" counts by its own rule below)
_NEVER = {
    "reduce power": "an aircraft that climbs or fights wind cannot; say what to do, like 'slow down'",
    "come home": "home may not be the safe place; say 'turn back' or 'land'",
    "return home": "home may not be the safe place; say 'turn back' or 'land'",
}
_SENTENCES = {Level.WARNING: 3, Level.CAUTION: 3, Level.ADVISORY: 2, Level.ROUTINE: 1}


def callout_faults(rule: Rule) -> list[Fault]:
    """Return what is wrong with the words of a rule, each with its place."""
    text = rule.say.text
    faults: list[Fault] = []

    def fault(what: str, do: str) -> None:
        faults.append(replace(rule.place, what=f"{rule.id}: {what}", do=do))

    if not text.rstrip().endswith("."):
        fault("a callout ends with a full stop", "add it")
    words = re.sub(r"\{[^{}]*\}", "number", text).replace(",", " ").split()
    count = len(words) + (rule.level is not Level.ROUTINE)
    if count > MOST_WORDS:
        fault(f"{count} words with the level", f"say it in {MOST_WORDS}")
    spoken = [word.strip(".,").lower() for word in text.split()]
    numbers = sum(1 for word in text.split() if _NUMBER.search(word))
    numbers += sum(1 for word in spoken if word in _NUMBER_WORDS)
    numbers += sum(
        1 for a, b in zip(spoken, spoken[1:], strict=False) if a == "one" and b in {"minute", "second", "metre"}
    )
    if numbers > 1:
        fault(f"{numbers} numbers", "say one")
    sentences = [part for part in re.split(r"\.(?:\s|$)", text) if part.strip()]
    if len(sentences) < _SENTENCES[rule.level]:
        need = "subject, what, and what to do" if _SENTENCES[rule.level] > 2 else "subject and what"
        fault(f"{len(sentences)} part(s)", f"say {need}, each ended by a full stop")
    for phrase, do in _NEVER.items():
        if phrase in " ".join(spoken):
            fault(f"says '{phrase}'", do)
    return faults
