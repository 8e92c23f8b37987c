"""Which rules of a book to judge when: in one phase, by what a message may have changed.

A rule outside its phases is settled when the phase begins, so it costs nothing after that.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.alerts.ruling import PHASE, Ruling
from watchkeeper.rules.schema import Rule

SUDDEN: Final = (INDEX["flight.restarted"], INDEX["flight.disarmed_in_air"])
"""Readings that any message may change and hardly one ever does: like the phase, the book looks at them itself."""


class Selection:
    """The rulings that apply in one phase. A change of phase itself is seen by the book, not here."""

    __slots__ = ("_by_message", "_by_part", "_by_reading", "rulings", "timed")

    def __init__(self, rulings: Sequence[Ruling], touches: Mapping[int, frozenset[int]]) -> None:
        self.rulings = tuple(rulings)
        by_reading: dict[int, list[Ruling]] = {}
        self._by_reading = by_reading
        for ruling in rulings:
            for i in readings_of(ruling.rule) - {PHASE, *SUDDEN}:
                by_reading.setdefault(i, []).append(ruling)
        self._by_message = {
            message: found
            for message, touched in touches.items()
            if (found := _merge(by_reading.get(i, ()) for i in touched))
        }
        self._by_part: dict[tuple[int, ...], dict[int, Ruling]] = {}
        self.timed = tuple(ruling for ruling in rulings if _timed(ruling.rule))
        """Those whose verdict time alone can change."""

    def of_message(self, message: int, written: Sequence[tuple[int, ...]]) -> tuple[Ruling, ...]:
        """Return the rulings that read what `message` may have changed, or what estimates have `written`."""
        touched = self._by_message.get(message, ())
        if not written:
            return touched
        found = {ruling.order: ruling for ruling in touched}
        for indexes in written:
            part = self._by_part.get(indexes)
            if part is None:
                rulings = _merge(self._by_reading.get(i, ()) for i in indexes)
                part = self._by_part[indexes] = {ruling.order: ruling for ruling in rulings}
            found.update(part)
        return tuple(found[order] for order in sorted(found))


def readings_of(rule: Rule) -> set[int]:
    """Return the readings that both conditions of a rule read."""
    found = set(rule.when.readings)
    if rule.clear is not None:
        found.update(rule.clear.readings)
    return found


def _timed(rule: Rule) -> bool:
    return rule.when.timed or (rule.clear is not None and rule.clear.timed)


def _merge(groups: Iterable[Sequence[Ruling]]) -> tuple[Ruling, ...]:
    found = {ruling.order: ruling for group in groups for ruling in group}
    return tuple(found[order] for order in sorted(found))


def causes_first(rules: Sequence[Rule]) -> list[Rule]:
    """Return the rules so that each comes after those that cause or mute it (the loader refuses circles)."""
    before: dict[str, list[Rule]] = {rule.id: [] for rule in rules}
    by_id = {rule.id: rule for rule in rules}
    for rule in rules:
        before[rule.id] += [by_id[cause] for cause in rule.caused_by if cause in by_id]
        for muted in rule.mutes:
            if muted in before:
                before[muted].append(rule)
    done: dict[str, Rule] = {}
    begun: set[str] = set()

    def visit(rule: Rule) -> None:
        if rule.id in begun:
            return
        begun.add(rule.id)
        for earlier in before[rule.id]:
            visit(earlier)
        done[rule.id] = rule

    for rule in rules:
        visit(rule)
    return list(done.values())
