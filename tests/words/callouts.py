"""Every shipped callout, as it may come out: with hard values in its places."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.readings import BLIND
from watchkeeper.aircraft.sayings import clean
from watchkeeper.cli.inputs import load_rules
from watchkeeper.rules.levels import Level
from watchkeeper.rules.schema import Rule

PLACE = re.compile(r"\{([^{}:]*)[^{}]*\}")
PARTS = re.compile(r"\.(?:\s|$)")
LARGEST, NEGATIVE = 9999.94, -48.25
TEXTS = (
    clean("Pre-arm: EKF3 IMU2 forced-reset, attitude/height 1.5 & 2.5 m apart (again)!"),
    clean("supercalifragilisticexpialidocious " * 6),
    "Motor three failing",
)
"""As long and as odd as the aircraft's own words can be made."""


@functools.cache
def shipped() -> tuple[Rule, ...]:
    """Return the shipped rules."""
    return load_rules([], only=False).rules


def level_of(rule: Rule) -> Level:
    """Return the highest level a rule is told at."""
    return rule.level if rule.escalate is None else rule.escalate.to


def hard(rule: Rule) -> Iterator[str]:
    """Yield what a rule says with the largest, a negative and no value, and with each word or text in turn."""
    read = [CATALOGUE[i] for i in rule.say.readings]
    spread = max((len(TEXTS) if one.text else len(one.words) for one in read), default=0)
    for turn in range(max(spread, 3)):
        values = {}
        for index in rule.say.readings:
            one = CATALOGUE[index]
            values[index] = (
                TEXTS[turn % len(TEXTS)]
                if one.text
                else one.words[turn % len(one.words)]
                if one.words
                else (LARGEST, NEGATIVE, BLIND)[turn % 3]
            )
        yield rule.say.render(values.__getitem__)


def parts(rule: Rule) -> list[str]:
    """Return the parts of what a rule says, as written."""
    return [part for part in PARTS.split(re.sub(r":\.\d", ":", rule.say.text)) if part.strip()]


def plainly(part: str) -> str:
    """Return a part with one number or word in its places, to compare how it sounds."""

    def put(place: re.Match[str]) -> str:
        index = INDEX.get(place[1].strip())
        words = () if index is None else CATALOGUE[index].words
        return words[0].replace("_", " ") if words else "six"

    return PLACE.sub(put, part)
