"""Whether a station's watch lives, by what it told last and when that came; and whether its clock is right."""

from __future__ import annotations

from collections import deque
from typing import Final, Literal, NamedTuple

from watchkeeper.edges.messages.payloads import Status
from watchkeeper.page.board.aircraft import SILENT_US
from watchkeeper.page.board.heard import utc_us

STATUS_US: Final = 90_000_000
"""Three times the interval at which a watch tells that it is watching."""
STOPPED_US: Final = 600_000_000
"""How long a watch that was stopped stays listed."""
CLOCK_OFF_US: Final = 5_000_000
"""More than messages take, and less than would matter to anybody."""
ENDED_US: Final = 60_000_000
"""How long something stays listed that speaks as a watch, but never told its status."""


class Life(NamedTuple):
    """Whether a watch lives: since when (UTC microseconds of the board), and if it is lost, why."""

    state: Literal["watching", "stopped", "lost"]
    since_us: int
    why: str = ""


class Signs:
    """The signs of life of one watch: its status, and what it tells once a second (beats)."""

    def __init__(self, now_us: int) -> None:
        self.begun_us = now_us
        self.status: Status | None = None
        self.beat_us: int | None = None
        self.first_beat_us: int | None = None
        """In this connection of the board."""
        self._status_us = now_us
        self._sent_us = now_us
        self._retained = False
        self._offsets_us: deque[int] = deque(maxlen=5)

    def told(self, status: Status, sent_us: int, now_us: int, *, retained: bool) -> None:
        """Take a status."""
        self.status, self._status_us, self._sent_us, self._retained = status, now_us, sent_us, retained
        if not retained and status.state == "watching":  # a will is written long before it is sent
            self._offsets_us.append(sent_us - now_us)

    def beat(self, sent_us: int, now_us: int) -> None:
        """Take note of something that is sent once a second, or not at all."""
        self.beat_us = now_us
        if self.first_beat_us is None:
            self.first_beat_us = now_us
        self._offsets_us.append(sent_us - now_us)

    @property
    def any(self) -> bool:
        """Whether a watch stands behind what came; alerts alone may be left over from long ago."""
        return self.status is not None or self.beat_us is not None

    @property
    def state(self) -> str:
        """What the status says; "" without one."""
        return "" if self.status is None else self.status.state

    @property
    def clock_off_us(self) -> int | None:
        """By how much the station's clock is ahead of the board's, if much: by the message that came fastest."""
        off_us = max(self._offsets_us, default=0)
        return off_us if len(self._offsets_us) >= 2 and abs(off_us) > CLOCK_OFF_US else None

    def now(self, now_us: int, away: str, *, beats: bool) -> Life:
        """Return whether it lives. `away`: why the broker is not heard, or ""; `beats`: it is to beat."""
        status = self.status
        word_us = max(self._status_us if status is not None else 0, self.beat_us or 0) or self.begun_us
        if away:
            return Life("lost", word_us, away)
        if status is not None and status.state == "lost":
            return Life("lost", self._status_us, "The broker says that the watch has died or lost its line.")
        if status is not None and status.state == "stopped":
            return Life("stopped", self._stopped_us())
        silent_us = now_us - (self.beat_us if self.beat_us is not None else self._status_us)
        if beats and silent_us > SILENT_US:
            return Life("lost", word_us, f"The watch has told nothing for {silent_us / 1e6:.0f} s.")
        if status is None:
            if silent_us > SILENT_US:
                return Life("lost", word_us, "The watch tells nothing of itself.")
            return Life("watching", self.begun_us)
        if now_us - word_us > STATUS_US:
            return Life("lost", word_us, f"The watch has told nothing for {(now_us - word_us) / 1e6:.0f} s.")
        if self._retained and self.beat_us is None and now_us - self._sent_us > STATUS_US:
            return Life("lost", self._sent_us, f"The watch's last word is of {status.sent_at[:19]}Z.")
        return Life("watching", utc_us(status.since))

    def alive(self, now_us: int) -> bool:
        """Whether it says that it is watching, and tells what it sees."""
        return self.state == "watching" and self.beat_us is not None and now_us - self.beat_us <= SILENT_US

    def over(self, now_us: int) -> bool:
        """Whether it need not be listed any more."""
        if self.status is not None:
            return self.status.state == "stopped" and now_us - self._stopped_us() > STOPPED_US
        return self.beat_us is None or now_us - self.beat_us > ENDED_US

    def _stopped_us(self) -> int:
        return min(self._sent_us, self._status_us) if self._retained else self._status_us
