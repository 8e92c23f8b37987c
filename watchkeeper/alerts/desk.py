"""The watch's own alerts: what it cannot see, which part of it does not work, and that it hears nobody."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from watchkeeper.alerts import wording
from watchkeeper.alerts.events import Change, Level, Order
from watchkeeper.alerts.lifecycle import Alert, Signal
from watchkeeper.alerts.measures import FLOOD_ENDS
from watchkeeper.alerts.orders import NAME_IT, acknowledge
from watchkeeper.alerts.teller import CHANGING, FLOOD, Teller
from watchkeeper.errors import Fault

BLIND, UNHEARD, RULES, STICKS = "watch-blind", "watch-unheard", "watch-rules", "watch-sticks"
SUM_EVERY_US = 60_000_000
"""In a flood of alerts, the shortest time between two calls that sum up what is not spoken."""
SETTLE_US = 5_000_000
"""How long a rule is blind (or sees again) before it is told: longer than one late message at slow rates."""
MAX_PARTS = 64

Lacks = Mapping[tuple[int, str], tuple[str, tuple[str, ...]]]
"""(aircraft, rule id) -> (subject, names of the missing readings)."""


class WatchDesk:
    """Alerts with aircraft None and rules `watch-…`."""

    def __init__(self, teller: Teller) -> None:
        self._teller = teller
        self._language = teller.language
        self._alerts: dict[str, Alert] = {}
        self._since_us: dict[tuple[int, str], int] = {}
        self._said_blind = ""
        self._shown: dict[tuple[int, str], tuple[str, tuple[str, ...]]] = {}
        self._changing: set[tuple[int, str]] = set()
        self._kept = 0
        self._summed_us = 0

    def alerts(self) -> list[Alert]:
        """Return the listed alerts of the watch itself."""
        return [alert for alert in self._alerts.values() if alert.listed]

    def report(self, order: Order, now_us: int) -> None:
        """Take the word of a part of the program (`order.rule`) that it works, or not."""
        rule = f"watch-{order.rule}"
        if order.ok:
            self._clear(rule, order.text or "works again", now_us)
        else:
            phrase, said = (
                ("Watch. {}", order.text) if order.text else ("Watch. {} not working.", order.rule or "")
            )
            words = self._language.phrase(phrase, self._language.tell(said))
            self._raise(rule, order.level, words, order.text or "not working", {}, now_us)

    def unheard(self, *, silent: bool, now_us: int) -> None:
        """Whether no aircraft has been heard at all since the watch began."""
        if silent:
            words = self._language.phrase("Watch. No aircraft heard. Check the telemetry source.")
            self._raise(UNHEARD, Level.ADVISORY, words, "no heartbeat of an autopilot yet", {}, now_us)
        else:
            self._clear(UNHEARD, "an aircraft is heard", now_us)

    def blind(self, lacks: Lacks, now_us: int) -> None:
        """Tell of what the watch cannot see: one advisory that names rules and missing readings.

        Spoken when the list grows; quietly brought up to date when it shrinks.
        """
        for key in [*self._since_us]:
            if (key in lacks) == (key in self._shown):
                del self._since_us[key]
        grown = shrunk = False
        for key in {**lacks, **self._shown}:
            if (key in lacks) == (key in self._shown):
                if key in lacks:
                    self._shown[key] = lacks[key]
                continue
            if now_us - self._since_us.setdefault(key, now_us) < SETTLE_US:
                continue
            del self._since_us[key]
            if key in lacks:
                self._shown[key] = lacks[key]
                grown = True
            else:
                del self._shown[key]
                shrunk = True
        if not self._shown:
            self._said_blind = ""
            self._clear(BLIND, "nothing is missed", now_us)
        elif grown or shrunk:
            subjects = [subject.strip(".") for subject, _ in self._shown.values()]
            words = wording.blind_words(subjects)
            evidence = {f"{system}/{rule}": ", ".join(names) for (system, rule), (_, names) in self._shown.items()}
            reason = f"{len(self._shown)} rules cannot judge for want of readings"
            spoken = grown and words != self._said_blind
            if spoken:
                self._said_blind = words
            told = wording.blind_words(subjects, self._language)
            self._raise(BLIND, Level.ADVISORY, told, reason, evidence, now_us, again=True, spoken=spoken)

    def changing(self, found: Mapping[tuple[int, str], str], now_us: int) -> None:
        """Tell once of each alert that chatters: by (aircraft, rule) -> its subject."""
        grown = [subject for key, subject in found.items() if key not in self._changing]
        self._changing = set(found)
        if not found:
            self._clear(CHANGING, "on the ground, or gone", now_us)
        elif grown:
            words = self._language.phrase("Watch. {} keeps changing.", self._language.subject(grown[0]))
            evidence = {f"{system}/{rule}": subject for (system, rule), subject in found.items()}
            reason = "told three times within 60 s; it now has to be over for longer before it is"
            self._raise(CHANGING, Level.ADVISORY, words, reason, evidence, now_us, again=True)

    def flood(self, *, flooding: bool, kept: int, standing: int, now_us: int) -> None:
        """Tell of a flood of alerts: that it began, and now and then how many more are kept off the voice."""
        if not flooding:
            self._kept = 0
            self._clear(FLOOD, "fewer than five alerts in ten minutes", now_us)
            return
        began = FLOOD not in self._alerts or not self._alerts[FLOOD].stands
        many = standing >= FLOOD_ENDS
        if began and many:
            words = self._language.phrase("Watch. Many alerts, {} stand. See the list.", standing)
        elif kept > self._kept and (began or now_us - self._summed_us >= SUM_EVERY_US):
            one = "Watch. One alert not spoken. See the list."
            several = "Watch. {} alerts not spoken. See the list."
            words = self._language.phrase(one) if kept == 1 else self._language.phrase(several, kept)
        else:
            self._kept = min(self._kept, kept)
            return  # came and went within ten minutes: nothing that a call could tell
        self._kept, self._summed_us = kept, now_us
        reason = "ten alerts in ten minutes; advisories and repetitions of cautions are not spoken"
        self._raise(FLOOD, Level.CAUTION if many else Level.ADVISORY, words, reason, {}, now_us, again=True)

    def refused(self, faults: Sequence[Fault], now_us: int) -> None:
        """Tell that other rules were refused, and that those in use stay."""
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        evidence = {f"{f.file}:{f.line}:{f.column}": f.what for f in faults[:MAX_PARTS]}
        words = self._language.phrase("Watch. New rules refused. The old ones stay.")
        self._raise(RULES, Level.ADVISORY, words, f"{faults[0]}{more}", evidence, now_us, again=True)

    def reloaded(self, count: int, now_us: int) -> None:
        """Note that other rules are in use."""
        self._clear(RULES, f"{count} rules loaded", now_us)

    def sticks(self, off: Mapping[int, str], now_us: int) -> None:
        """Tell once where the crew's switch acknowledges nothing: by aircraft, why."""
        if not off:
            self._clear(STICKS, "nothing is missed", now_us)
            return
        words = self._language.phrase("Watch. Acknowledging from the sticks is off. See the log.")
        evidence = {f"{system}/sticks": why for system, why in off.items()}
        self._raise(STICKS, Level.ADVISORY, words, next(iter(off.values())), evidence, now_us)

    def shown_of(self, aircraft: int) -> Lacks:
        """Return what was last told of one aircraft."""
        return {key: told for key, told in self._shown.items() if key[0] == aircraft}

    def forget(self, aircraft: int) -> None:
        """Miss nothing of an aircraft that is gone (told with the next call of `blind`)."""
        for table in (self._shown, self._since_us):
            for key in [key for key in table if key[0] == aircraft]:
                del table[key]

    def order(self, order: Order, now_us: int, *, told_by_us: int | None = None) -> None:
        """Carry out an acknowledgement; the watch's own alerts are not shelved.

        `told_by_us`: of all that were told, what was told later is not meant.
        """
        if order.rule is None:
            if order.action != "acknowledge":
                self._teller.refusal(order.action, None, None, NAME_IT, order.role, now_us)
                return
            for alert in self.alerts():
                if told_by_us is None or alert.told_by(told_by_us):
                    acknowledge(self._teller, alert, order, now_us, all_at_once=True)
            return
        named = self._alerts.get(order.rule)
        if named is None or order.action != "acknowledge":
            reason = "no such alert" if named is None else "the watch's own alerts can only be acknowledged"
            self._teller.refusal(order.action, order.rule, None, reason, order.role, now_us)
        else:
            acknowledge(self._teller, named, order, now_us)

    def _raise(
        self,
        rule: str,
        level: Level,
        words: str,
        reason: str,
        evidence: Mapping[str, str],
        now_us: int,
        *,
        again: bool = False,
        spoken: bool = True,
    ) -> None:
        alert = self._alerts.get(rule)
        if alert is None:
            if len(self._alerts) >= MAX_PARTS:
                return
            alert = self._alerts[rule] = Alert(rule, level, None)
        if alert.stands and not again:
            return
        if not alert.listed:  # a listed one keeps its level; anew it takes the one it deserves
            alert = self._alerts[rule] = Alert(rule, level, None)
        alert.said = words
        alert.callout = self._teller.words(alert.level, words, None)
        alert.reason = reason
        alert.evidence = dict(evidence)
        change = Change.REPEATED if alert.stands else alert.signal(Signal.RAISE)
        assert change is not None
        if change is Change.RAISED:
            alert.raised_us = now_us
        self._teller.change(alert, change, now_us, spoken=spoken)

    def _clear(self, rule: str, reason: str, now_us: int) -> None:
        alert = self._alerts.get(rule)
        if alert is not None and alert.stands:
            change = alert.signal(Signal.CLEAR)
            assert change is not None
            self._teller.change(alert, change, now_us, reason=reason)
