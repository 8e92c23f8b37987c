"""The language in which a crew is told: what rules and the watch say, put into the words of a language file.

Decisions never depend on it. Rules, reasons and evidence stay as they are; only callouts are put into its words.
The key of every translation is the English text, so that a rule whose words a crew has changed, or written
itself, is spoken as it is written.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.alerts.spoken import ENGLISH_NUMERALS, Numerals
from watchkeeper.rules.schema import Rule
from watchkeeper.rules.spoken_units import NAMES, UnitNames
from watchkeeper.rules.template import Template, parse_template, spoken

MAX_MATCHED = 400
"""Characters of a finished text up to which it is looked for among the phrases with places."""
_PLACE: Final = "{}"


def fill(text: str, args: Iterable[object]) -> str:
    """Return `text` with its places {} filled in order. Nothing in it is evaluated, whatever it holds."""
    first, *others = text.split(_PLACE)
    return first + "".join(f"{arg}{piece}" for arg, piece in zip(args, others, strict=True))


@dataclass(frozen=True, slots=True)
class Language:
    """Words of one language, by the English ones. Without any it is English."""

    name: str = "English"
    voice: str = "en-us"
    """The voice that speaks it, as the synthesiser calls it."""
    numerals: Numerals = ENGLISH_NUMERALS
    units: UnitNames = field(default_factory=lambda: NAMES)
    """How heights and speeds are named, in the units of the crew's choosing."""
    never: tuple[str, ...] = ()
    """What no callout may say, in small letters."""
    rules: Mapping[str, str] = field(default_factory=dict)
    phrases: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    """Values of readings."""
    text: str = ""
    """The file it was read from, to be kept with a recording; empty for English."""
    _templates: dict[tuple[object, ...], Template] = field(default_factory=dict, compare=False, repr=False)
    _subjects: dict[str, str] = field(default_factory=dict, compare=False, repr=False)
    _patterns: list[tuple[re.Pattern[str], str]] = field(default_factory=list, compare=False, repr=False)

    def __post_init__(self) -> None:
        self._subjects.update({_subject(english): _subject(own) for english, own in self.rules.items()})
        with_places = sorted((p for p in self.phrases if _PLACE in p), key=lambda p: (p.count(_PLACE), -len(p)))
        self._patterns.extend(
            (re.compile("(.+?)".join(map(re.escape, english.split(_PLACE)))), self.phrases[english])
            for english in with_places
            if english.strip("{}. ")  # a phrase of nothing but places would fit anything
        )

    @property
    def english(self) -> bool:
        """Whether nothing is put into other words."""
        return not self.phrases

    def phrase(self, english: str, *args: object) -> str:
        """Return a phrase of the watch with its places {} filled."""
        return fill(self.phrases.get(english, english), args)

    def tell(self, text: str) -> str:
        """Return a finished English text of a part of the watch; one that is not known stays as it is."""
        own = self.phrases.get(text) or self.words.get(text) or self.phrases.get(text.lower())
        if own is not None:
            return own
        if len(text) <= MAX_MATCHED:
            for pattern, phrase in self._patterns:
                found = pattern.fullmatch(text)
                if found is not None:
                    return fill(phrase, (self.tell(arg) for arg in found.groups()))
        return text

    def say(self, rule: Rule) -> Template:
        """Return what a rule says; in its own words where the language file has none for them."""
        own = self.rules.get(rule.say.text)
        if own is None:
            return rule.say
        key = (own, rule.settings)
        template = self._templates.get(key)
        if template is None:
            template = self._templates[key] = parse_template(own, dict(rule.settings))
        return template

    def subject(self, english: str) -> str:
        """Return the subject of a rule."""
        return self._subjects.get(english, english)

    def word(self, english: str) -> str:
        """Return a value of a reading, given as it is said in English."""
        return self.words.get(english, english)

    def speak(self, index: int, value: Any, decimals: int) -> str:
        """Return a value of the reading `index` as it is said. What comes in words from outside stays as it is."""
        text = spoken(index, value, decimals)
        if self.english or (isinstance(value, str) and CATALOGUE[index].text):
            return text
        if isinstance(value, float | int) and not isinstance(value, bool):
            return text.replace(".", self.numerals.sign)
        return self.word(text)


def _subject(say: str) -> str:
    return say.split(".", 1)[0].strip()


ENGLISH: Final = Language()
