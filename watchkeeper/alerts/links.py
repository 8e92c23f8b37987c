"""What one alert means for another: `caused_by` (what suppresses it) and `mutes` (what keeps it off the voice)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from watchkeeper.alerts.ruling import Ruling
from watchkeeper.rules.schema import Rule


class Links:
    """The links among the rulings of one aircraft."""

    __slots__ = ("_by_id", "_effects", "_muting")

    def __init__(self, rulings: Iterable[Ruling]) -> None:
        self._by_id = {ruling.rule.id: ruling for ruling in rulings}
        self._effects: dict[str, list[Ruling]] = {}
        self._muting: dict[str, list[Ruling]] = {}
        for ruling in self._by_id.values():
            for cause in ruling.rule.caused_by:
                self._effects.setdefault(cause, []).append(ruling)
            for muted in ruling.rule.mutes:
                self._muting.setdefault(muted, []).append(ruling)

    def ruling(self, rule_id: str) -> Ruling | None:
        """Return a ruling by its rule's id."""
        return self._by_id.get(rule_id)

    def effects(self, cause: Ruling) -> Sequence[Ruling]:
        """Return what that alert suppresses while it stands."""
        return self._effects.get(cause.rule.id, ())

    def mutes(self, ruling: Ruling) -> list[Ruling]:
        """Return what that alert keeps off the voice while it stands."""
        return [muted for other in ruling.rule.mutes if (muted := self._by_id.get(other)) is not None]

    def suppresses(self, rule_id: str) -> bool:
        """Whether that rule's alert suppresses its effects: it stands, is seen, and not on trial."""
        ruling = self._by_id.get(rule_id)
        return ruling is not None and ruling.alert.stands and not ruling.alert.stale and not ruling.alert.trial

    def suppressed(self, rule: Rule) -> bool:
        """Whether any cause of a rule suppresses it now."""
        return any(self.suppresses(cause) for cause in rule.caused_by)

    def cause(self, rule: Rule) -> str:
        """Return in words which causes suppress a rule now."""
        return "caused by " + ", ".join(c for c in rule.caused_by if self.suppresses(c))

    def muted(self, ruling: Ruling) -> bool:
        """Whether an alert that is itself heard keeps this one off the voice."""
        return any(
            m.alert.stands and not m.alert.silent and not m.alert.stale
            for m in self._muting.get(ruling.rule.id, ())
        )
