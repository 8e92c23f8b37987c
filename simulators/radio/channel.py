"""One way of a link: frames wait, take their time on the air, are lost or sent again, and arrive later."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Final

MOST_COMING: Final = 4096
"""Frames under way or not fetched; beyond, the oldest are lost. Many minutes of telemetry."""


class Channel:
    """A queue bounded in bytes, served at a rate. Time never goes back; what is full drops what comes new."""

    __slots__ = (
        "_buffer_bytes", "_bytes_s", "_coming", "_free_s", "_last_s", "_lost", "_retries", "_tries", "_wait",
        "_waiting", "backlog_bytes", "dropped", "held", "lost", "sent", "slow",
    )  # fmt: skip

    def __init__(
        self,
        bytes_s: float,
        buffer_bytes: int,
        lost: Callable[[int], bool],
        wait: Callable[[], float],
        retries: int = 0,
    ) -> None:
        """`lost` is asked whether a frame of a length is lost as it begins, `wait` for its seconds of delay."""
        self._bytes_s = bytes_s
        self._buffer_bytes = buffer_bytes
        self._lost = lost
        self._wait = wait
        self._retries = retries
        self._tries = 0
        self._free_s = self._last_s = 0.0
        self._waiting: Final[deque[tuple[float, bytes]]] = deque()
        self._coming: Final[deque[tuple[float, bytes]]] = deque(maxlen=MOST_COMING)
        self.backlog_bytes = 0
        self.sent = 0
        self.lost = 0
        """On the air."""
        self.dropped = 0
        """Before it, for want of room."""
        self.slow = 1.0
        """How many times as long a frame takes; for a channel that is shared or disturbed."""
        self.held = False
        """Whether nothing is sent for now, and all waits."""

    @property
    def free_pct(self) -> int:
        """Room left in the buffer, %."""
        return 100 * (self._buffer_bytes - self.backlog_bytes) // self._buffer_bytes

    def send(self, now_s: float, frame: bytes) -> bool:
        """Take a frame. False if there was no room for it."""
        self._serve(now_s)
        if self.backlog_bytes + len(frame) > self._buffer_bytes:
            self.dropped += 1
            return False
        self._waiting.append((now_s, frame))
        self.backlog_bytes += len(frame)
        self._serve(now_s)
        return True

    def arrived(self, now_s: float) -> list[bytes]:
        """Return what has arrived since the last call, in the order of sending."""
        self._serve(now_s)
        coming = self._coming
        found = []
        while coming and coming[0][0] <= now_s:
            found.append(coming.popleft()[1])
        return found

    def _serve(self, now_s: float) -> None:
        """Begin every frame whose turn has come."""
        waiting = self._waiting
        if self.held:
            self._free_s = max(self._free_s, now_s)
            return
        while waiting:
            queued_s, frame = waiting[0]
            begins_s = max(self._free_s, queued_s)
            if begins_s > now_s:
                return
            self._free_s = ends_s = begins_s + self.slow * len(frame) / self._bytes_s
            self.sent += 1
            lost = self._lost(len(frame))
            if lost and self._tries < self._retries:
                self._tries += 1
                continue
            self._tries = 0
            waiting.popleft()
            self.backlog_bytes -= len(frame)
            if lost:
                self.lost += 1
                continue
            self._last_s = max(self._last_s, ends_s + self._wait())
            self._coming.append((self._last_s, frame))
