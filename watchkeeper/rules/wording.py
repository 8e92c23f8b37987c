"""The one grammar of callouts: what a rule says is held to it by `rules check`, composed words by the same check.

[Aircraft, if there are several] level, subject, what, then what to do. The subject is one of a closed list
(subjects.py); parts end with full stops; at most twelve words and one number. A number is one word however it is
spoken: "three decimal three" is said in one go and heard as one thing. The aircraft comes on top.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.errors import Fault, did_you_mean
from watchkeeper.rules.levels import Level
from watchkeeper.rules.places import place_in
from watchkeeper.rules.schema import Rule
from watchkeeper.rules.subjects import BEFORE_TO_DO, SUBJECTS, TO_DO

MOST_WORDS: Final = 12
TEXT_WORDS: Final = 5
"""What a text reading may bring at most."""
_PLACE: Final = re.compile(r"\{([^{}]*)\}")
_WORD: Final = re.compile(r"[^\s.,]+(?:\.\d+)?")
_PART: Final = re.compile(r"\s*((?:[^.]|\.(?=\d))+)(?:\.|$)")
_STRANGE: Final = re.compile(r"[^\w\s.,'%+/-]|_")
_NUMBER_WORDS: Final = frozenset(
    {
        *("zero", "two", "three", "four", "five", "six", "seven", "eight", "nine", "niner", "ten"),
        *("eleven", "twelve"),
        *("thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"),
        *("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"),
        *("hundred", "thousand", "million"),
    }
)
_INSIDE_NUMBERS: Final = frozenset({"one", "point", "decimal", "minus"})
"""They belong to a number beside them."""
_MEASURES: Final = frozenset({"minute", "second", "metre", "percent", "volt", "volts", "degree", "pack"})
"""Before these "one" is a number; elsewhere it is a word like any other ("one of two")."""
_NEVER: Final = {
    "reduce power": "an aircraft that climbs or fights wind cannot; say what to do, like 'slow down'",
    "come home": "home may not be the safe place; say 'turn back' or 'land'",
    "return home": "home may not be the safe place; say 'turn back' or 'land'",
}
_PARTS: Final = {Level.WARNING: (3, 4), Level.CAUTION: (3, 4), Level.ADVISORY: (2, 3), Level.ROUTINE: (1, 2)}


@dataclass(frozen=True, slots=True)
class Grammar:
    """What the grammar has to know of a language."""

    numbers: frozenset[str] = _NUMBER_WORDS
    """Words that are a number wherever they stand."""
    inside: frozenset[str] = _INSIDE_NUMBERS
    """Words that belong to a number beside them."""
    one: str = "one"
    """A number before these measures only."""
    measures: frozenset[str] = _MEASURES
    never: Mapping[str, str] = field(default_factory=lambda: _NEVER)
    """What no callout may say, and what to do instead."""
    subjects: Collection[str] | None = field(default_factory=lambda: SUBJECTS)
    """What a callout may begin with; None: as the words it translates, which are held to it."""
    word: Callable[[str], str] = str
    """A value of a reading as it is said, by the English words."""


ENGLISH_GRAMMAR: Final = Grammar()


class Wrong(NamedTuple):
    """One thing wrong with words: at which character, what, what to do."""

    at: int
    what: str
    do: str


def callout_faults(rule: Rule) -> list[Fault]:
    """Return what is wrong with the words of a rule, each with its place."""
    lines = [*([""] * (rule.place.line - 1)), rule.place.source_line]
    start = (rule.place.line, rule.place.column)
    faults: list[Fault] = []
    for wrong in grammar_faults(rule.say.text, rule):
        _, column = place_in(lines, start, rule.say.text, wrong.at)
        faults.append(replace(rule.place, column=column, what=f"{rule.id}: {wrong.what}", do=wrong.do))
    return faults


def grammar_faults(say: str, rule: Rule, grammar: Grammar = ENGLISH_GRAMMAR) -> list[Wrong]:
    """Return what is wrong with `say` as the words of a rule, in order, each with its place in `say`.

    What to do has to be said by the verbs of `TO_DO` in English only; where verbs stand is a matter of language.
    """
    text, came_from = _filled(say, grammar)
    level = rule.level if rule.escalate is None else rule.escalate.to
    own_words = grammar.subjects is not None
    found = sorted(wrongs(text, level, own_words=own_words, grammar=grammar))
    return [wrong._replace(at=came_from[min(wrong.at, len(text) - 1)]) for wrong in found]


def wrongs(
    text: str, level: Level, *, own_words: bool = False, grammar: Grammar = ENGLISH_GRAMMAR
) -> Iterator[Wrong]:
    """Yield what is wrong with words that begin with their subject; numbers in digits or spelled out.

    `own_words`: written by the author of a rule, who is held to how parts begin; readings are not.
    """
    if not text.strip():
        yield Wrong(0, "it says nothing", "say subject and what")
        return
    if not text.endswith("."):
        yield Wrong(len(text) - 1, "a callout ends with a full stop", "add it")
    if (strange := _STRANGE.search(text)) is not None:
        yield Wrong(strange.start(), f"'{strange[0]}' is not spoken", "use words, commas and full stops")
    found = list(_WORD.finditer(text))
    spoken, numbers = _counted(found, grammar)
    count = len(spoken) + (level is not Level.ROUTINE)
    if count > MOST_WORDS:
        beyond = spoken[MOST_WORDS - (level is not Level.ROUTINE)]
        yield Wrong(beyond.start(), f"{count} words with the level", f"say it in {MOST_WORDS}")
    if len(numbers) > 1:
        yield Wrong(numbers[1].start(), f"{len(numbers)} numbers", "say one")
    words = [word[0].lower() for word in found]
    for phrase, do in grammar.never.items():
        wanted = phrase.split()
        for i in range(len(words)):
            if words[i : i + len(wanted)] == wanted:
                yield Wrong(found[i].start(), f"says '{phrase}'", do)
    yield from _wrong_parts(text, level, grammar, own_words=own_words)


def _wrong_parts(text: str, level: Level, grammar: Grammar, *, own_words: bool) -> Iterator[Wrong]:
    parts = [part for part in _PART.finditer(text) if part[1].strip()]
    least, most = _PARTS[level]
    if len(parts) < least:
        wanted = "subject, what, and what to do" if least > 2 else "subject and what"
        yield Wrong(0, f"{len(parts)} of {least} parts", f"say {wanted}, each ended by a full stop")
        return
    if len(parts) > most:
        yield Wrong(parts[most].start(1), f"{len(parts)} parts", f"say it in {most}")
    if level is Level.ROUTINE:
        return
    subject = parts[0][1].strip()
    if grammar.subjects is not None and subject.lower() not in grammar.subjects:
        hint = did_you_mean(subject.lower(), grammar.subjects, otherwise="'watchkeeper rules list' prints them")
        yield Wrong(0, f"'{subject}' is none of the subjects", hint)
    if own_words and least > 2:
        last = parts[-1]
        verbs = [word[0].lower() for word in _WORD.finditer(last[1])][:2]
        if verbs[:1] and verbs[0] in BEFORE_TO_DO:
            verbs = verbs[1:]
        if not verbs or (verbs[0] not in TO_DO and not verbs[0].startswith("{")):
            say = "begin it with what to do: " + ", ".join(sorted(TO_DO))
            yield Wrong(last.start(1), f"'{last[1].strip()}' does not say what to do", say)


def _counted(words: list[re.Match[str]], grammar: Grammar) -> tuple[list[re.Match[str]], list[re.Match[str]]]:
    """Return the words, of each number the first only, and the numbers."""
    spoken: list[re.Match[str]] = []
    numbers: list[re.Match[str]] = []
    inside = False
    for i, word in enumerate(words):
        text = word[0].lower()
        after = words[i + 1][0].lower() if i + 1 < len(words) else ""
        number = _is_number(text, grammar) or (text == grammar.one and after in grammar.measures)
        if text in grammar.inside and not number:
            number = inside or (text != "point" and (_is_number(after, grammar) or after == grammar.one))
        if number and inside and not any(c.isdigit() for c in text):
            continue
        spoken.append(word)
        inside = number
        if number:
            numbers.append(word)
    return spoken, numbers


def _filled(say: str, grammar: Grammar) -> tuple[str, list[int]]:
    """Return the words with the longest that may stand in each place, and where each character came from."""
    pieces: list[str] = []
    came_from: list[int] = []
    at = 0
    for place in _PLACE.finditer(say):
        longest = _longest(place, grammar)
        pieces += [say[at : place.start()], longest]
        came_from += [*range(at, place.start()), *([place.start()] * len(longest))]
        at = place.end()
    pieces.append(say[at:])
    came_from += range(at, len(say))
    return "".join(pieces), came_from


def _longest(place: re.Match[str], grammar: Grammar) -> str:
    """Return the longest that may stand in a place: of words the one with the most, else a number."""
    index = INDEX.get(place[1].strip())
    reading = None if index is None else CATALOGUE[index]
    if reading is not None and reading.text:
        return " ".join(["word"] * TEXT_WORDS)
    words = () if reading is None else reading.words
    spoken = [grammar.word(word.replace("_", " ")) for word in words]
    return max(spoken, key=lambda word: (len(word.split()), len(word)), default="0")


def _is_number(word: str, grammar: Grammar) -> bool:
    return any(character.isdigit() for character in word) or not grammar.numbers.isdisjoint(word.split("-"))
