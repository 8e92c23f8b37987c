"""What is to go to the broker: happenings made into messages, kept until the broker has answered, and entered."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import structlog

from watchkeeper.alerts.events import AlertChange, Happening, Level, Preparation, Refusal, RoutineCall
from watchkeeper.edges.messages import WORDS_VALID_S, Message, Writer
from watchkeeper.edges.mqtt_address import Topics
from watchkeeper.edges.mqtt_outbox import Outbox, States, Waiting
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
        self._delivered = delivered

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
            self._put(Waiting(event, payload, item.level.urgency, None, item))
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
        lost = self.outbox.put(message)
        if lost is None:
            return
        self._enter(lost, "lost", "outbox full")
        if self.outbox.dropped == 1:
            structlog.get_logger().warning("mqtt outbox full")

    def drop_expired(self) -> None:
        """Drop the callouts that have waited too long: said now, they might no longer be true."""
        for message in self.outbox.expire(self.clock()):
            self._enter(message, "expired", "no longer valid")

    def settle(self, message: Waiting, refused: str = "") -> None:
        """Take the broker's answer to a message; `refused` is the reason if it did not accept it."""
        if not self.outbox.done(message):
            return
        if refused:
            self._enter(message, "lost", f"refused by the broker: {refused}")
        else:
            self._enter(message, "published", "")

    def end(self) -> None:
        """Enter what never came to be sent."""
        self.drop_expired()
        for message in self.outbox.drain():
            self._enter(message, "lost", "the watch ended first")

    def _enter(self, message: Waiting, outcome: str, why: str) -> None:
        if message.item is not None:
            self._delivered(message.item, outcome, f"{message.kind}: {why}" if why else message.kind)
