"""How an alert is put into words: one order for all callouts.

[Aircraft, if there are several] level, subject, what, then what to do. The order is that of MIL-STD-411F
5.3.6: heading, location, nature of the emergency.
"""

from __future__ import annotations

from collections.abc import Iterable

from watchkeeper.alerts.events import Level

MAX_SUBJECTS = 4  # with level, subject and verb this stays under the twelve words of a callout


def callout(level: Level, words: str, aircraft: int | None, *, several: bool) -> str:
    """Return the whole callout of `words`, which begin with the subject."""
    text = words if level is Level.ROUTINE else f"{level.value.capitalize()}. {words}"
    return f"Aircraft {aircraft}. {text}" if several and aircraft is not None else text


def blind_words(subjects: Iterable[str]) -> str:
    """Return the words for what the watch cannot see, e.g. "Watch. Cannot see battery, wind."."""
    names = list(dict.fromkeys(subject.lower() for subject in subjects))
    if len(names) > MAX_SUBJECTS:
        names = [*names[: MAX_SUBJECTS - 1], "and more"]
    return f"Watch. Cannot see {', '.join(names)}."


def test_call(role: str) -> str:
    """Return the words by which the watch asks whether a role is reached: the post reads them."""
    return f"Test. Watch to {role}, confirm that you {'read' if role == 'post' else 'hear'}."
