"""The lists of a picture: alerts, what is blind, what is to be done before a take-off."""

from __future__ import annotations

import re
from typing import Final

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.alerts.checks import Checks
from watchkeeper.alerts.desk import Lacks
from watchkeeper.alerts.language import Language
from watchkeeper.alerts.lifecycle import Alert
from watchkeeper.picture.models import Check, ShownAlert
from watchkeeper.picture.values import plain

MOST_MESSAGES: Final = 3
"""Named of those that a subject is made of; more help nobody at a glance."""
_MESSAGE: Final = re.compile(r"\b[A-Z][A-Z0-9]*_[A-Z0-9_]+\b")


def shown_alert(alert: Alert, since: str) -> ShownAlert:
    """Return a listed alert as it is shown; `since` is when it was raised, UTC."""
    return ShownAlert(
        aircraft=alert.aircraft,
        rule=alert.rule,
        level=alert.level,
        state=alert.state,
        since=since,
        callout=alert.callout or alert.said or alert.rule.replace("-", " "),
        reason=alert.reason,
        evidence=plain(alert.evidence),
        stale=alert.stale,
        over=not alert.stands,
        acknowledged_by=sorted(alert.roles),
    )


def blind_words(lacks: Lacks, language: Language) -> list[str]:
    """Return what the watch cannot see of an aircraft: by subject, and why, or what the stream would have to hold.

    Rules of one subject are one line. The names of the missing readings are the log's, not the crew's.
    """
    by_subject: dict[str, dict[str, None]] = {}
    for subject, names in lacks.values():
        by_subject.setdefault(subject.strip("."), {}).update(dict.fromkeys(names))
    lines: list[str] = []
    for subject, named in by_subject.items():
        why = [language.tell(name) for name in named if name not in INDEX]
        missing = [INDEX[name] for name in named if name in INDEX]
        if missing and not why:
            why = [_needs(missing, language)]
        told = language.subject(subject)
        lines.append(f"{told}: {', '.join(why)}" if why else told)
    return sorted(lines)


def _needs(missing: list[int], language: Language) -> str:
    """Return which messages of the stream missing readings are made of; a crew can turn those on."""
    sources = [CATALOGUE[index].sources for index in missing]
    messages = [*dict.fromkeys(name for source in sources for name in _MESSAGE.findall(source))]
    if messages:
        return language.phrase("needs {}", " / ".join(messages[:MOST_MESSAGES]))
    if any(source.startswith("aircraft's settings") for source in sources):
        return language.phrase("needs the aircraft's parameters")
    return language.phrase("readings are missing")


def checklist(checks: Checks) -> list[Check]:
    """Return the sortie's checklist in its order."""
    return [Check(words=item, done=item in checks.checked) for item in checks.checklist]


def roles(checks: Checks, language: Language) -> list[Check]:
    """Return who is to confirm to hear the watch, and whether they have."""
    return [Check(words=language.tell(role), done=role in checks.confirmed) for role in checks.roles]
