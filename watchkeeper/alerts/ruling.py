"""One rule on one aircraft: from verdicts, through delays, to the decision that its alert begins or ends."""

from __future__ import annotations

from enum import Enum, auto
from typing import Final

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX, PHASE_GROUPS
from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.aircraft.readings import BLIND, FAULT, Readings
from watchkeeper.alerts.events import Evidence, Level
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.alerts.lifecycle import Alert
from watchkeeper.alerts.measures import CHATTER_COUNT, CHATTER_US, Rolling
from watchkeeper.rules.condition import View
from watchkeeper.rules.schema import Rule
from watchkeeper.rules.spoken_units import METRIC, in_units
from watchkeeper.rules.verdict import Verdict

PHASE: Final = INDEX["flight.phase"]
_NOT_SAMPLED: Final = frozenset(i for i, r in enumerate(CATALOGUE) if r.held)
"""Readings whose truth does not wait for a sample."""
_ESTIMATES: Final = frozenset(i for i, r in enumerate(CATALOGUE) if r.estimate)
_UNUSABLE: Final = (BLIND, FAULT)
CALM_US: Final = CHATTER_US
"""How long an alert that chatters has to be over before it is: then it cannot come three times in 60 s again."""


class Decision(Enum):
    """What a judgement asks for."""

    NOTHING = auto()
    BEGIN = auto()
    END = auto()
    WENT_STALE = auto()
    CAME_FRESH = auto()


class Ruling:
    """Holds the alert, the views of both conditions, and a running delay."""

    __slots__ = (
        "_clear_view", "_counts", "_known_unmet", "_raised", "_tells", "_view", "alert", "changing", "due_us",
        "order", "rule", "since_us", "verdict",
    )  # fmt: skip

    def __init__(self, rule: Rule, order: int, readings: Readings, aircraft: int) -> None:
        self.rule = rule
        self.order = order
        self.alert = Alert(rule.id, rule.level, aircraft, latch=rule.latch, trial=rule.trial, eyes=rule.eyes)
        self._view = View(readings, 0, rule.when.new_windows())
        self._clear_view = View(readings, 0, rule.clear.new_windows()) if rule.clear is not None else None
        self.since_us: int | None = None
        """When the delay that is running began; None: none is."""
        self.due_us = 0
        """Before this, time alone changes nothing of it; 0: any moment may."""
        self._counts: dict[int, int] = {}
        self._known_unmet = False
        self._raised = Rolling(CHATTER_US, CHATTER_COUNT)
        self.changing = False
        """It has chattered in this flight; it is then over only after CALM_US."""
        self._tells = any(CATALOGUE[i].text for i in rule.when.readings)
        """It passes words on: one that comes after another is another, not the same again."""
        self.verdict = Verdict.BLIND

    def applies(self, phase: object) -> bool:
        """Whether the rule applies in a phase; an unknown one (None) counts as in flight."""
        if phase is None:
            return not self.rule.during.isdisjoint(PHASE_GROUPS["in_flight"])
        return phase in self.rule.during

    def in_phase(self) -> bool:
        """Whether the rule applies in the aircraft's phase."""
        return self.applies(self._view.readings.values[PHASE])

    def leave(self) -> bool:
        """Settle a rule whose phases are over; returns whether its alert stood, and so ends."""
        self.since_us = None
        self._known_unmet = True
        self.verdict = Verdict.NOT_MET
        return self.alert.stands

    @property
    def ending(self) -> bool:
        """Its alert stands, and only for its off-delay: the condition is over."""
        return self.alert.stands and self.since_us is not None

    @property
    def judged_us(self) -> int:
        """When it was last judged, or looked at."""
        return self._view.now_us

    @property
    def blind(self) -> bool:
        """Its last verdict was blind (and nothing stands that time could end)."""
        return self.verdict is Verdict.BLIND and not self.alert.stands

    def judge(self, now_us: int) -> Decision:
        """Judge the rule, which must be in its phase, at `now_us`: at a sample, on the grid, or in the sweep."""
        view = self._view
        view.now_us = now_us
        self.due_us = 0
        if self.alert.stands:
            return self._judge_standing(now_us)
        rule = self.rule
        verdict = self.verdict = rule.when.evaluate(view)
        if self._clear_view is not None and self._clear_view.windows:
            self._clear_verdict(now_us)  # keeps its history filled
        if verdict is not Verdict.MET:
            self.since_us = None
            if verdict is Verdict.NOT_MET:
                self._known_unmet = True
            return Decision.NOTHING
        if rule.level is Level.ROUTINE and not self._known_unmet:
            return Decision.NOTHING  # it was so when first seen: nothing has happened to speak of
        if not self._delay_over(now_us, rule.on_delay_us, self._view):
            return Decision.NOTHING
        if rule.clear is not None and self._clear_verdict(now_us) is Verdict.MET:
            return Decision.NOTHING  # both at once: it would end as soon as it began
        self._known_unmet = False
        return Decision.BEGIN

    def rest(self) -> None:
        """Work out, after it was judged, until when time alone changes nothing of it."""
        if (
            self.verdict is Verdict.NOT_MET
            and not self.alert.stands
            and (self._clear_view is None or not self._clear_view.windows)
        ):
            self.due_us = self.rule.when.due(self._view)

    def _judge_standing(self, now_us: int) -> Decision:
        alert, rule = self.alert, self.rule
        verdict: Verdict | None = None
        if rule.clear is None or rule.when.windows:
            verdict = self.verdict = rule.when.evaluate(self._view)
        if rule.clear is None:
            ended = verdict is Verdict.NOT_MET
            blind = verdict is not Verdict.NOT_MET and verdict is not Verdict.MET
            decided_in = self._view
        else:
            assert self._clear_view is not None
            cleared = self._clear_verdict(now_us)
            ended = cleared is Verdict.MET
            blind = False
            if cleared is not Verdict.MET and cleared is not Verdict.NOT_MET:
                verdict = self.verdict = rule.when.evaluate(self._view)
                blind = verdict is not Verdict.MET
            decided_in = self._clear_view
        if ended:
            if self._delay_over(now_us, self._off_delay_us(), decided_in, ending=True):
                return Decision.END
        else:
            self.since_us = None
        if blind == alert.stale:
            return Decision.NOTHING
        alert.stale = blind
        return Decision.WENT_STALE if blind else Decision.CAME_FRESH

    def raised(self, now_us: int) -> bool:
        """Note that it was told; return whether it has begun to chatter."""
        if self._raised.add(now_us) < CHATTER_COUNT or self.changing or self._tells:
            return False
        self.changing = True
        return True

    def _off_delay_us(self) -> int:
        """Return how long it has to be over. A warning that chatters is told each time all the same."""
        own_us = self.rule.off_delay_us
        return max(own_us, CALM_US) if self.changing and self.alert.level is not Level.WARNING else own_us

    def holds(self, now_us: int) -> bool:
        """Whether an alert that stands stands by this rule too: met, in its deadband, or not to be judged."""
        self._view.now_us = now_us
        if not self.in_phase():
            return False
        if self.rule.when.evaluate(self._view) is not Verdict.NOT_MET:
            return True
        return self.rule.clear is not None and self._clear_verdict(now_us) is not Verdict.MET

    def take_over(self, old: Ruling) -> None:
        """Go on where the ruling of an earlier version of the rule was, with the history that still fits."""
        self.alert = old.alert
        self.alert.latch = self.rule.latch
        own, before = self.rule, old.rule
        if own.when.definition != before.when.definition:
            return
        self._view = old._view
        self._known_unmet, self.verdict = old._known_unmet, old.verdict
        if own.clear is None or before.clear is None or own.clear.definition != before.clear.definition:
            same_end = own.clear is before.clear
        else:
            same_end = True
            self._clear_view = old._clear_view
        if same_end and (own.on_delay_us, own.off_delay_us) == (before.on_delay_us, before.off_delay_us):
            self.since_us, self._counts = old.since_us, old._counts
            self._raised, self.changing = old._raised, old.changing

    def still_met(self, now_us: int) -> bool:
        """Whether its condition is met now (asked of a routine call that had to wait)."""
        self._view.now_us = now_us
        return self.rule.when.evaluate(self._view) is Verdict.MET

    def _clear_verdict(self, now_us: int) -> Verdict:
        assert self._clear_view is not None
        assert self.rule.clear is not None
        self._clear_view.now_us = now_us
        return self.rule.clear.evaluate(self._clear_view)

    def _delay_over(self, now_us: int, delay_us: int, view: View, *, ending: bool = False) -> bool:
        """Run the delay; it needs its time and two samples of each deciding reading, the first included.

        One held value is one sample: a single odd message must not outlast a delay by being the last.
        """
        if delay_us == 0:
            self.since_us = None
            return True
        if self.since_us is None:
            self.since_us = now_us
            condition = self.rule.clear if ending and self.rule.clear is not None else self.rule.when
            streams = view.readings.streams
            self._counts = {
                i: stream.count
                for i in condition.deciding(view)
                if i not in _NOT_SAMPLED and (stream := streams[i]) is not None
            }
            return False
        if now_us - self.since_us < delay_us:
            return False
        streams = view.readings.streams
        for i, count in self._counts.items():
            stream = streams[i]
            if stream is None or stream.count <= count:
                return False
        self.since_us = None
        return True

    def restart(self) -> None:
        """Forget running delays and history: the aircraft was powered up anew."""
        self.since_us = None
        self.due_us = 0
        self._view.windows = self.rule.when.new_windows()
        if self._clear_view is not None and self.rule.clear is not None:
            self._clear_view.windows = self.rule.clear.new_windows()

    def words(self, language: Language = ENGLISH, units: CrewUnits = METRIC) -> str:
        """Return what the rule says, with the readings as they are now, in the crew's language and units."""
        view = self._view
        say = language.say(self.rule)
        return in_units(
            say, lambda i: view.readings.read(i, view.now_us), units, speak=language.speak, names=language.units
        )

    def evidence(self, now_us: int | None = None) -> Evidence:
        """Return the readings that the rule looks at, by name; None where blind or faulty."""
        view = self._view
        if now_us is not None:
            view.now_us = now_us
        names = dict.fromkeys((*self.rule.when.readings, *(self.rule.clear.readings if self.rule.clear else ())))
        shown: dict[str, float | str | bool | None] = {}
        for i in names:
            value = view.readings.read(i, view.now_us)
            shown[CATALOGUE[i].name] = None if value is BLIND or value is FAULT else value
        return shown

    def missing(self, now_us: int) -> tuple[str, ...]:
        """Return the names of the readings for want of which the rule cannot judge; empty when it can.

        Outside its phases a rule is held to what comes by message only: estimates begin with the flight, and so do
        windows over time.
        """
        self._view.now_us = now_us
        if self.in_phase():
            if self.alert.stands:
                if not self.alert.stale:
                    return ()
            elif self.verdict is not Verdict.BLIND and self.verdict is not Verdict.FAULT:
                return ()
            lacking = self.rule.when.missing(self._view)
        else:
            read = self._view.readings.read
            lacking = tuple(
                i
                for i in self.rule.when.missing(self._view)
                if i not in _ESTIMATES and read(i, now_us) in _UNUSABLE
            )
        return tuple(CATALOGUE[i].name for i in lacking)
