"""Callouts that are known before anything happens, so that they can be rendered while there is time."""

from __future__ import annotations

from collections.abc import Iterable

from watchkeeper.alerts.events import Level
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.alerts.wording import callout
from watchkeeper.rules.schema import Rule


def fixed_warnings(rules: Iterable[Rule], language: Language = ENGLISH) -> tuple[str, ...]:
    """Return the callouts of warnings (those that alerts may rise to included) that hold no reading.

    As for a single aircraft: those that begin with its number are rendered when they come.
    """
    said = [
        callout(Level.WARNING, language.say(rule).render(lambda _: None), None, several=False, language=language)
        for rule in rules
        if not rule.trial
        and not rule.say.readings
        and Level.WARNING in (rule.level, rule.escalate.to if rule.escalate is not None else None)
    ]
    return tuple(dict.fromkeys(said))
