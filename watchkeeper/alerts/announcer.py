"""Tells of the alerts of one aircraft: what is spoken now, what has to wait, what is raised to a higher level."""

from __future__ import annotations

from watchkeeper.alerts.events import Change, Level, State
from watchkeeper.alerts.hush import HELD, Hush
from watchkeeper.alerts.lifecycle import Signal
from watchkeeper.alerts.links import Links
from watchkeeper.alerts.ruling import Ruling
from watchkeeper.alerts.teller import Teller


class Announcer:
    """Between the book that decides and the teller that makes events. Made anew when other rules are loaded."""

    __slots__ = ("_aircraft", "_ending", "_held", "_hush", "_links", "_rising", "_teller")

    def __init__(self, aircraft: int, links: Links, hush: Hush, teller: Teller) -> None:
        self._aircraft = aircraft
        self._links = links
        self._hush = hush
        self._teller = teller
        self._held: dict[int, Ruling] = {}
        """What waits to be spoken: a sterile phase or a flood of alerts keeps it off the voice."""
        self._ending: dict[int, Ruling] = {}
        """What nothing suppresses any more, and is about to be over."""
        self._rising: dict[int, Ruling] = {}
        """What may yet be raised to a higher level."""

    def take_up(self, ruling: Ruling, *, held: bool) -> None:
        """Go on with an alert, or with a routine call that waits (`held`), after other rules were loaded."""
        if ruling.alert.stands and ruling.rule.escalate is not None:
            self._rising[ruling.order] = ruling
        if held:
            self._held[ruling.order] = ruling

    def begin(self, ruling: Ruling, now_us: int) -> None:
        """Tell of an alert that begins, not suppressed."""
        alert = ruling.alert
        change = alert.signal(Signal.RAISE)
        assert change is not None
        alert.raised_us = now_us
        alert.suppressed = self._links.suppressed(ruling.rule)
        if alert.suppressed:
            self._teller.change(alert, Change.SUPPRESSED, now_us, reason=self._links.cause(ruling.rule))
        else:
            spoken = self.speaks(ruling, now_us)
            reason = f"{alert.reason} ({HELD}: {self._hush.why})" if ruling.order in self._held else None
            self._teller.change(alert, change, now_us, spoken=spoken, reason=reason)
            if not alert.silent:
                ruling.raised(now_us)
        if ruling.rule.escalate is not None:
            self._rising[ruling.order] = ruling
            self._raise_levels(now_us)

    def wait_for(self, now_us: int) -> None:
        """Say what had to wait and still holds; raise what has stood unacknowledged for too long."""
        if self._held:
            self._say_held(now_us)
        if self._rising:
            self._raise_levels(now_us)
        if self._ending:
            self._release_what_came_back(now_us)

    def _release_what_came_back(self, now_us: int) -> None:
        for order, ruling in [*self._ending.items()]:
            over = not ruling.alert.suppressed or self._links.suppressed(ruling.rule)
            if over or not ruling.ending:
                del self._ending[order]
            if not over and ruling.alert.stands and not ruling.ending:
                self.release(ruling, now_us)

    def look(self, now_us: int) -> None:
        """Follow the phase; once a second at least."""
        self._hush.look(now_us)

    def repeat(self, ruling: Ruling, now_us: int) -> None:
        """Say an alert again, if that is due."""
        alert, repeat_us = ruling.alert, ruling.rule.repeat_us
        if (
            repeat_us is not None
            and alert.core is State.UNACKNOWLEDGED
            and not alert.silent
            and now_us - alert.said_us >= repeat_us
            and not self._links.muted(ruling)
            and not self._hush.keeps(ruling, now_us, again=True)
            and not (ruling.changing and ruling.since_us is not None)  # stands only for its chattering
        ):
            self.word(ruling)
            self._teller.change(alert, Change.REPEATED, now_us, spoken=True)

    def call_again(self, ruling: Ruling, now_us: int) -> None:
        """Say a routine call again that the crew wants to hear every so often, if that is due."""
        every_us, alert = ruling.rule.every_us, ruling.alert
        if every_us and ruling.in_phase() and now_us - alert.said_us >= every_us and ruling.still_met(now_us):
            self.call(ruling, now_us)

    def call(self, ruling: Ruling, now_us: int) -> None:
        """Say a routine call, now or later; one that the crew may ask for is not said unasked."""
        if ruling.rule.every_us == 0:
            return
        ruling.alert.said_us = now_us
        if self._hush.keeps(ruling, now_us):
            self._held[ruling.order] = ruling
        else:
            self._call(ruling, now_us)

    def words(self, ruling: Ruling) -> str:
        """Return the callout of an alert or a routine call, with the readings as they are now."""
        return self._teller.words(ruling.alert.level, self._said(ruling), self._aircraft)

    def word(self, ruling: Ruling) -> None:
        """Put an alert into words, with the readings as they are now."""
        alert = ruling.alert
        alert.said = self._said(ruling)
        alert.callout = self._teller.words(alert.level, alert.said, self._aircraft)
        alert.evidence = ruling.evidence()

    def _said(self, ruling: Ruling) -> str:
        return ruling.words(self._teller.language, self._teller.units)

    def _call(self, ruling: Ruling, now_us: int) -> None:
        rule, words = ruling.rule, self._said(ruling)
        self._teller.routine(rule.id, self._aircraft, words, ruling.evidence(), now_us, eyes=rule.eyes)

    def _say_held(self, now_us: int) -> None:
        """Judge anew what had to wait: words that are no longer true are never said."""
        for order, ruling in sorted(self._held.items()):
            alert = ruling.alert
            if ruling.rule.level is Level.ROUTINE:
                if not ruling.in_phase() or not ruling.still_met(now_us):
                    del self._held[order]
                elif not self._hush.keeps(ruling, now_us):
                    del self._held[order]
                    self._call(ruling, now_us)
            elif alert.core is not State.UNACKNOWLEDGED or not alert.untold:
                del self._held[order]
            elif not alert.stale and ruling.since_us is None and self.speaks(ruling, now_us):
                self._teller.change(alert, Change.REPEATED, now_us, spoken=True)

    def _raise_levels(self, now_us: int) -> None:
        """Raise what has stood for too long, told and unacknowledged, and tell it anew (ISA-18.2's re-alarm).

        Nothing is raised that nobody was told of, nor while it cannot be seen.
        """
        for order, ruling in sorted(self._rising.items()):
            alert, escalate = ruling.alert, ruling.rule.escalate
            if (
                escalate is None
                or alert.core is not State.UNACKNOWLEDGED
                or alert.level.urgency >= escalate.to.urgency
            ):
                del self._rising[order]
                continue
            waits = not alert.untold and not self._links.muted(ruling) and not alert.silent
            on_trial = alert.trial and not alert.suppressed  # told to nobody, and judged as if it were
            if not waits and not on_trial:
                alert.waiting_us = None
                continue
            if alert.waiting_us is None:
                alert.waiting_us = now_us
            over_soon = ruling.since_us is not None
            if alert.stale or over_soon or now_us - alert.waiting_us < escalate.after_us:
                continue
            change = alert.signal(Signal.ESCALATE)
            assert change is not None
            alert.level = escalate.to
            self.word(ruling)
            reason = f"unacknowledged for {escalate.after_us / 1e6:g} s"
            self._teller.change(alert, change, now_us, reason=reason, spoken=self.speaks(ruling, now_us))

    def speaks(self, ruling: Ruling, now_us: int) -> bool:
        """Whether a change of this alert is to be spoken now; then puts it into words. What must wait is held."""
        alert = ruling.alert
        if alert.core is not State.UNACKNOWLEDGED or alert.silent or self._links.muted(ruling):
            return False
        if self._hush.keeps(ruling, now_us):
            alert.untold = True
            self._held[ruling.order] = ruling
            return False
        self._held.pop(ruling.order, None)
        self.word(ruling)
        return True

    def suppress_effects(self, cause: Ruling, now_us: int) -> None:
        """Suppress what an alert causes while it stands."""
        if not self._links.suppresses(cause.rule.id):
            return
        for effect in self._links.effects(cause):
            if effect.alert.stands and not effect.alert.suppressed:
                self.suppress(effect, now_us)

    def release_effects(self, cause: Ruling, now_us: int) -> None:
        """Let go what a cause suppressed, unless another still does. What is stale is told once it is seen."""
        for effect in self._links.effects(cause):
            if effect.alert.suppressed and not self._links.suppressed(effect.rule):
                self.release(effect, now_us)

    def suppress(self, effect: Ruling, now_us: int) -> None:
        """Suppress one alert that stands."""
        effect.alert.suppressed = True
        self._teller.change(effect.alert, Change.SUPPRESSED, now_us, reason=self._links.cause(effect.rule))

    def release(self, effect: Ruling, now_us: int) -> None:
        """Let go one alert that was suppressed. One that is about to be over is not told unless it comes back."""
        alert = effect.alert
        if effect.ending:
            self._ending[effect.order] = effect
            return
        alert.suppressed = False
        if alert.stands:
            spoken = not alert.stale and self.speaks(effect, now_us)
            self._teller.change(alert, Change.UNSUPPRESSED, now_us, spoken=spoken)

    def unmute(self, louder: Ruling, now_us: int) -> None:
        """Say what an alert kept off the voice, still stands and has not been heard yet."""
        for muted in self._links.mutes(louder):
            if muted.alert.untold and not muted.alert.stale and self.speaks(muted, now_us):
                self._teller.change(muted.alert, Change.REPEATED, now_us, spoken=True)

    def was_told(self, ruling: Ruling) -> bool:
        """Whether the crew was told of a listed alert: neither silent nor kept off the voice."""
        return not ruling.alert.silent and not self._links.muted(ruling) and ruling.order not in self._held

    def held_rules(self) -> set[str]:
        """Return the rules whose alerts wait to be spoken."""
        return {ruling.rule.id for ruling in self._held.values()}

    @property
    def flooded(self) -> int:
        """How many alerts a flood keeps off the voice."""
        waiting = (r for r in self._held.values() if r.rule.level is not Level.ROUTINE and r.alert.untold)
        return sum(1 for ruling in waiting if self._hush.flooded(ruling))
