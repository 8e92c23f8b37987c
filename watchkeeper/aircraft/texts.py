"""The aircraft's own words: STATUSTEXT, put together from its chunks, and which of them the crew hears, when.

Severity is RFC 5424's: 0 emergency, 1 alert, 2 critical, 3 error, 4 warning, 5 notice, 6 informational, 7
debug. A warning of 14 CFR 25.1322 asks for an immediate response: in RFC 5424 that is "system is unusable" and
"action must be taken immediately", so 0 and 1. 2 and 3 are conditions that want attention: cautions. 4 is an
advisory, and the rest is nothing that eyes on the sky need. On the ground, disarmed, nothing of it is more than
an advisory.

Firmware from before the standard took RFC 5424's severities counted from 1, low, and said ordinary things at 1:
such an aircraft is known by an alert while it stands disarmed on the ground and never a text of severity 6 or
7. Its 1 is not spoken then, and its 2 an advisory. Until one or the other has been seen, 1 is an advisory in
flight.
"""

from __future__ import annotations

from collections import deque
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import US, Readings
from watchkeeper.aircraft.sayings import SLOTS, Sayings
from watchkeeper.link.decode import text

KEPT: Final = 200
TEXTS: Final = frozenset(INDEX[f"text.{slot}"] for slot in SLOTS)
_LONGEST_CHUNKS: Final = 8
_CHUNK: Final = 50
_ALERT, _CRITICAL, _ERROR, _WARNING, _INFORMATIONAL = 1, 2, 3, 4, 6
_WAIT_US: Final = 2 * US
"""A chunk that has not come by then is lost."""


class StatusText(NamedTuple):
    """One text. Severity 0 to 7 as RFC 5424, emergency to debug."""

    time_us: int
    severity: int
    words: str


class Texts:
    """The last texts, oldest first, and what is said of them."""

    __slots__ = ("_begun_us", "_chunks", "_id", "_next", "_older", "_severity", "_standard", "latest", "sayings")

    def __init__(self) -> None:
        self.latest: deque[StatusText] = deque(maxlen=KEPT)
        self.sayings = Sayings()
        self._id = self._severity = self._next = self._begun_us = 0
        self._chunks: list[bytes] = []
        self._standard = self._older = False

    def take(
        self,
        severity: int,
        raw: bytes,
        identity: int,
        chunk: int,
        now_us: int,
        readings: Readings,
        *,
        grounded: bool = False,
    ) -> None:
        """Take one STATUSTEXT in. Chunks of one id follow each other; a NUL ends the text.

        `grounded`: it is disarmed on the ground.
        """
        if self._chunks and (identity == 0 or chunk == 0 or identity != self._id):
            self._end(now_us, readings, grounded=grounded)
        if not self._chunks:
            self._begun_us = now_us
            self._next = chunk
        if chunk != self._next:
            self._chunks.append(b" ")  # one between was lost
        self._next = chunk + 1
        self._id, self._severity = identity, severity
        end = raw.find(b"\0")
        self._chunks.append(raw if end < 0 else raw[:end])
        if identity == 0 or end >= 0 or len(self._chunks) >= _LONGEST_CHUNKS:
            self._end(now_us, readings, grounded=grounded)

    def hear(self, raw: bytes, now_us: int, readings: Readings) -> None:
        """Take a text of another component aboard in, which is an advisory at most."""
        self.sayings.say("advisory", text(raw), now_us, readings)

    def run(self, now_us: int, readings: Readings) -> None:
        """Let time go on: end a text whose rest was lost, and say what waits."""
        if self._chunks and now_us - self._begun_us > _WAIT_US:
            self._end(now_us, readings)
        self.sayings.run(now_us, readings)

    def _end(self, now_us: int, readings: Readings, *, grounded: bool = False) -> None:
        """Keep what there is of a text: better cut short than lost."""
        decoded = b"".join(self._chunks).decode("utf-8", "replace")
        whole = "".join(c for c in decoded if c.isprintable())
        self._chunks = []
        severity = self._severity
        self.latest.append(StatusText(now_us, severity, whole))
        slot = self._slot(severity, grounded=grounded)
        if slot is not None:
            self.sayings.say(slot, whole, now_us, readings)

    def _slot(self, severity: int, *, grounded: bool) -> str | None:
        """Return as what a text of that severity is said; None: not at all."""
        if severity >= _INFORMATIONAL:
            self._standard = True
        elif severity == _ALERT and grounded and not self._standard:
            self._older = True
        older = self._older and not self._standard
        if severity > _WARNING or (severity == _ALERT and older) or (grounded and severity == _WARNING):
            return None
        if grounded or severity == _WARNING:
            return "advisory" if not older or severity != _WARNING else "caution"
        if severity == _ALERT and not self._standard:
            return "advisory"
        if severity <= _ALERT:
            return "urgent"
        return "advisory" if severity == _CRITICAL and older else "caution"
