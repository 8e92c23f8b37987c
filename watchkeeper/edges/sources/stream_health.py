"""Whether a stream of telemetry is reached, holds and carries MAVLink: what is said of it, when to try again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import structlog

from watchkeeper.edges.reports import Report
from watchkeeper.link.framing import GOOD, LONGEST, Framer

FIRST_PAUSE_S = 0.5
LONGEST_PAUSE_S = 5.0
"""Trying costs next to nothing, and an aircraft in the air waits to be heard again."""
SOUND_AFTER_S: Final = 5.0
"""A stream that has held this long is sound; one that breaks sooner is short."""
FLAPS: Final = 3
"""So many short ones in a row are said, though each was reached."""
LOOK_EVERY_S: Final = 5.0
RUBBISH_S: Final = 5.0
RUBBISH_BYTES: Final = 2 * LONGEST
"""Bytes without a frame for this long, and so many, are no MAVLink. Every component sends a heartbeat a second."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """One trouble of a stream."""

    why: str
    """For the log."""
    say: str
    """To be spoken, `{}` for the source: what is wrong, what to do, in nine words."""
    do: str = ""
    """For the log and for a line at the start: what to do, at length."""
    lasting: bool = False
    """Waiting does not mend it: at the start the watch refuses to begin."""
    at_once: bool = False
    """A loss that is said without waiting whether the next try succeeds: noticing it took long enough."""


class TroubleError(Exception):
    """A stream cannot be opened, or ends."""

    def __init__(self, trouble: Trouble) -> None:
        super().__init__(trouble.why)
        self.trouble = trouble


FLAPPING: Final = Trouble("breaks off again and again", "{} keeps breaking off. Check the sender.")


class Health:
    """Said once when it goes wrong and once when it is right again; logged when the reason changes.

    A stream that breaks and is back at the first try is logged, not said.
    """

    def __init__(self, name: str, label: str, part: str, report: Report) -> None:
        """`label` is what the source is called aloud."""
        self._label = label
        self._part = part
        self._report = report
        self._log = structlog.get_logger().bind(source=name)
        self._pause_s = FIRST_PAUSE_S
        self._said = ""
        self._useless = False
        self._why = ""
        self._news = True
        """Whether the log has not been told yet that the stream is open."""
        self._short = 0
        self._began_s = 0.0

    def opened(self, now_s: float) -> None:
        """Take note that the stream is open. Whether it carries anything is not known yet."""
        self._began_s = now_s
        if self._news:
            self._news = False
            self._log.info("telemetry source open")
        if self._short < FLAPS and not self._useless:
            self._well()

    def holds(self) -> None:
        """Take note that the stream has been open for SOUND_AFTER_S, though nothing came."""
        self._sound()
        if not self._useless:
            self._well()

    def heard(self, now_s: float) -> None:
        """Take note of a good frame."""
        if now_s - self._began_s >= SOUND_AFTER_S:
            self._sound()
            self._why = ""
        if self._short < FLAPS:
            self._well()

    def failed(self, trouble: Trouble) -> None:
        """Take note that the stream could not be opened."""
        again = trouble.why == self._why
        self._note(trouble)
        if not self._said or again:
            self._say(trouble)

    def broke(self, trouble: Trouble, now_s: float) -> None:
        """Take note that an open stream has ended."""
        self._note(trouble)
        if now_s - self._began_s >= SOUND_AFTER_S:
            self._sound()
        else:
            self._short += 1
        if trouble.at_once:
            self._say(trouble)
        elif self._short >= FLAPS:
            self._say(FLAPPING)

    def useless(self, trouble: Trouble) -> None:
        """Take note that what comes is of no use."""
        self._note(trouble)
        self._say(trouble)
        self._useless = True

    def pause_s(self) -> float:
        """Return the wait before the next try, doubling."""
        pause_s = self._pause_s
        self._pause_s = min(2.0 * pause_s, LONGEST_PAUSE_S)
        return pause_s

    def _sound(self) -> None:
        self._short = 0
        self._pause_s = FIRST_PAUSE_S

    def _note(self, trouble: Trouble) -> None:
        if trouble.why != self._why:
            self._why = trouble.why
            self._news = True
            more = {"do": trouble.do} if trouble.do else {}
            self._log.warning("telemetry source not heard", error=trouble.why, **more)

    def _say(self, trouble: Trouble) -> None:
        words = trouble.say.format(self._label)
        if words == self._said:
            return
        if self._said:
            self._report(self._part, True, f"it is another trouble now: {trouble.why}")
        self._said = words
        self._useless = False
        self._report(self._part, False, words)

    def _well(self) -> None:
        if self._said:
            self._said = ""
            self._useless = False
            self._log.info("telemetry source works again")
            self._report(self._part, True, f"{self._label.lower()} works again")


class FrameCheck:
    """Looks every few seconds whether there are frames among the bytes; between the looks it costs nothing."""

    def __init__(self) -> None:
        self._framer: Framer | None = None
        self._next_s = self._since_s = float("-inf")
        self._bytes = 0

    def take(self, data: bytes, now_s: float) -> bool | None:
        """Take bytes. True: a good frame was among them. False: there has been none for long. Else None."""
        if self._framer is None:
            if now_s < self._next_s:
                return None
            self._framer = Framer()
            self._since_s = now_s
            self._bytes = 0
        self._bytes += len(data)
        if any(frame[6] == GOOD for frame in self._framer.feed(data)):
            self._framer = None
            self._next_s = now_s + LOOK_EVERY_S
            return True
        if self._bytes >= RUBBISH_BYTES and now_s - self._since_s >= RUBBISH_S:
            return False
        return None
