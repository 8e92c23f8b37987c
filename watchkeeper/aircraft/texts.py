"""The aircraft's own words: STATUSTEXT, put together from its chunks."""

from __future__ import annotations

from collections import deque
from typing import Final, NamedTuple

from watchkeeper.link.decode import text

KEPT: Final = 200
_LONGEST_CHUNKS: Final = 8
_CHUNK: Final = 50


class StatusText(NamedTuple):
    """One text. Severity 0 to 7 as RFC 5424, emergency to debug."""

    time_us: int
    severity: int
    words: str


class Texts:
    """The last texts, oldest first."""

    __slots__ = ("_chunks", "_id", "_severity", "latest")

    def __init__(self) -> None:
        self.latest: deque[StatusText] = deque(maxlen=KEPT)
        self._id = self._severity = 0
        self._chunks: list[str] = []

    def take(self, severity: int, raw: bytes, identity: int, chunk: int, now_us: int) -> None:
        """Take one STATUSTEXT in. Chunks of one id follow each other; a NUL ends the text."""
        words = text(raw)
        if identity == 0 or chunk == 0 or identity != self._id:
            self._end(now_us)
        self._id, self._severity = identity, severity
        self._chunks.append(words)
        if identity == 0 or len(words) < _CHUNK or len(self._chunks) >= _LONGEST_CHUNKS:
            self._end(now_us)

    def _end(self, now_us: int) -> None:
        """Keep what there is of a text: better cut short than lost."""
        if self._chunks:
            whole = "".join(c for c in "".join(self._chunks) if c.isprintable())
            self.latest.append(StatusText(now_us, self._severity, whole))
            self._chunks = []
