"""What is spoken next: one callout at a time, the most urgent first, then the oldest.

The rules, in the order in which they are applied to something that happened:

1. An alert that ended, or that the role spoken to acknowledged, has no callout waiting. If it ended, its words
   stop at once; at an acknowledgement the sentence is finished, for others may be listening. Another role's
   acknowledgement changes nothing.
2. What is not for that role (`audience.py`) is not said, and words already said are not said again, unless the
   rule itself repeats them.
3. Newer words of an alert take the place of older ones that still wait.
4. A warning stops whatever lower level is being spoken. A caution stopped so waits again, to be said from its
   beginning (MIL-STD-411F 5.3.6); an advisory or a routine call is not worth a second start. What somebody of the
   crew sees and presses does the same to its own level too, a warning included, and goes first within its level:
   it was seen just now, and by eyes that no sensor replaces.
5. More than MOST_WAITING: the least urgent goes, of those the oldest.
6. What has waited too long to be true is dropped when its turn comes.

Pure: every method takes the time, in microseconds of any one steady clock.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from watchkeeper.alerts.audience import PILOT, told
from watchkeeper.alerts.events import SIGHTED, AlertChange, Change, Happening, Level, RoutineCall

MOST_WAITING = 32
"""Two minutes of speech: what waits behind that is too old before its turn."""
TRUE_FOR_US: Final[Mapping[Level, int]] = {
    Level.CAUTION: 15_000_000,
    Level.ADVISORY: 10_000_000,
    Level.ROUTINE: 10_000_000,
}
"""How long words stay true (common practice). A warning's stay true while its alert stands."""

_ENDED: Final = {
    Change.CLEARED: "alert over",
    Change.RESET: "alert reset",
    Change.SHELVED: "alert shelved",
    Change.SUPPRESSED: "alert suppressed",
}

NOT_FOR_THEM: Final = "not for this role"

Key = tuple[str, int | None]


@dataclass(frozen=True, slots=True)
class Call:
    """Words to be spoken, and since when they are true."""

    item: AlertChange | RoutineCall
    level: Level
    words: str
    since_us: int
    order: int

    @property
    def key(self) -> Key:
        """Whose words they are."""
        return self.item.rule, self.item.aircraft

    @property
    def at_once(self) -> bool:
        """Whether it is what somebody saw: first within its level."""
        return isinstance(self.item, AlertChange) and self.item.rule.startswith(SIGHTED)

    @property
    def turn(self) -> tuple[int, bool, int]:
        """The least is said first."""
        return -self.level.urgency, not self.at_once, self.order

    def stops(self, now: Call) -> bool:
        """Whether it does not wait for the end of what is being spoken (rule 4)."""
        if self.at_once and not now.at_once:
            return self.level.urgency >= now.level.urgency
        return self.level is Level.WARNING and now.level is not Level.WARNING


@dataclass(frozen=True, slots=True)
class Unspoken:
    """A callout that ends without having been spoken to its end."""

    item: Happening
    outcome: str
    detail: str


@dataclass(frozen=True, slots=True)
class Effect:
    """What follows from something that happened: callouts that end, and whether speech is to stop at once."""

    ended: tuple[Unspoken, ...] = ()
    stop: bool = False


class CallQueue:
    """Callouts that wait, and the one that is being spoken."""

    def __init__(self, role: str = PILOT) -> None:
        """`role`: who is spoken to."""
        self._role = role
        self.speaking: Call | None = None
        self._waiting: dict[Key, Call] = {}
        self._said: dict[Key, str] = {}  # no more entries than alerts that stand
        self._order = 0

    def __len__(self) -> int:
        return len(self._waiting)

    @property
    def busy(self) -> bool:
        """Something is spoken, or waits to be."""
        return self.speaking is not None or bool(self._waiting)

    def offer(self, item: Happening, now_us: int) -> Effect:
        """Take something that happened."""
        if isinstance(item, RoutineCall):
            if not told(item, self._role):
                return Effect((Unspoken(item, "dropped", NOT_FOR_THEM),))
            return self._add(item, Level.ROUTINE, item.callout, now_us)
        if not isinstance(item, AlertChange) or item.trial:
            return Effect()
        over = self._over(item)
        if over is not None or not item.spoken or not item.callout:
            return over or Effect()
        if not told(item, self._role):
            return Effect((Unspoken(item, "dropped", NOT_FOR_THEM),))
        if item.change is not Change.REPEATED and self._said.get((item.rule, item.aircraft)) == item.callout:
            return Effect((Unspoken(item, "dropped", "said already"),))
        return self._add(item, item.level, item.callout, now_us)

    def take(self, now_us: int) -> tuple[Call | None, tuple[Unspoken, ...]]:
        """Return what is to be spoken now, and what has waited too long. Nothing while something is spoken."""
        if self.speaking is not None:
            return None, ()
        late = [call for call in self._waiting.values() if self.too_old(call, now_us)]
        for call in late:
            del self._waiting[call.key]
        if self._waiting:
            self.speaking = min(self._waiting.values(), key=lambda call: call.turn)
            del self._waiting[self.speaking.key]
        return self.speaking, tuple(Unspoken(call.item, "dropped", "too old to be true") for call in late)

    def finish(self, *, spoken: bool) -> None:
        """Note that the callout being spoken is over: said to its end, or not at all."""
        call, self.speaking = self.speaking, None
        if spoken and call is not None and isinstance(call.item, AlertChange):
            self._said[call.key] = call.words

    def clear(self, why: str) -> tuple[Unspoken, ...]:
        """End every callout, the one being spoken included."""
        ended = [Unspoken(call.item, "dropped", why) for call in self._waiting.values()]
        if self.speaking is not None:
            ended.append(Unspoken(self.speaking.item, "cut off", why))
        self.speaking = None
        self._waiting.clear()
        return tuple(ended)

    @staticmethod
    def too_old(call: Call, now_us: int) -> bool:
        """Whether these words have waited too long to be true."""
        true_for_us = TRUE_FOR_US.get(call.level)
        return true_for_us is not None and now_us - call.since_us > true_for_us

    def _over(self, item: AlertChange) -> Effect | None:
        """Apply rule 1; None where it does not apply."""
        why = _ENDED.get(item.change)
        if item.change is Change.ACKNOWLEDGED and item.by == self._role:
            why = "acknowledged"
        if why is None:
            return None
        key = item.rule, item.aircraft
        ended: list[Unspoken] = []
        waiting = self._waiting.pop(key, None)
        if waiting is not None:
            ended.append(Unspoken(waiting.item, "dropped", why))
        if item.change is Change.ACKNOWLEDGED:
            return Effect(tuple(ended))
        self._said.pop(key, None)
        if self.speaking is None or self.speaking.key != key:
            return Effect(tuple(ended))
        ended.append(Unspoken(self.speaking.item, "cut off", why))
        self.speaking = None
        return Effect(tuple(ended), stop=True)

    def _add(self, item: AlertChange | RoutineCall, level: Level, words: str, now_us: int) -> Effect:
        """Apply rules 2 to 5."""
        self._order += 1
        call = Call(item, level, words, now_us, self._order)
        now = self.speaking
        if now is not None and now.key == call.key and (now.words, now.level) == (words, level):
            return Effect((Unspoken(item, "dropped", "being said"),))
        ended: list[Unspoken] = []
        older = self._waiting.pop(call.key, None)
        if older is not None:
            ended.append(Unspoken(older.item, "dropped", "newer words"))
            call = Call(item, level, words, now_us, older.order)
        self._waiting[call.key] = call
        stop = now is not None and call.stops(now)
        if stop and now is not None:
            self.speaking = None
            if now.level in (Level.WARNING, Level.CAUTION) and now.key not in self._waiting:
                self._waiting[now.key] = now
            else:
                ended.append(Unspoken(now.item, "cut off", f"by a {level.value}"))
        while len(self._waiting) > MOST_WAITING:
            least = min(self._waiting.values(), key=lambda waiting: (waiting.level.urgency, waiting.order))
            del self._waiting[least.key]
            ended.append(Unspoken(least.item, "dropped", "too many callouts"))
        return Effect(tuple(ended), stop)
