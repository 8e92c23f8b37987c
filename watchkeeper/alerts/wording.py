"""How an alert is put into words: one order for all callouts.

[Aircraft, if there are several] level, subject, what, then what to do. The order is that of MIL-STD-411F
5.3.6: heading, location, nature of the emergency.
"""

from __future__ import annotations

from collections.abc import Iterable

from watchkeeper.alerts.events import Level
from watchkeeper.alerts.language import ENGLISH, Language

MAX_SUBJECTS = 4  # with level, subject and verb this stays under the twelve words of a callout


def callout(level: Level, words: str, aircraft: int | None, *, several: bool, language: Language = ENGLISH) -> str:
    """Return the whole callout of `words`, which begin with the subject and are in the crew's language."""
    text = words if level is Level.ROUTINE else f"{language.phrase(level.value.capitalize())}. {words}"
    return f"{language.phrase('Aircraft {}.', aircraft)} {text}" if several and aircraft is not None else text


def blind_words(subjects: Iterable[str], language: Language = ENGLISH) -> str:
    """Return the words for what the watch cannot see, e.g. "Watch. Cannot see battery, wind."."""
    names = list(dict.fromkeys(in_list(subject, language) for subject in subjects))
    if len(names) > MAX_SUBJECTS:
        names = [*names[: MAX_SUBJECTS - 1], language.phrase("and more")]
    return language.phrase("Watch. Cannot see {}.", ", ".join(names))


def in_list(subject: str, language: Language = ENGLISH) -> str:
    """Return the subject of a rule as it stands in a list; a language file has it as it is to be written."""
    return subject.lower() if language.english else language.subject(subject)


def call_to(role: str, language: Language = ENGLISH) -> str:
    """Return the words by which the watch asks whether a role is reached: the post reads them."""
    if role == "post":
        return language.phrase("Test. Watch to {}, confirm that you read.", language.tell(role))
    return language.phrase("Test. Watch to {}, confirm that you hear.", language.tell(role))
