"""What somebody of the crew sees and presses: people entering, traffic, lost sight, stop. Told the pilot at once.

Each is an alert of its own with the usual life: said at once, again until the pilot acknowledges it, over when its
giver says that all is clear, or when it has not been pressed again for two minutes. Neither a sterile phase nor a
flood of alerts keeps it off the voice. Who pressed knows, and so counts among those who have acknowledged it: a
phone does not shout back what was pressed on it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Final, Literal, NamedTuple, TypeAlias, get_args

from watchkeeper.alerts.events import SIGHTED, Change, Level, Order, State
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.alerts.lifecycle import Alert, Signal
from watchkeeper.alerts.measures import Rolling
from watchkeeper.alerts.orders import acknowledge
from watchkeeper.alerts.teller import Teller

Sight: TypeAlias = Literal["people", "traffic", "lost_sight", "stop", "clear"]
"""What can be pressed; "clear": what was seen is no longer so."""
SIGHTS: Final[tuple[Sight, ...]] = get_args(Sight)
CLEAR: Final = "clear"
CLEAR_RULE: Final = SIGHTED + CLEAR
DOUBLE_US: Final = 2_000_000
"""Pressed again within so long, it is one press."""
LASTS_US: Final = 120_000_000
"""What somebody saw is taken to hold for so long (our choice: longer than an aircraft needs to pass by); whoever
still sees it presses again."""
REPEAT_US: Final = {Level.WARNING: 10_000_000, Level.CAUTION: 20_000_000}
"""Until the pilot acknowledges (our choice: a little sooner than the rules' own warnings and cautions)."""
MOST: Final = 10
WITHIN_US: Final = 60_000_000
"""So many presses of one thing within so long, and no more are taken while it is said again by itself anyway."""


class Kind(NamedTuple):
    """One thing to be seen: its rule, its level, and the words by who saw it."""

    rule: str
    level: Level
    words: dict[str, str]


KINDS: Final[dict[str, Kind]] = {
    "people": Kind(
        SIGHTED + "people",
        Level.CAUTION,
        {
            "observer": "Observer. People entering. Hold, keep clear of them.",
            "post": "Post. People entering. Hold, keep clear of them.",
        },
    ),
    "traffic": Kind(
        SIGHTED + "traffic",
        Level.CAUTION,
        {
            "observer": "Observer. Traffic in sight. Look around, be ready to descend.",
            "post": "Post. Traffic in sight. Look around, be ready to descend.",
        },
    ),
    "lost_sight": Kind(
        SIGHTED + "lost-sight",
        Level.CAUTION,
        {
            "observer": "Observer. Lost sight of the aircraft. Hold, look for it.",
            "post": "Post. Lost sight of the aircraft. Hold, look for it.",
        },
    ),
    "stop": Kind(
        SIGHTED + "stop",
        Level.WARNING,
        {
            "observer": "Observer. Calls stop. Stop now, hold position.",
            "post": "Post. Calls stop. Stop now, hold position.",
        },
    ),
}
_CLEAR_WORDS: Final = {"observer": "Observer. All clear.", "post": "Post. All clear."}
_Key = tuple[str, int | None]
"""(kind, aircraft)"""


def rule_of(text: str) -> str | None:
    """Return the rule under which a sighting is told."""
    return KINDS[text].rule if text in KINDS else None


def sighting_words(language: Language = ENGLISH) -> tuple[str, ...]:
    """Return what sightings say, as for a single aircraft, to be rendered while there is time."""
    by_urgency = sorted(KINDS.values(), key=lambda kind: -kind.level.urgency)
    return tuple(
        f"{language.phrase(kind.level.value.capitalize())}. {language.phrase(words)}"
        for kind in by_urgency
        for words in kind.words.values()
    )


class _Sighting:
    """One that was pressed at some time."""

    __slots__ = ("alert", "pressed_us", "presses")

    def __init__(self, alert: Alert) -> None:
        self.alert = alert
        self.pressed_us = 0
        self.presses = Rolling(WITHIN_US, MOST)


class Sightings:
    """All that was seen, of every aircraft and (aircraft None) of all of them together."""

    def __init__(self, teller: Teller) -> None:
        self._teller = teller
        self._all: dict[_Key, _Sighting] = {}

    def alerts(self, *aircraft: int | None) -> list[Alert]:
        """Return the listed sightings; of certain aircraft (None: those of all of them), where any are named."""
        listed = [one.alert for one in self._all.values() if one.alert.listed]
        return [alert for alert in listed if not aircraft or alert.aircraft in aircraft]

    def take(self, order: Order, aircraft: Collection[int], now_us: int) -> None:
        """Take one press, or tell why not. `aircraft` are those that are known."""
        reason = ""
        if order.role not in _CLEAR_WORDS:
            reason = "observer and post tell the pilot what they see"
        elif order.aircraft is not None and order.aircraft not in aircraft:
            reason = "no such aircraft"
        elif order.text == CLEAR:
            reason = self._clear(order, now_us, only=len(aircraft) <= 1)
        elif order.text in KINDS:
            reason = self._press(order, now_us)
        else:
            reason = "no such sighting"
        if reason:
            self._teller.refusal(order.action, order.rule, order.aircraft, reason, order.role, now_us)

    def order(self, order: Order, now_us: int) -> None:
        """Acknowledge one sighting; nothing else is done to one."""
        one = next(
            (one for one in self.alerts() if (one.rule, one.aircraft) == (order.rule, order.aircraft)), None
        )
        if one is not None and order.action == "acknowledge":
            acknowledge(self._teller, one, order, now_us)
            return
        reason = "no such alert" if one is None else "a sighting is acknowledged, or ends by itself"
        self._teller.refusal(order.action, order.rule, order.aircraft, reason, order.role, now_us)

    def acknowledge_all(self, order: Order, now_us: int, *, told_by_us: int | None = None) -> None:
        """Take an order that may be to acknowledge all that was told, those of all aircraft among it.

        `told_by_us`: what was told later is not meant.
        """
        if order.rule is not None or order.action != "acknowledge":
            return
        for alert in self.alerts() if order.aircraft is None else self.alerts(order.aircraft, None):
            if told_by_us is None or alert.told_by(told_by_us):
                acknowledge(self._teller, alert, order, now_us, all_at_once=True)

    def look(self, now_us: int) -> None:
        """Say again what the pilot has not acknowledged, and end what was not pressed again."""
        for one in self._all.values():
            alert = one.alert
            if not alert.stands:
                continue
            if now_us - one.pressed_us >= LASTS_US:
                self._end(alert, "not pressed again", now_us)
            elif alert.core is State.UNACKNOWLEDGED and now_us - alert.said_us >= REPEAT_US[alert.level]:
                self._teller.change(alert, Change.REPEATED, now_us, spoken=True)

    def forget(self, aircraft: int, now_us: int) -> None:
        """End all sightings of an aircraft that is gone."""
        for key in [key for key in self._all if key[1] == aircraft]:
            alert = self._all.pop(key).alert
            if alert.listed:
                alert.signal(Signal.CLEAR)
                alert.core = State.NORMAL
                self._teller.change(alert, Change.CLEARED, now_us, reason="aircraft gone")

    def _press(self, order: Order, now_us: int) -> str:
        """Take one press; returns why not, if not."""
        key = order.text, order.aircraft
        kind = KINDS[order.text]
        one = self._all.get(key)
        if one is None:
            one = self._all[key] = _Sighting(Alert(kind.rule, kind.level, order.aircraft))
        alert = one.alert
        waits = alert.core is State.UNACKNOWLEDGED
        if waits and one.presses.count(now_us) >= MOST:
            return "pressed too often; it stands, and is said again until the pilot acknowledges"
        one.presses.add(now_us)
        if alert.stands and now_us - one.pressed_us < DOUBLE_US:
            alert.roles.add(order.role)
            self._teller.change(alert, Change.REPEATED, now_us, by=order.role, reason="pressed twice")
            return ""
        one.pressed_us = now_us
        if alert.stands and not waits:
            self._end(alert, "seen again", now_us)
        alert.said = self._teller.language.phrase(kind.words[order.role])
        alert.callout = self._teller.words(alert.level, alert.said, alert.aircraft)
        alert.reason = f"pressed by {order.role}" + (f", {order.by}" if order.by else "")
        change = alert.signal(Signal.RAISE) or Change.REPEATED
        if change is Change.RAISED:
            alert.raised_us = now_us
        alert.roles.add(order.role)
        self._teller.change(alert, change, now_us, spoken=True, by=order.role)
        return ""

    def _clear(self, order: Order, now_us: int, *, only: bool) -> str:
        """End what stands of an aircraft, or (named none, or there is but one) of any; returns why not, if not."""
        standing = [*self._standing(None if only else order.aircraft)]
        if not standing:
            return "nothing seen that could be clear again"
        for alert in standing:
            self._end(alert, f"all clear by {order.role}", now_us, by=order.role)
        words = self._teller.language.phrase(_CLEAR_WORDS[order.role])
        self._teller.routine(CLEAR_RULE, order.aircraft, words, {}, now_us)
        return ""

    def _standing(self, aircraft: int | None) -> Iterator[Alert]:
        for one in self._all.values():
            if one.alert.stands and aircraft in (None, one.alert.aircraft):
                yield one.alert

    def _end(self, alert: Alert, reason: str, now_us: int, *, by: str = "") -> None:
        change = alert.signal(Signal.CLEAR)
        assert change is not None
        self._teller.change(alert, change, now_us, reason=reason, by=by)
