"""Messages that wait for the broker, and the states that it is to hold."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from watchkeeper.alerts.events import AlertChange, Happening, State

MAX_WAITING = 2000
"""About 2 MB: hours of alerts while the broker is away, little beside the rest of the program."""
MAX_STATES = 4096
"""Many aircraft times all rules; beyond that somebody else's retained messages are being emptied."""


@dataclass(frozen=True, slots=True, eq=False)
class Waiting:
    """One message: an event or a callout (`kind`). `item` is what it tells of, if its delivery is to be entered.

    After `valid_until_us` (UTC) it is not to be sent any more.
    """

    topic: str
    payload: bytes
    urgency: int
    valid_until_us: int | None = None
    item: Happening | None = None
    kind: str = "event"


class Outbox:
    """Events and callouts in order. When full, the oldest of the least urgent kind is dropped and counted.

    So an advisory goes before a caution, and a caution before a warning. A message leaves only by `done`: one
    that was sent without an answer is sent again, with the same id.
    """

    def __init__(self, max_waiting: int = MAX_WAITING) -> None:
        self._max = max_waiting
        self._waiting: OrderedDict[Waiting, None] = OrderedDict()
        self.dropped = 0

    def __len__(self) -> int:
        return len(self._waiting)

    def put(self, message: Waiting) -> Waiting | None:
        """Add a message; return the one that was dropped for it."""
        self._waiting[message] = None
        if len(self._waiting) <= self._max:
            return None
        victim = min(self._waiting, key=lambda one: max(one.urgency, 1))  # the first of the least urgent
        del self._waiting[victim]
        self.dropped += 1
        return victim

    def first(self, count: int) -> list[Waiting]:
        """Return up to `count` messages that have waited longest."""
        return [message for message, _ in zip(self._waiting, range(count), strict=False)]

    def done(self, message: Waiting) -> bool:
        """Forget a message: the broker has answered. False if it had been dropped meanwhile."""
        waited = message in self._waiting
        self._waiting.pop(message, None)
        return waited

    def expire(self, now_us: int) -> list[Waiting]:
        """Take out what has waited beyond its validity."""
        over = [one for one in self._waiting if one.valid_until_us is not None and now_us > one.valid_until_us]
        for message in over:
            del self._waiting[message]
        return over

    def drain(self) -> list[Waiting]:
        """Take everything out."""
        left = [*self._waiting]
        self._waiting.clear()
        return left


class States:
    """The last change of every alert by topic, and which topics the broker does not yet hold rightly."""

    def __init__(self, keep_over_s: float) -> None:
        self._keep_over_us = round(keep_over_s * 1e6)
        self._last: dict[str, AlertChange] = {}
        self._over_us: dict[str, int] = {}
        self._changed: dict[str, None] = {}
        self._refused: dict[str, None] = {}

    def put(self, topic: str, change: AlertChange, now_us: int) -> None:
        """Take a change."""
        if topic not in self._last and len(self._last) >= MAX_STATES:
            return
        self._last[topic] = change
        self._changed[topic] = None
        if change.state is State.NORMAL:
            self._over_us[topic] = now_us
        else:
            self._over_us.pop(topic, None)

    def expire(self, now_us: int) -> None:
        """Let go of alerts that have been normal for long enough; their topics are then emptied."""
        for topic in [t for t, over_us in self._over_us.items() if now_us - over_us >= self._keep_over_us]:
            del self._over_us[topic], self._last[topic]
            self._changed[topic] = None

    def all_anew(self) -> None:
        """Publish every state again: the broker may have forgotten."""
        self._changed.update(dict.fromkeys(self._last))
        self.refused_anew()

    def refused(self, topic: str) -> None:
        """Take note that the broker did not accept this state: it is published again, but not at once."""
        if len(self._refused) < MAX_STATES:
            self._refused[topic] = None

    def refused_anew(self) -> None:
        """Publish again what the broker has refused: its rules may have changed."""
        self._changed.update(self._refused)
        self._refused.clear()

    def found(self, topic: str) -> None:
        """Take note that the broker holds something there; without an alert behind it, it is to be emptied."""
        if topic not in self._last and len(self._changed) < MAX_STATES:
            self._changed[topic] = None

    def changed(self) -> bool:
        """Whether the broker is behind."""
        return bool(self._changed)

    def take(self, count: int, write: Callable[[AlertChange], bytes]) -> list[tuple[str, bytes]]:
        """Take up to `count` topics with their payloads; an empty payload removes what is retained."""
        topics = [topic for topic, _ in zip(self._changed, range(count), strict=False)]
        for topic in topics:
            del self._changed[topic]
        return [(t, write(self._last[t]) if t in self._last else b"") for t in topics]

    def again(self, topic: str) -> None:
        """Publish this once more: the broker has not answered."""
        self._changed[topic] = None
