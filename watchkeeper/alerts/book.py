"""All rules on one aircraft: which to judge when, what suppresses and mutes what, repeats."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from watchkeeper.aircraft.readings import Readings
from watchkeeper.alerts.events import Change, Level, State
from watchkeeper.alerts.lifecycle import Alert, Signal
from watchkeeper.alerts.ruling import PHASE, Decision, Ruling
from watchkeeper.alerts.selection import SUDDEN, Selection, causes_first, readings_of
from watchkeeper.alerts.teller import Teller
from watchkeeper.rules.schema import Rule

_RESTARTED, _DISARMED = SUDDEN
GROUNDED = frozenset({"on_ground", "landed"})


class AlertBook:
    """Drives every rule of one aircraft. Judging order: a rule after those it is caused by."""

    def __init__(
        self,
        aircraft: int,
        readings: Readings,
        rules: Sequence[Rule],
        touches: Mapping[int, frozenset[int]],
        teller: Teller,
    ) -> None:
        self.aircraft = aircraft
        self._teller = teller
        self._readings = readings
        ordered = causes_first(rules)
        self.rulings = tuple(Ruling(rule, i, readings, aircraft) for i, rule in enumerate(ordered))
        self._by_id = {ruling.rule.id: ruling for ruling in self.rulings}
        self._effects: dict[str, list[Ruling]] = {}
        self._muting: dict[str, list[Ruling]] = {}
        for ruling in self.rulings:
            for cause in ruling.rule.caused_by:
                self._effects.setdefault(cause, []).append(ruling)
            for muted in ruling.rule.mutes:
                self._muting.setdefault(muted, []).append(ruling)
        self._touches = touches
        self._selections: dict[object, Selection] = {}
        self._phase: object = None
        self._restarted: object = None
        self._disarmed: object = None
        self._now = self._select(None)
        self._pending: dict[int, Ruling] = {}

    def judge_message(self, message: int, now_us: int, *, estimated: bool) -> None:
        """Judge the rules that read what `message` (and, if `estimated`, the estimates) may have changed."""
        values = self._readings.values
        if values[PHASE] is not self._phase:
            self._change_phase(now_us)
            return
        if values[_RESTARTED] is not self._restarted or values[_DISARMED] is not self._disarmed:
            self._restarted, self._disarmed = values[_RESTARTED], values[_DISARMED]
            self._judge(self._now.rulings, now_us)
            return
        rulings = self._now.of_message(message, estimated=estimated)
        if rulings:
            self._judge(rulings, now_us)

    def _select(self, phase: object) -> Selection:
        selection = self._selections.get(phase)
        if selection is None:
            applying = [ruling for ruling in self.rulings if ruling.applies(phase)]
            selection = self._selections[phase] = Selection(applying, self._touches)
        return selection

    def _change_phase(self, now_us: int) -> None:
        """Settle the rules that no longer apply, and judge all that do."""
        self._phase = self._readings.values[PHASE]
        self._now = self._select(self._phase)
        applying = set(self._now.rulings)
        for ruling in reversed(self.rulings):  # effects before their causes: none is told as its cause goes
            if ruling not in applying:
                self._pending.pop(ruling.order, None)
                if ruling.leave():
                    self.end(ruling, now_us, f"phase is {self._phase}")
        if self._phase not in GROUNDED:
            for ruling in self.rulings:
                if ruling.alert.shelved_afar and ruling.alert.level is Level.WARNING:
                    self.unshelve(ruling, now_us, by="")
        self._judge(self._now.rulings, now_us)

    def judge_readings(self, indexes: Iterable[int], now_us: int) -> None:
        """Judge the rules that read any of these readings (for cases and tests, which send no messages)."""
        if self._readings.values[PHASE] is not self._phase:
            self._change_phase(now_us)
            return
        wanted = set(indexes)
        self._judge([r for r in self._now.rulings if not wanted.isdisjoint(readings_of(r.rule))], now_us)

    def grid(self, now_us: int) -> None:
        """Judge what time alone can change: running delays and functions of time.

        A blind rule is left out: time alone does not make it see.
        """
        if not self._pending:
            for ruling in self._now.timed:
                if not ruling.blind:
                    self._judge_one(ruling, now_us)
            return
        due = {ruling.order: ruling for ruling in self._now.timed if not ruling.blind} | self._pending
        self._judge([due[order] for order in sorted(due)], now_us)

    def sweep(self, now_us: int) -> None:
        """Once a second: every rule (ages run out), shelves that end, repeats that are due."""
        self._judge(self._now.rulings, now_us)
        for ruling in self.rulings:
            alert = ruling.alert
            until = alert.shelved_until_us
            if until is not None and now_us >= until:
                self.unshelve(ruling, now_us, by="")
            repeat_us = ruling.rule.repeat_us
            if (
                repeat_us is not None
                and alert.core is State.UNACKNOWLEDGED
                and not alert.silent
                and now_us - alert.said_us >= repeat_us
                and not self._muted(ruling)
            ):
                self._word(ruling)
                self._teller.change(alert, Change.REPEATED, now_us, spoken=True)

    def _judge(self, rulings: Iterable[Ruling], now_us: int) -> None:
        for ruling in rulings:
            self._judge_one(ruling, now_us)

    def _judge_one(self, ruling: Ruling, now_us: int) -> None:
        decision = ruling.judge(now_us)
        if ruling.since_us is not None:
            self._pending[ruling.order] = ruling
        elif self._pending:
            self._pending.pop(ruling.order, None)
        if decision is Decision.NOTHING:
            return
        if decision is Decision.BEGIN:
            self._begin(ruling, now_us)
        elif decision is Decision.END:
            self.end(ruling, now_us, "condition over")
        elif decision is Decision.WENT_STALE:
            reason = "cannot see: " + ", ".join(ruling.missing(now_us))
            self._teller.change(ruling.alert, Change.STALE, now_us, reason=reason)
            self._release_effects(ruling, now_us)
        else:
            untold = ruling.alert.untold and self._speaks(ruling)
            if untold:
                self._word(ruling)
            self._teller.change(ruling.alert, Change.FRESH, now_us, reason="seen again", spoken=untold)
            self._suppress_effects(ruling, now_us)

    def _word(self, ruling: Ruling) -> None:
        alert = ruling.alert
        alert.callout = self._teller.words(alert.level, ruling.words(), self.aircraft)
        alert.evidence = ruling.evidence()

    def _begin(self, ruling: Ruling, now_us: int) -> None:
        alert, rule = ruling.alert, ruling.rule
        if rule.level is Level.ROUTINE:
            if not rule.trial:
                self._teller.routine(rule.id, self.aircraft, ruling.words(), ruling.evidence(), now_us)
            return
        alert.reason = rule.when.text
        self._word(ruling)
        change = alert.signal(Signal.RAISE)
        assert change is not None
        alert.raised_us = now_us
        alert.suppressed = any(self._suppresses(cause) for cause in rule.caused_by)
        if alert.suppressed:
            self._teller.change(alert, Change.SUPPRESSED, now_us, reason=self._cause(rule))
        else:
            self._teller.change(alert, change, now_us, spoken=self._speaks(ruling))
        self._suppress_effects(ruling, now_us)

    def _suppress_effects(self, cause: Ruling, now_us: int) -> None:
        if not self._suppresses(cause.rule.id):
            return
        for effect in self._effects.get(cause.rule.id, ()):
            if effect.alert.stands and not effect.alert.suppressed:
                effect.alert.suppressed = True
                self._teller.change(effect.alert, Change.SUPPRESSED, now_us, reason=self._cause(effect.rule))

    def _release_effects(self, cause: Ruling, now_us: int) -> None:
        """Let go what a cause suppressed, unless another still does. What is stale is told once it is seen."""
        for effect in self._effects.get(cause.rule.id, ()):
            alert = effect.alert
            if not alert.suppressed or any(self._suppresses(c) for c in effect.rule.caused_by):
                continue
            alert.suppressed = False
            if alert.stands:
                spoken = not alert.stale and self._speaks(effect)
                if spoken:
                    self._word(effect)
                self._teller.change(alert, Change.UNSUPPRESSED, now_us, spoken=spoken)

    def end(self, ruling: Ruling, now_us: int, reason: str, *, entirely: bool = False) -> None:
        """End an alert's condition; `entirely` also takes it off the list (aircraft gone, rule removed)."""
        alert = ruling.alert
        never_told = alert.suppressed and alert.untold
        change = alert.signal(Signal.CLEAR)
        if never_told or entirely:
            change = Change.CLEARED if alert.listed or change else None
            alert.core = State.NORMAL
        if entirely and alert.shelved_until_us is not None:
            alert.shelved_until_us = None
            change = change or Change.UNSHELVED
        alert.suppressed = False
        alert.stale = False
        if change is not None:
            alert.evidence = ruling.evidence(now_us)
            self._teller.change(alert, change, now_us, reason=reason)
        self._release_effects(ruling, now_us)
        for other in ruling.rule.mutes:  # what it kept off the voice and still stands has not been heard yet
            muted = self._by_id.get(other)
            if muted is not None and muted.alert.untold and not muted.alert.stale and self._speaks(muted):
                self._word(muted)
                self._teller.change(muted.alert, Change.REPEATED, now_us, spoken=True)

    def end_all(self, now_us: int, reason: str) -> None:
        """End every alert: the aircraft is gone."""
        for ruling in self.rulings:
            if ruling.alert.listed or ruling.alert.shelved_until_us is not None:
                self.end(ruling, now_us, reason, entirely=True)

    def restart(self) -> None:
        """Begin delays and history again: the aircraft was powered up anew."""
        for ruling in self.rulings:
            ruling.restart()
        self._pending.clear()

    def blind(self, now_us: int, told: Collection[str] = ()) -> dict[str, tuple[str, ...]]:
        """Return for each rule that cannot judge the readings it lacks. Routine calls and trials count not.

        A rule already told of (in `told`) is kept through the phases in which it does not apply.
        """
        found: dict[str, tuple[str, ...]] = {}
        for ruling in self.rulings:
            rule = ruling.rule
            if rule.trial or rule.level is Level.ROUTINE or any(self._suppresses(c) for c in rule.caused_by):
                continue
            missing = ruling.missing(now_us)
            if missing or (rule.id in told and not ruling.in_phase()):
                found[rule.id] = missing
        return found

    def subject(self, rule_id: str) -> str:
        """Return the subject a rule speaks of."""
        return self._by_id[rule_id].rule.subject

    def alerts(self) -> list[Alert]:
        """Return the listed alerts, most urgent first, then oldest."""
        found = [r.alert for r in self.rulings if r.alert.listed]
        return sorted(found, key=lambda a: (-a.level.urgency, a.raised_us))

    def ruling(self, rule_id: str) -> Ruling | None:
        """Return the ruling of an alert; None for an unknown rule and for a routine call, which has no alert."""
        named = self._by_id.get(rule_id)
        return None if named is None or named.rule.level is Level.ROUTINE else named

    def told(self) -> list[Alert]:
        """Return the listed alerts that were told: neither silent nor kept off the voice."""
        return [r.alert for r in self.rulings if r.alert.listed and not r.alert.silent and not self._muted(r)]

    @property
    def grounded(self) -> bool:
        """The aircraft is known to be on the ground."""
        return self._readings.values[PHASE] in GROUNDED

    def unshelve(self, ruling: Ruling, now_us: int, *, by: str) -> None:
        """Take an alert off the shelf; one that waits to be acknowledged is told again."""
        alert = ruling.alert
        alert.shelved_until_us = None
        alert.shelved_afar = False
        spoken = self._speaks(ruling)
        if spoken:
            self._word(ruling)
        self._teller.change(alert, Change.UNSHELVED, now_us, spoken=spoken, by=by)

    def _suppresses(self, rule_id: str) -> bool:
        """Whether that rule's alert suppresses its effects: it stands, is seen, and not on trial."""
        ruling = self._by_id.get(rule_id)
        return ruling is not None and ruling.alert.stands and not ruling.alert.stale and not ruling.alert.trial

    def _cause(self, rule: Rule) -> str:
        return "caused by " + ", ".join(c for c in rule.caused_by if self._suppresses(c))

    def _muted(self, ruling: Ruling) -> bool:
        """Whether an alert that is itself heard keeps this one off the voice."""
        return any(
            m.alert.stands and not m.alert.silent and not m.alert.stale
            for m in self._muting.get(ruling.rule.id, ())
        )

    def _speaks(self, ruling: Ruling) -> bool:
        """Whether a change of this alert is to be spoken now."""
        alert = ruling.alert
        return alert.core is State.UNACKNOWLEDGED and not alert.silent and not self._muted(ruling)
