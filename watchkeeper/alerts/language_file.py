"""Language files: YAML text to a `Language`, with every fault at its place. Nothing in one can run code.

The keys of its tables are the English words. What is missing and what is not known is a fault: a callout half in
one language and half in another is worse than one that is refused before the flight.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from typing import Any, Final

from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.alerts.language import Language
from watchkeeper.alerts.phrases import PHRASES
from watchkeeper.alerts.spoken import Numerals
from watchkeeper.documents import Document, Path, parse_document
from watchkeeper.errors import BadInputError, Fault, did_you_mean
from watchkeeper.rules.schema import Rule
from watchkeeper.rules.spoken_units import NAMES, UnitNames
from watchkeeper.rules.template import MAX_CHARACTERS
from watchkeeper.rules.wording import Grammar, grammar_faults

WORDS: Final = frozenset(
    {"unknown", "yes", "no", *(word.replace("_", " ") for reading in CATALOGUE for word in reading.words)}
)
"""Every word that a reading can be, as it is said in English."""
LONGEST_PLAIN: Final = 5
"""Digits of the longest plain number; no callout holds a longer one."""
_KEYS: Final = ("language", "voice", "numbers", "units", "never", "rules", "phrases", "words")
_NUMBER_LISTS: Final = {"digits": 10, "below_hundred": 100, "hundreds": 9}
_NUMBER_WORDS: Final = ("decimal", "minus", "hundred", "thousand", "one_thousand", "thousands")
_NUMBER_KEYS: Final = ("sign", *_NUMBER_WORDS, *_NUMBER_LISTS, "lengths")
_SIGNS: Final = (".", ",")
_VOICE: Final = re.compile(r"[A-Za-z0-9+_-]{1,40}\Z")
_PLACE: Final = re.compile(r"\{[^{}]*\}")
MOST_NEVER: Final = 50
MOST_FORMS: Final = 10


def read_language(text: str, name: str, says: Collection[str] | None, others: Collection[str] = ()) -> Language:
    """Return the language of a file called `name`. Raises BadInputError with every fault.

    `says` is what the rules say that have to be translated, `others` what else may be; with None the rules
    are taken as they come.
    """
    language, faults = try_language(text, name, says, others)
    if faults:
        raise BadInputError(faults)
    return language


def try_language(
    text: str, name: str, says: Collection[str] | None, others: Collection[str] = ()
) -> tuple[Language, tuple[Fault, ...]]:
    """Return what can be used of a language file, and its faults. Raises BadInputError if it is no YAML table."""
    document = parse_document(text, name)
    reader = _Reader(document)
    if not isinstance(document.data, dict):
        raise BadInputError([document.fault((), "no table", "see the shipped language files")])
    reader.keys((), document.data, _KEYS)
    wanted = None if says is None else frozenset(says)
    language = Language(
        name=reader.word(("language",)) or name,
        voice=reader.voice(),
        numerals=reader.numerals(),
        units=reader.units(),
        never=tuple(phrase.lower() for phrase in reader.words(("never",), MOST_NEVER)),
        rules=reader.table("rules", wanted, others, places=True),
        phrases=reader.table("phrases", PHRASES, places=True),
        words=reader.table("words", WORDS),
        text=text,
    )
    return language, tuple(reader.faults)


class _Reader:
    def __init__(self, document: Document) -> None:
        self._document = document
        self.faults: list[Fault] = []

    def _fault(self, path: Path, what: str, do: str, *, key: bool = False) -> None:
        self.faults.append(self._document.fault(path, what, do, key=key))

    def _at(self, path: Path) -> Any:
        found = self._document.data
        for part in path:
            found = found.get(part) if isinstance(found, dict) else None
        return found

    def keys(self, path: Path, found: Mapping[str, Any], known: Collection[str]) -> None:
        """Check the keys of a table against all that have to be there."""
        for key in found:
            if key not in known:
                hint = did_you_mean(key, known, otherwise="leave it out")
                self._fault((*path, key), f"unknown key '{key}'", hint, key=True)
        for key in known:
            if key not in found:
                self._fault(path, f"'{key}' is missing", "add it", key=bool(path))

    def word(self, path: Path) -> str:
        """Return text that has to be there; a fault and "" otherwise. A missing key has been told already."""
        return self._word(path, self._at(path)) if self._at(path[:-1]) and path[-1] in self._at(path[:-1]) else ""

    def _word(self, path: Path, found: Any) -> str:
        if not isinstance(found, str) or not found.strip():
            self._fault(path, "no words", 'write them, in quotes if they are null, true or a number ("null")')
        elif len(found) > MAX_CHARACTERS or not found.isprintable():
            self._fault(path, f"longer than {MAX_CHARACTERS} characters, or not printable", "say it in one line")
        else:
            return " ".join(found.split())
        return ""

    def words(self, path: Path, most: int, *, exactly: bool = False) -> tuple[str, ...]:
        """Return a list of words of bounded (or this very) length."""
        found = self._at(path)
        if found is None:
            return ()
        if not isinstance(found, list) or len(found) > most or (exactly and len(found) != most):
            self._fault(path, f"no list of {'' if exactly else 'up to '}{most} words", "write [one, two, …]")
            return ()
        return tuple(self._word((*path, i), one) for i, one in enumerate(found))

    def voice(self) -> str:
        """Return the name of the voice."""
        name = self.word(("voice",))
        if name and not _VOICE.match(name):
            self._fault(("voice",), f"'{name}' is no voice", "name one of the synthesiser, like de")
            return "en-us"
        return name or "en-us"

    def numerals(self) -> Numerals:
        """Return the words for numbers. With faults it may be one that cannot be used."""
        table = self._at(("numbers",))
        if not isinstance(table, dict):
            self._fault(("numbers",), "no table of number words", f"it has {', '.join(_NUMBER_KEYS)}")
            return Numerals((), (), (), "", "", "", "", "", (), 0, frozenset())
        self.keys(("numbers",), table, _NUMBER_KEYS)
        lists = {key: self.words(("numbers", key), size, exactly=True) for key, size in _NUMBER_LISTS.items()}
        said = {key: self.word(("numbers", key)) for key in _NUMBER_WORDS}
        sign = self.word(("numbers", "sign"))
        if sign and sign not in _SIGNS:
            self._fault(("numbers", "sign"), f"'{sign}' is no decimal sign", "write . or ,")
        if said["thousands"] and said["thousands"].count("{}") != 1:
            self._fault(("numbers", "thousands"), "has no place for how many", 'write it like "{} thousand"')
        return Numerals(
            digits=lists["digits"],
            below_hundred=lists["below_hundred"],
            hundreds=lists["hundreds"],
            decimal=said["decimal"],
            point=said["decimal"],
            minus=said["minus"],
            hundred=said["hundred"],
            thousand=said["thousand"],
            groups=((1000, said["one_thousand"], said["thousands"]),),
            longest=LONGEST_PLAIN,
            lengths=frozenset(word.lower() for word in self.words(("numbers", "lengths"), 50)),
            sign=sign if sign in _SIGNS else ".",
        )

    def units(self) -> UnitNames:
        """Return the names of units, each in as many forms as the others."""
        table = self._at(("units",))
        if not isinstance(table, dict):
            if table is not None or "units" in self._document.data:
                self._fault(("units",), "no table of units", f"it has {', '.join(NAMES)}")
            return NAMES
        self.keys(("units",), table, tuple(NAMES))
        forms = {symbol: self.words(("units", symbol), MOST_FORMS) for symbol in NAMES}
        for symbol, named in forms.items():
            if symbol in table and len(named) != len(forms["m"]):
                self._fault(
                    ("units", symbol), "not as many forms as of m", "write one for each, in the same order"
                )
        if not all(named and len(named) == len(forms["m"]) for named in forms.values()):
            return NAMES
        return {symbol: (*named, *NAMES[symbol]) for symbol, named in forms.items()}  # a crew's own rules as well

    def table(
        self, key: str, wanted: Collection[str] | None, others: Collection[str] = (), *, places: bool = False
    ) -> dict[str, str]:
        """Return a table of translations by the English words; `wanted` have to be there, `others` may be."""
        found = self._at((key,))
        if not isinstance(found, dict):
            if key in self._document.data:
                self._fault((key,), "no table of translations", 'write "English words": "your words"')
            return {}
        if wanted is not None:
            self._compare(key, found, wanted, others)
        own = {english: self._word((key, english), said) for english, said in found.items()}
        for english, said in own.items():
            if said and _places(english) != _places(said) and (places or _PLACE.search(said)):
                named = ", ".join(_places(english).elements()) or "none"
                self._fault((key, english), "other places {…} than the English words", f"these: {named}")
            elif said and ("{" in _PLACE.sub("", said) or "}" in _PLACE.sub("", said)):
                self._fault((key, english), "a brace without its pair", "write {…}")
        return {english: said for english, said in own.items() if said}

    def _compare(self, key: str, found: Iterable[str], wanted: Collection[str], others: Collection[str]) -> None:
        """Fault what is missing and what nobody says."""
        has = set(found)
        missing = sorted(set(wanted) - has)
        for english in found:
            if english not in wanted and english not in others:
                hint = did_you_mean(english, missing, otherwise="nothing says so; leave it out")
                self._fault((key, english), f"unknown words '{english}'", hint, key=True)
        for english in missing:
            self._fault((key,), f"'{english}' has no translation", "add it", key=True)


def _places(text: str) -> Counter[str]:
    return Counter("".join(place.split()) for place in _PLACE.findall(text))


def wording_faults(language: Language, name: str, rules: Iterable[Rule]) -> list[Fault]:
    """Return where the translations of a language file called `name` break the grammar of callouts."""
    if not language.text:
        return []
    document = parse_document(language.text, name)
    grammar = Grammar(
        numbers=frozenset((*language.numerals.below_hundred[2:], *language.numerals.digits[2:])),
        measures=frozenset(),
        inside=frozenset((language.numerals.decimal.lower(), language.numerals.minus.lower())),
        subjects=None,
        never=dict.fromkeys(language.never, "the language file says that no callout may"),
        word=language.word,
    )
    return [
        document.fault(("rules", rule.say.text), f"{rule.id}: {wrong.what}", wrong.do)
        for rule in rules
        if rule.say.text in language.rules
        for wrong in grammar_faults(language.rules[rule.say.text], rule, grammar)
    ]
