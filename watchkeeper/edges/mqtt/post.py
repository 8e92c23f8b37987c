"""What is to go to the broker: happenings made into messages, kept until the broker has answered, and entered."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from itertools import takewhile

import structlog

from watchkeeper.alerts.events import AlertChange, Happening, Level, Preparation, Refusal, RoutineCall, State
from watchkeeper.edges.messages.head import Message
from watchkeeper.edges.messages.payloads import WORDS_VALID_S, Writer
from watchkeeper.edges.mqtt.address import Topics
from watchkeeper.edges.mqtt.hold import Hold
from watchkeeper.edges.mqtt.outbox import Outbox, States, Waiting
from watchkeeper.edges.mqtt.spool import Spool
from watchkeeper.edges.mqtt.spool_lines import ended
from watchkeeper.edges.outlets import Delivered


class Post:
    """Outlives every connection. `wake` is set whenever there is something to send."""

    def __init__(
        self,
        topics: Topics,
        writer: Writer,
        outbox: Outbox,
        states: States,
        delivered: Delivered,
        clock: Callable[[], int],
        spool: Spool | None,
        hold: Hold,
    ) -> None:
        self.topics = topics
        self.writer = writer
        self.outbox = outbox
        self.states = states
        self.clock = clock
        self.wake = asyncio.Event()
        self.status_due = False
        """Whether the broker is to be told that the watch is watching."""
        self.since_us = clock()
        self.hold = hold
        self.late = False
        """Whether there may be messages that should have been sent before."""
        self._delivered = delivered
        self._spool = spool
        self._take_over()

    def issue(self, item: Happening, in_reply_to: str | None = None) -> None:
        """Make the messages of one thing that happened. `in_reply_to`: the order that it answers."""
        now_us = self.clock()
        event = self.topics.under(item.aircraft, "event")
        if isinstance(item, Refusal):
            self._put(Waiting(event, self.writer.refusal(item, now_us, in_reply_to).to_json(), 1, None, item))
        elif isinstance(item, Preparation):
            self._put(Waiting(event, self.writer.prepared(item, now_us, in_reply_to).to_json(), 1, None, item))
        elif isinstance(item, RoutineCall):
            self._put_callout(item, Level.ROUTINE, now_us)
        else:
            self.states.put(self.topics.state(item.aircraft, item.rule), item, now_us)
            payload = self.writer.event(item, now_us, in_reply_to).to_json()
            alert, stands = self.topics.state(item.aircraft, item.rule), item.state is not State.NORMAL
            self._put(Waiting(event, payload, item.level.urgency, None, item, alert=alert, stands=stands))
            if item.spoken and item.callout:
                self._put_callout(item, item.level, now_us)
        self.wake.set()

    def answer(self, aircraft: int | None, message: Message) -> None:
        """Publish a message of our own under an aircraft's event topic."""
        self._put(Waiting(self.topics.under(aircraft, "event"), message.to_json(), 1))
        self.wake.set()

    def _put_callout(self, said: AlertChange | RoutineCall, level: Level, now_us: int) -> None:
        topic = self.topics.under(said.aircraft, "callout")
        until_us = now_us + round(WORDS_VALID_S * 1e6)
        payload = self.writer.callout(said, now_us).to_json()
        self._put(Waiting(topic, payload, level.urgency, until_us, said, "callout"))

    def _put(self, message: Waiting) -> None:
        if self._spool is not None:
            self._spool.put(message)
        self._drop(self.outbox.put(message))

    def _drop(self, lost: list[Waiting]) -> None:
        if lost and self.outbox.dropped == len(lost):
            structlog.get_logger().warning("mqtt outbox full")
        for message in lost:
            self._enter(message, "lost", "outbox full")
        self._done(lost)

    def _done(self, messages: list[Waiting]) -> None:
        if messages and self._spool is not None:
            self._spool.done(messages)

    def _take_over(self) -> None:
        """Take what an earlier watch has left: its messages come first, then the end of what it had raised.

        This watch begins with no alerts: who listens is not to believe for ever that those of before stand.
        """
        kept = self._spool.collect() if self._spool is not None else None
        if kept is None:
            return
        self.late |= bool(kept.waiting or kept.standing)
        self._drop(self.outbox.put_first(kept.waiting))
        now_us = self.clock()
        for alert, last in kept.standing.items():
            end = ended(last, now_us)
            if end is not None and alert not in self.states:
                self.states.found(alert)
                payload = self.writer.event(end, now_us).to_json()
                self._put(Waiting(last.topic, payload, last.urgency, None, end, alert=alert))

    def tidy(self) -> None:
        """Look after what waits. Drop the callouts that have waited too long: they might no longer be true."""
        self._take_over()
        now_us = self.clock()
        self._done(self.outbox.settled(now_us))
        over = self.outbox.expire(now_us)
        for message in over:
            self._enter(message, "expired", "no longer valid")
        self._done(over)

    def ready(self, number: int, now_s: float) -> list[Waiting]:
        """Return up to `number` messages to be sent now."""
        if self.hold.holds(now_s):
            return []
        first = self.outbox.first(number)
        if self._spool is None:
            return first
        return [*takewhile(self._spool.safe, first)]

    def settle(self, message: Waiting, refused: str = "") -> None:
        """Take the broker's answer to a message; `refused` is the reason if it did not accept it."""
        if refused:
            if self.outbox.done(message):
                self._enter(message, "lost", f"refused by the broker: {refused}")
                self._done([message])
        else:
            again = message.answered_us is not None
            if self.outbox.answered(message, self.clock()) and not again:
                self._enter(message, "published", "")

    def disconnected(self) -> None:
        """Take note that the connection has ended: what was answered just before may have got no further."""
        self.late = True
        self.tidy()
        self._drop(self.outbox.take_back())

    def last_words(self) -> None:
        """Hold nothing back that would not be there for the next watch."""
        if self._spool is None or not self._spool.sound():
            self.hold.end()

    def end(self) -> None:
        """Enter what never came to be sent. What happens from now on goes to the next watch."""
        self.tidy()
        kept = self._spool is not None and self._spool.sound()
        waiting, answered = self.outbox.drain()
        for message in waiting:
            if message.answered_us is None:
                self._enter(message, "kept" if kept else "lost", "the watch ended first")
        self._done(answered)

    def close(self) -> None:
        """Let go of the file."""
        if self._spool is not None:
            self._spool.close()

    def _enter(self, message: Waiting, outcome: str, why: str) -> None:
        if message.item is not None:
            self._delivered(message.item, outcome, f"{message.kind}: {why}" if why else message.kind)
