"""Whether the broker is reached: what is said of it, what is logged, and how long to wait before the next try."""

from __future__ import annotations

import random
from typing import Final

import structlog

from watchkeeper.edges.reports import Report

FIRST_PAUSE_S = 0.5
LONGEST_PAUSE_S = 30.0
SOUND_AFTER_S = 5.0
"""A connection that has held this long is sound; one that breaks sooner counts as not reached."""

NOT_REACHED: Final = "Message broker not reached."
REACHED: Final = "message broker reached"


class Health:
    """Said once when it goes wrong and once when it is right again; logged when the reason changes."""

    def __init__(self, part: str, broker: str, report: Report, first_pause_s: float) -> None:
        self._part = part
        self._report = report
        self._log = structlog.get_logger().bind(broker=broker)
        self._first_pause_s = first_pause_s
        self._pause_s = first_pause_s
        self._bad = False
        self._why = ""
        self._short = 0
        self._began_s: float | None = None

    def connected(self, now_s: float) -> None:
        """Take note that a connection has been made."""
        self._began_s = now_s

    def taken(self, now_s: float) -> None:
        """Take note that the broker has acknowledged all there was.

        It is well then, but after two short connections in a row one must hold first.
        """
        if self._began_s is None:
            return
        holds = now_s - self._began_s >= SOUND_AFTER_S
        if holds:
            self._short = 0
            self._pause_s = self._first_pause_s
        if self._why and (holds or self._short < 2):
            self._log.info("mqtt broker reached")
            self._why = ""
            if self._bad:
                self._bad = False
                self._report(self._part, True, REACHED)

    def failed(self, why: str, now_s: float) -> None:
        """No connection could be made, or one is lost. A single loss is said only if the next try fails too."""
        self.note(why)
        lost = self._began_s is not None
        held = self._began_s is not None and now_s - self._began_s >= SOUND_AFTER_S
        self._began_s = None
        if lost and not held:
            self._short += 1
        if not held and not self._bad:
            self._bad = True
            self._report(self._part, False, NOT_REACHED)

    def note(self, why: str) -> None:
        """Log what is wrong, if it is not what was wrong before."""
        if why != self._why:
            self._why = why
            self._log.warning("mqtt broker not reached", error=why)

    def pause_s(self) -> float:
        """Return the wait before the next try: doubling, with jitter so that stations do not come back as one."""
        pause_s = self._pause_s * random.uniform(0.5, 1.0)  # noqa: S311  (no secret)
        self._pause_s = min(2.0 * self._pause_s, LONGEST_PAUSE_S)
        return pause_s
