"""Messages that wait for the broker, and the states that it is to hold."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import count, islice, takewhile
from typing import Literal, TypeAlias

from watchkeeper.alerts.events import AlertChange, Happening, State

Kind: TypeAlias = Literal["event", "callout"]

MAX_WAITING = 10_000
"""Ten alerts that repeat every half minute and speak, for four hours while the broker is away."""
MAX_WAITING_BYTES = 16 * 1024 * 1024
MAX_STATES = 4096
"""Many aircraft times all rules; beyond that somebody else's retained messages are being emptied."""
KEEP_ANSWERED_US = 20_000_000
"""Twice the keep-alive interval: a broker that ends sooner may have answered, and told nobody yet."""


@dataclass(slots=True, eq=False)
class Waiting:
    """One message: an event or a callout (`kind`). `item` is what it tells of, if its delivery is to be entered.

    After `valid_until_us` (UTC) it is not to be sent any more. `alert` is the state topic of the alert whose event
    this is, `stands` whether that alert is anything but normal after it.
    """

    topic: str
    payload: bytes
    urgency: int
    valid_until_us: int | None = None
    item: Happening | None = None
    kind: Kind = "event"
    alert: str | None = None
    stands: bool = False
    number: int = field(default_factory=count(1).__next__)
    """Of this process; in the order in which messages were made."""
    answered_us: int | None = None
    """When the broker first accepted it."""


class Outbox:
    """Events and callouts in order. When full, the oldest of the least urgent kind is dropped and counted.

    So an advisory goes before a caution, and a caution before a warning. A message leaves by `done`, or some time
    after `answered`: one that was sent without an answer, or to a broker that ended soon after, is sent again,
    with the same id.
    """

    def __init__(self, max_waiting: int = MAX_WAITING, max_bytes: int = MAX_WAITING_BYTES) -> None:
        self._max = max_waiting
        self._max_bytes = max_bytes
        self._bytes = 0
        self._waiting: OrderedDict[Waiting, None] = OrderedDict()
        self._by_urgency: dict[int, OrderedDict[Waiting, None]] = {}
        self._answered: OrderedDict[Waiting, None] = OrderedDict()
        self.dropped = 0

    def __len__(self) -> int:
        return len(self._waiting)

    def put(self, message: Waiting) -> list[Waiting]:
        """Add a message; return those that were dropped for it."""
        self._add(message)
        return self._shrink()

    def put_first(self, messages: Sequence[Waiting]) -> list[Waiting]:
        """Put messages, in their order, before all others; return those that were dropped for them."""
        for message in reversed(messages):
            self._add(message, first=True)
        return self._shrink()

    def first(self, number: int) -> list[Waiting]:
        """Return up to `number` messages that have waited longest."""
        return [*islice(self._waiting, number)]

    def done(self, message: Waiting) -> bool:
        """Forget a message. False if it had been dropped meanwhile."""
        if message not in self._waiting:
            return False
        self._take(message)
        return True

    def answered(self, message: Waiting, now_us: int) -> bool:
        """Keep a message aside: the broker has accepted it. False if it had been dropped meanwhile."""
        waited = self.done(message)
        if waited:
            message.answered_us = now_us
            self._answered[message] = None
        return waited

    def settled(self, now_us: int) -> list[Waiting]:
        """Forget what was answered long enough ago; return it."""
        over = [*takewhile(lambda one: now_us - (one.answered_us or 0) >= KEEP_ANSWERED_US, self._answered)]
        for message in over:
            del self._answered[message]
        return over

    def take_back(self) -> list[Waiting]:
        """Let what was answered lately wait again, before all else; return those that were dropped for it."""
        back = [*self._answered]
        self._answered.clear()
        return self.put_first(back)

    def expire(self, now_us: int) -> list[Waiting]:
        """Take out what has waited beyond its validity."""
        over = [one for one in self._waiting if one.valid_until_us is not None and now_us > one.valid_until_us]
        for message in over:
            self._take(message)
        return over

    def drain(self) -> tuple[list[Waiting], list[Waiting]]:
        """Take everything out: what waits, and what was answered lately."""
        waiting, answered = [*self._waiting], [*self._answered]
        self._waiting.clear()
        self._by_urgency.clear()
        self._answered.clear()
        self._bytes = 0
        return waiting, answered

    def _add(self, message: Waiting, *, first: bool = False) -> None:
        self._bytes += len(message.payload)
        alike = self._by_urgency.setdefault(max(message.urgency, 1), OrderedDict())
        for queue in (self._waiting, alike):
            queue[message] = None
            if first:
                queue.move_to_end(message, last=False)

    def _take(self, message: Waiting) -> None:
        del self._waiting[message]
        del self._by_urgency[max(message.urgency, 1)][message]
        self._bytes -= len(message.payload)

    def _shrink(self) -> list[Waiting]:
        dropped: list[Waiting] = []
        while len(self._waiting) > self._max or self._bytes > self._max_bytes:
            least = min(urgency for urgency, alike in self._by_urgency.items() if alike)
            victim = next(iter(self._by_urgency[least]))
            self._take(victim)
            dropped.append(victim)
        self.dropped += len(dropped)
        return dropped


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

    def __contains__(self, topic: object) -> bool:
        return topic in self._last

    def take(self, number: int, write: Callable[[AlertChange], bytes]) -> list[tuple[str, bytes]]:
        """Take up to `number` topics with their payloads; an empty payload removes what is retained."""
        topics = [topic for topic, _ in zip(self._changed, range(number), strict=False)]
        for topic in topics:
            del self._changed[topic]
        return [(t, write(self._last[t]) if t in self._last else b"") for t in topics]

    def again(self, topic: str) -> None:
        """Publish this once more: the broker has not answered."""
        self._changed[topic] = None
