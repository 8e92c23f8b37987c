"""All rules on one aircraft: which to judge when, what suppresses what, repeats, and orders of the crew."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from watchkeeper.aircraft.readings import Readings
from watchkeeper.alerts.events import Change, Level, Order, State
from watchkeeper.alerts.lifecycle import Alert, Signal
from watchkeeper.alerts.ruling import PHASE, Decision, Ruling
from watchkeeper.alerts.selection import Selection, readings_of
from watchkeeper.alerts.teller import Teller
from watchkeeper.rules.schema import Rule

MAX_SHELVE_MIN = 30.0
"""The longest an alert can be shelved: longer than any sortie, far short of a forgotten one."""
SHELVE_MIN = 10.0


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
        self._now = self._select(None)
        self._pending: dict[int, Ruling] = {}

    def judge_message(self, message: int, now_us: int, *, estimated: bool) -> None:
        """Judge the rules that read what `message` (and, if `estimated`, the estimates) may have changed."""
        if self._readings.values[PHASE] is not self._phase:
            self._change_phase(now_us)
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
        for ruling in self.rulings:
            if ruling not in applying:
                self._pending.pop(ruling.order, None)
                if ruling.leave():
                    self.end(ruling, now_us, f"phase is {self._phase}")
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
                self._unshelve(ruling, now_us, by="")
            repeat_us = ruling.rule.repeat_us
            if (
                repeat_us is not None
                and alert.core is State.UNACKNOWLEDGED
                and not alert.silent
                and not alert.stale
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
        elif not ruling.alert.trial:
            stale = decision is Decision.WENT_STALE
            reason = "cannot see: " + ", ".join(ruling.missing(now_us)) if stale else "seen again"
            self._teller.change(ruling.alert, Change.STALE if stale else Change.FRESH, now_us, reason=reason)

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
        alert.suppressed = any(self._stands(cause) for cause in rule.caused_by)
        if alert.suppressed:
            self._teller.change(alert, Change.SUPPRESSED, now_us, reason=self._cause(rule))
        else:
            self._teller.change(alert, change, now_us, spoken=not alert.silent and not self._muted(ruling))
        for effect in self._effects.get(rule.id, ()):
            if effect.alert.stands and not effect.alert.suppressed:
                effect.alert.suppressed = True
                self._teller.change(effect.alert, Change.SUPPRESSED, now_us, reason=self._cause(effect.rule))

    def end(self, ruling: Ruling, now_us: int, reason: str, *, entirely: bool = False) -> None:
        """End an alert's condition; `entirely` also takes it off the list (aircraft gone, rule removed)."""
        alert = ruling.alert
        never_told = alert.suppressed
        change = alert.signal(Signal.CLEAR)
        if never_told or entirely:
            change = Change.CLEARED if alert.listed or change else None
            alert.core = State.NORMAL
        alert.suppressed = False
        alert.stale = False
        if change is not None:
            self._teller.change(alert, change, now_us, reason=reason)
        for effect in self._effects.get(ruling.rule.id, ()):
            if effect.alert.suppressed and not any(self._stands(c) for c in effect.rule.caused_by):
                effect.alert.suppressed = False
                if effect.alert.stands:
                    spoken = effect.alert.core is State.UNACKNOWLEDGED and not effect.alert.silent
                    self._word(effect)
                    self._teller.change(effect.alert, Change.UNSUPPRESSED, now_us, spoken=spoken)

    def end_all(self, now_us: int, reason: str) -> None:
        """End every alert: the aircraft is gone."""
        for ruling in self.rulings:
            if ruling.alert.listed:
                self.end(ruling, now_us, reason, entirely=True)

    def restart(self) -> None:
        """Begin delays and history again: the aircraft was powered up anew."""
        for ruling in self.rulings:
            ruling.restart()
        self._pending.clear()

    def stands(self, rule_id: str) -> bool:
        """Whether that rule's alert stands on this aircraft."""
        return self._stands(rule_id)

    def blind(self, now_us: int, told: Collection[str] = ()) -> dict[str, tuple[str, ...]]:
        """Return for each rule that cannot judge the readings it lacks. Routine calls and trials count not.

        A rule already told of (in `told`) is kept through the phases in which it does not apply.
        """
        found: dict[str, tuple[str, ...]] = {}
        for ruling in self.rulings:
            rule = ruling.rule
            if rule.trial or rule.level is Level.ROUTINE or any(self._stands(c) for c in rule.caused_by):
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

    def order(self, order: Order, now_us: int) -> None:
        """Carry out an acknowledgement, shelving, unshelving or reset, or tell why not."""
        if order.rule is None:
            for ruling in self.rulings:
                if order.action == "acknowledge" and ruling.alert.listed:
                    acknowledge(self._teller, ruling.alert, order, now_us, all_at_once=True)
            return
        named = self._by_id.get(order.rule)
        if named is None or named.rule.level is Level.ROUTINE:
            self._refuse(order, "no such alert", now_us)
        elif order.action == "acknowledge":
            acknowledge(self._teller, named.alert, order, now_us)
        elif order.action == "reset":
            if named.alert.signal(Signal.RESET) is None:
                self._refuse(order, "not latched and acknowledged", now_us)
            else:
                self._teller.change(named.alert, Change.RESET, now_us, by=order.role)
        elif order.action == "shelve":
            self._shelve(named, order, now_us)
        elif named.alert.shelved_until_us is None:
            self._refuse(order, "not shelved", now_us)
        else:
            self._unshelve(named, now_us, by=order.role)

    def _shelve(self, ruling: Ruling, order: Order, now_us: int) -> None:
        minutes = SHELVE_MIN if order.minutes is None else order.minutes
        phase = self._readings.values[PHASE]
        grounded = phase in ("on_ground", "landed")
        if not 0 < minutes <= MAX_SHELVE_MIN:
            self._refuse(order, f"shelve for up to {MAX_SHELVE_MIN:.0f} minutes", now_us)
        elif ruling.alert.level is Level.WARNING and not grounded and (order.afar or order.role != "pilot"):
            self._refuse(order, "a warning is not shelved from afar in flight", now_us)
        else:
            ruling.alert.shelved_until_us = now_us + round(minutes * 60e6)
            self._teller.change(ruling.alert, Change.SHELVED, now_us, by=order.role)

    def _unshelve(self, ruling: Ruling, now_us: int, *, by: str) -> None:
        alert = ruling.alert
        alert.shelved_until_us = None
        spoken = alert.core is State.UNACKNOWLEDGED and not alert.silent
        if spoken:
            self._word(ruling)
        self._teller.change(alert, Change.UNSHELVED, now_us, spoken=spoken, by=by)

    def _refuse(self, order: Order, reason: str, now_us: int) -> None:
        self._teller.refusal(order.action, order.rule, self.aircraft, reason, order.role, now_us)

    def _stands(self, rule_id: str) -> bool:
        ruling = self._by_id.get(rule_id)
        return ruling is not None and ruling.alert.stands

    def _cause(self, rule: Rule) -> str:
        return "caused by " + ", ".join(c for c in rule.caused_by if self._stands(c))

    def _muted(self, ruling: Ruling) -> bool:
        return any(m.alert.stands for m in self._muting.get(ruling.rule.id, ()))


def acknowledge(teller: Teller, alert: Alert, order: Order, now_us: int, *, all_at_once: bool = False) -> None:
    """Acknowledge for a role. Only the pilot's quiets the alert itself; another's is noted and told."""
    waiting = alert.core in (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED)
    if not waiting or order.role in alert.roles:
        if not all_at_once:
            teller.refusal(order.action, alert.rule, alert.aircraft, "nothing to acknowledge", order.role, now_us)
        return
    alert.roles.add(order.role)
    if order.role == "pilot":
        alert.signal(Signal.ACKNOWLEDGE)
    teller.change(alert, Change.ACKNOWLEDGED, now_us, by=order.role, reason=f"by {order.by or order.role}")


def causes_first(rules: Sequence[Rule]) -> list[Rule]:
    """Return the rules so that each comes after those it is caused by. The loader refuses circles."""
    by_id = {rule.id: rule for rule in rules}
    done: dict[str, Rule] = {}

    def visit(rule: Rule) -> None:
        if rule.id in done:
            return
        for cause in rule.caused_by:
            if cause in by_id:
                visit(by_id[cause])
        done[rule.id] = rule

    for rule in rules:
        visit(rule)
    return list(done.values())
