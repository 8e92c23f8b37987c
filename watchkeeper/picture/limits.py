"""The lines drawn across histories: what the loaded rules hold readings against, by their own settings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.alerts.events import Level
from watchkeeper.rules.schema import Rule


class Drawn(NamedTuple):
    """A setting that limits what a history shows: its name, the readings that rules hold against it, words."""

    setting: str
    readings: tuple[str, ...]
    words: str


LANDING: Final = (Drawn("landing_floor", ("return.reserve",), "landing floor"),)
CELLS: Final = (Drawn("cell_floor", ("battery.cell_voltage",), "cell floor"),)
MARGINS: Final = (Drawn("margin_least", ("link.margin_steady", "link.margin"), "least margin"),)
LOST: Final = (Drawn("loss_most", ("link.loss_least", "link.loss"), "most loss"),)
SATELLITES: Final = (Drawn("satellites_few", ("satellites.used",), "few satellites"),)


class Line(NamedTuple):
    """A limit as the rules have it, in the unit of the reading; English words."""

    value: float
    words: str
    level: Level


def lines(rules: Sequence[Rule], drawn: Sequence[Drawn]) -> list[Line]:
    """Return the limits that loaded rules have, each at the level of the most urgent rule that holds it."""
    found: list[Line] = []
    for setting, readings, words in drawn:
        indexes = {INDEX[name] for name in readings}
        holding = [
            (rule.level, value)
            for rule in rules
            if not rule.trial and rule.level is not Level.ROUTINE and indexes.intersection(rule.when.readings)
            for name, value in rule.when.settings
            if name == setting
        ]
        if holding:
            level, value = max(holding, key=lambda one: one[0].urgency)
            factor = CATALOGUE[INDEX[readings[0]]].unit.factor
            found.append(Line(value.value / factor, words, level))
    return found


def setting(rules: Sequence[Rule], drawn: Drawn) -> float | None:
    """Return the value of one such limit; None where no rule has it."""
    found = lines(rules, (drawn,))
    return found[0].value if found else None
