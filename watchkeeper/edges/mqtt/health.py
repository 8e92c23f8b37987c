"""Whether the broker is reached and takes our messages: what is said and logged of it, when to try again."""

from __future__ import annotations

import random
from typing import Final

import structlog

from watchkeeper.edges.mqtt.trouble import Trouble
from watchkeeper.edges.reports import Report

FIRST_PAUSE_S = 0.5
LONGEST_PAUSE_S = 30.0
SOUND_AFTER_S = 5.0
"""A connection that has held this long is sound; one that breaks sooner counts as not reached."""
MAX_REFUSED = 4096
"""Topics remembered as refused: as many as there are states."""

REACHED: Final = "message broker reached"
TAKES_AGAIN: Final = "message broker takes messages again"


class Health:
    """Said once when it goes wrong and once when right again; logged, with what to do, when the reason changes.

    No connection and refused messages are two things that can be wrong: each is said for itself.
    """

    def __init__(self, part: str, broker: str, report: Report, first_pause_s: float) -> None:
        self._part = part
        self._report = report
        self._log = structlog.get_logger().bind(broker=broker)
        self._first_pause_s = first_pause_s
        self._pause_s = first_pause_s
        self._why = ""
        self._short = 0
        self._began_s: float | None = None
        self._said_not_reached = False
        self._said_refused = False
        self._refused: set[str] = set()

    def connected(self, now_s: float) -> None:
        """Take note that a connection has been made. What was refused on an earlier one may be accepted now."""
        self._began_s = now_s
        self._refused.clear()

    def taken(self, now_s: float) -> None:
        """Take note that the broker has answered all there was.

        It is well then, unless it refused; but after two short connections in a row one must hold first.
        """
        if self._began_s is None:
            return
        holds = now_s - self._began_s >= SOUND_AFTER_S
        if holds:
            self._short = 0
            self._pause_s = self._first_pause_s
        if not holds and self._short >= 2:
            return
        if self._why:
            self._log.info("mqtt broker reached")
            self._why = ""
        if not self._refused and (self._said_refused or self._said_not_reached):
            text = REACHED if self._said_not_reached else TAKES_AGAIN
            self._said_refused = self._said_not_reached = False
            self._report(self._part, True, text)

    def refused(self, topic: str, trouble: Trouble) -> None:
        """Take note that the broker did not accept a message, though it is connected."""
        if not self._refused:
            self._log.warning("mqtt broker refuses messages", topic=topic, error=trouble.why)
        if len(self._refused) < MAX_REFUSED:
            self._refused.add(topic)
        if not self._said_refused or self._said_not_reached:
            self._said_refused = True
            self._said_not_reached = False  # it is reached, and no better for that
            self._report(self._part, False, trouble.say)

    def accepted(self, topic: str) -> None:
        """Take note that the broker accepted a message.

        If it refused that topic before, its rules have changed: all topics are forgiven. One that is refused
        still is told anew.
        """
        if topic in self._refused:
            self._refused.clear()
            self._log.info("mqtt broker takes messages again", topic=topic)

    def failed(self, trouble: Trouble, now_s: float) -> None:
        """No connection could be made, or one is lost. A single loss is said only if the next try fails too."""
        if trouble.why != self._why:
            self._why = trouble.why
            self._log.warning("mqtt broker not reached", error=trouble.why, says=trouble.say)
        lost = self._began_s is not None
        held = self._began_s is not None and now_s - self._began_s >= SOUND_AFTER_S
        self._began_s = None
        if lost and not held:
            self._short += 1
        if not held and not self._said_not_reached:
            self._said_not_reached = True
            self._report(self._part, False, trouble.say)

    def pause_s(self) -> float:
        """Return the wait before the next try: doubling, with jitter so that stations do not come back as one."""
        pause_s = self._pause_s * random.uniform(0.5, 1.0)  # noqa: S311  (no secret)
        self._pause_s = min(2.0 * self._pause_s, LONGEST_PAUSE_S)
        return pause_s
