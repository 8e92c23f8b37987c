"""All rules on one aircraft: which to judge when, what suppresses and mutes what, repeats."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final

from watchkeeper.aircraft.readings import Readings
from watchkeeper.alerts.announcer import Announcer
from watchkeeper.alerts.events import Change, Level, State
from watchkeeper.alerts.hush import Hush
from watchkeeper.alerts.lifecycle import Alert, Signal
from watchkeeper.alerts.links import Links
from watchkeeper.alerts.reload import sort_out
from watchkeeper.alerts.ruling import PHASE, Decision, Ruling
from watchkeeper.alerts.selection import SUDDEN, Selection, causes_first, readings_of
from watchkeeper.alerts.teller import Teller
from watchkeeper.rules.condition import Condition
from watchkeeper.rules.schema import Rule

_RESTARTED, _DISARMED = SUDDEN
GROUNDED = frozenset({"on_ground", "landed"})

LATELY_US: Final = 500_000
"""So no rule waits longer than a second and a half to be judged."""


class AlertBook:
    """Drives every rule of one aircraft. Judging order: a rule after those it is caused by."""

    def __init__(
        self,
        aircraft: int,
        readings: Readings,
        rules: Sequence[Rule],
        touches: Mapping[int, frozenset[int]],
        teller: Teller,
        sterile: Condition | None = None,
    ) -> None:
        self.aircraft = aircraft
        self._teller = teller
        self._readings = readings
        self._touches = touches
        self._phase: object = None
        self._restarted: object = None
        self._disarmed: object = None
        self._sterile: Condition | None = None
        self._install(
            tuple(Ruling(rule, i, readings, aircraft) for i, rule in enumerate(causes_first(rules))), sterile
        )

    def _install(self, rulings: tuple[Ruling, ...], sterile: Condition | None) -> None:
        self.rulings = rulings
        self._links = Links(rulings)
        if sterile is None or self._sterile is None or sterile.definition != self._sterile.definition:
            self._hush = Hush(sterile, self._readings, self._teller.flood)
        self._sterile = sterile
        self._announcer = Announcer(self.aircraft, self._links, self._hush, self._teller)
        self._selections: dict[object, Selection] = {}
        self._now = self._select(self._phase)
        self._pending = {ruling.order: ruling for ruling in rulings if ruling.since_us is not None}

    def judge_message(self, message: int, now_us: int, written: Sequence[tuple[int, ...]] = ()) -> None:
        """Judge the rules that read what `message` may have changed, or readings that estimates have `written`."""
        values = self._readings.values
        if values[PHASE] is not self._phase:
            self._change_phase(now_us)
            return
        if values[_RESTARTED] is not self._restarted or values[_DISARMED] is not self._disarmed:
            self._restarted, self._disarmed = values[_RESTARTED], values[_DISARMED]
            self._judge(self._now.rulings, now_us)
            return
        rulings = self._now.of_message(message, written)
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
        self._leave_others(now_us)
        grounded = self._phase in GROUNDED
        for ruling in self.rulings:
            if grounded:
                ruling.changing = False  # what chattered in a flight is forgotten with it
            elif ruling.alert.shelved_afar and ruling.alert.level is Level.WARNING:
                self.unshelve(ruling, now_us, by="")
        self._judge(self._now.rulings, now_us)

    def _leave_others(self, now_us: int) -> None:
        """Settle the rules that do not apply in the present phase."""
        applying = set(self._now.rulings)
        for ruling in reversed(self.rulings):  # effects before their causes: none is told as its cause goes
            if ruling not in applying:
                self._pending.pop(ruling.order, None)
                if ruling.leave():
                    self.end(ruling, now_us, f"phase is {self._phase}")

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
                if now_us >= ruling.due_us and not ruling.blind:
                    self._judge_one(ruling, now_us)
                    ruling.rest()
        else:
            timed = [ruling for ruling in self._now.timed if now_us >= ruling.due_us and not ruling.blind]
            due = {ruling.order: ruling for ruling in timed} | self._pending
            self._judge([due[order] for order in sorted(due)], now_us)
            for ruling in timed:
                ruling.rest()
        self._announcer.wait_for(now_us)

    def sweep(self, now_us: int) -> None:
        """Once a second: every rule not judged of late (ages run out), shelves that end, repeats that are due."""
        self._judge([ruling for ruling in self._now.rulings if now_us - ruling.judged_us >= LATELY_US], now_us)
        self._announcer.look(now_us)
        self._announcer.wait_for(now_us)
        for ruling in self.rulings:
            alert = ruling.alert
            until = alert.shelved_until_us
            if until is not None and now_us >= until:
                self.unshelve(ruling, now_us, by="")
            if ruling.rule.level is Level.ROUTINE:
                self._announcer.call_again(ruling, now_us)
            else:
                self._announcer.repeat(ruling, now_us)

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
            self._announcer.release_effects(ruling, now_us)
        else:
            untold = ruling.alert.untold and self._announcer.speaks(ruling, now_us)
            self._teller.change(ruling.alert, Change.FRESH, now_us, reason="seen again", spoken=untold)
            self._announcer.suppress_effects(ruling, now_us)

    def _begin(self, ruling: Ruling, now_us: int) -> None:
        alert, rule = ruling.alert, ruling.rule
        if rule.level is Level.ROUTINE:
            if rule.trial:
                return
            self._announcer.call(ruling, now_us)
            return
        alert.reason = rule.when.text
        self._announcer.word(ruling)
        self._announcer.begin(ruling, now_us)
        self._announcer.suppress_effects(ruling, now_us)

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
        self._announcer.release_effects(ruling, now_us)
        self._announcer.unmute(ruling, now_us)

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
            if rule.trial or rule.level is Level.ROUTINE or self._links.suppressed(rule):
                continue
            missing = ruling.missing(now_us)
            if missing or (rule.id in told and not ruling.in_phase()):
                found[rule.id] = missing
        return found

    def subject(self, rule_id: str) -> str:
        """Return the subject a rule speaks of."""
        ruling = self._links.ruling(rule_id)
        return "" if ruling is None else ruling.rule.subject

    def alerts(self) -> list[Alert]:
        """Return the listed alerts, most urgent first, then oldest."""
        found = [r.alert for r in self.rulings if r.alert.listed]
        return sorted(found, key=lambda a: (-a.level.urgency, a.raised_us))

    def ruling(self, rule_id: str) -> Ruling | None:
        """Return the ruling of an alert; None for an unknown rule and for a routine call, which has no alert."""
        named = self._links.ruling(rule_id)
        return None if named is None or named.rule.level is Level.ROUTINE else named

    def told(self) -> list[Alert]:
        """Return the listed alerts that were told: neither silent nor kept off the voice."""
        return [r.alert for r in self.rulings if r.alert.listed and self._announcer.was_told(r)]

    @property
    def grounded(self) -> bool:
        """The aircraft is known to be on the ground."""
        return self._readings.values[PHASE] in GROUNDED

    def unshelve(self, ruling: Ruling, now_us: int, *, by: str) -> None:
        """Take an alert off the shelf; one that waits to be acknowledged is told again."""
        alert = ruling.alert
        alert.shelved_until_us = None
        alert.shelved_afar = False
        self._teller.change(alert, Change.UNSHELVED, now_us, spoken=self._announcer.speaks(ruling, now_us), by=by)

    @property
    def flooded(self) -> int:
        """How many alerts a flood keeps off the voice."""
        return self._announcer.flooded

    def changing(self) -> dict[str, str]:
        """Return the rules that have chattered in this flight, each with its subject."""
        return {r.rule.id: r.rule.subject for r in self.rulings if r.changing}

    def replace(self, rules: Sequence[Rule], sterile: Condition | None, now_us: int) -> None:
        """Go on with other rules; see `reload.py` for what becomes of each alert."""
        going, staying = sort_out(self.rulings, causes_first(rules), self._readings, self.aircraft, now_us)
        for ruling, reason in going:
            if ruling.alert.listed or ruling.alert.shelved_until_us is not None:
                self.end(ruling, now_us, reason, entirely=True)
        held = self._announcer.held_rules()
        self._install(staying, sterile)
        for ruling in staying:
            self._announcer.take_up(ruling, held=ruling.rule.id in held)
        self._leave_others(now_us)
        self._judge(self._now.rulings, now_us)
        for ruling in self.rulings:
            alert = ruling.alert
            if alert.stands and self._links.suppressed(ruling.rule) is not alert.suppressed:
                (self._announcer.release if alert.suppressed else self._announcer.suppress)(ruling, now_us)
