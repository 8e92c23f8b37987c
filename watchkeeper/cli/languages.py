"""Finds the language in which a crew is told: a shipped one, the crew's own file, or the one a recording keeps."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Final

from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.alerts.language_file import read_language, try_language, wording_faults
from watchkeeper.cli.inputs import CREW, load_rules, read_text
from watchkeeper.edges.configuration import ENGLISH as ENGLISH_NAME
from watchkeeper.edges.configuration import Voice
from watchkeeper.errors import BadInputError, Fault
from watchkeeper.resources import shipped_languages
from watchkeeper.rules.load import RuleSet

LANGUAGE: Final = "language.yaml"
"""The language file in a recording."""
WHAT: Final = "language file"
_LANGUAGE_KEY: Final = re.compile(r"^language\s*:", re.MULTILINE)
_PACK_KEY: Final = re.compile(r"^pack\s*:", re.MULTILINE)


def load_language(name: str, rules: RuleSet) -> Language:
    """Return the language of a configuration: shipped by name, else the crew's own file.

    Raises BadInputError with every fault of the file, held against the shipped rules and the loaded ones.
    """
    if name == ENGLISH_NAME:
        return ENGLISH
    shipped = shipped_languages().get(name)
    if shipped is not None:  # tested against the shipped rules
        return read_language(read_text(shipped, WHAT), str(shipped), None)
    return read_language(read_text(Path(name), WHAT), name, says(load_rules([])), says(rules))


def says(rules: RuleSet) -> frozenset[str]:
    """Return all that rules say."""
    return frozenset(rule.say.text for rule in rules.rules)


def is_language(text: str) -> bool:
    """Whether this is a language file, and no rule pack."""
    return _LANGUAGE_KEY.search(text) is not None and _PACK_KEY.search(text) is None


def language_faults(text: str, name: str, rules: RuleSet) -> list[Fault]:
    """Return what is wrong with a language file, held against the shipped rules and the loaded ones."""
    try:
        language, faults = try_language(text, name, says(load_rules([])), says(rules))
    except BadInputError as error:
        return [*error.faults]
    return [*faults, *wording_faults(language, name, rules.rules)]


def voice_of(voice: Voice, language: Language) -> Voice:
    """Return how callouts sound: by the voice of their language, unless the crew has chosen one."""
    if "language" in voice.model_fields_set:
        return voice
    return voice.model_copy(update={"language": language.voice})


def kept_language(recording: Path) -> Language:
    """Return the language that a recording keeps; English if it has none, or one that cannot be read at all.

    One of another version of the program may lack words: those are said in English.
    """
    path = recording / CREW / LANGUAGE
    if not path.is_file():
        return ENGLISH
    try:
        language, faults = try_language(read_text(path, WHAT), str(path), None)
    except BadInputError as error:
        language, faults = ENGLISH, error.faults
    for fault in faults:
        print(fault, file=sys.stderr)
    print(f"with the language kept in the recording: {language.name}", file=sys.stderr)
    return language
