"""Who listens to the sound stream: each with a bounded buffer of its own, so that none can hold up another."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Iterator

MOST_LISTENERS = 16
BUFFER_S = 5.0
"""Sound older than this is of no use to anybody: who has not taken it by then is let go."""


class Listener:
    """One connection. Made by `Listeners.join`."""

    def __init__(self, role: str, let_go: Callable[[], None]) -> None:
        self.role = role
        self.gone = False
        self._let_go = let_go
        self._waiting: deque[tuple[bytes, float]] = deque()
        self._waiting_s = 0.0
        self._more = asyncio.Event()

    def put(self, part: bytes, length_s: float) -> bool:
        """Add some of the stream; False if too much waits already, and this listener is let go."""
        if self._waiting_s + length_s > BUFFER_S:
            self.end()
            self._let_go()
            return False
        self._waiting.append((part, length_s))
        self._waiting_s += length_s
        self._more.set()
        return True

    async def take(self) -> bytes:
        """Return all that waits, as soon as there is any; nothing at the end of the stream."""
        await self._more.wait()
        self._more.clear()
        parts = b"".join(part for part, _ in self._waiting)
        self._waiting.clear()
        self._waiting_s = 0.0
        return parts

    def end(self) -> None:
        """End this connection; what still waits is not sent."""
        self.gone = True
        self._waiting.clear()
        self._waiting_s = 0.0
        self._more.set()


class Listeners:
    """All who listen now, no more than MOST_LISTENERS."""

    def __init__(self) -> None:
        self._all: dict[Listener, None] = {}
        self.came = asyncio.Event()
        """Set while there are any."""

    def __len__(self) -> int:
        return len(self._all)

    def __iter__(self) -> Iterator[Listener]:
        return iter(tuple(self._all))

    def join(self, role: str, let_go: Callable[[], None]) -> Listener | None:
        """Add one; None if there are too many. `let_go` cuts its connection, which may hang in a write."""
        if len(self._all) >= MOST_LISTENERS:
            return None
        listener = Listener(role, let_go)
        self._all[listener] = None
        self.came.set()
        return listener

    def leave(self, listener: Listener) -> None:
        """Take one away, if it is not away already."""
        self._all.pop(listener, None)
        if not self._all:
            self.came.clear()

    def put(self, part: bytes, length_s: float) -> None:
        """Give some of the stream to everybody; who is too slow is let go."""
        for listener in self:
            if not listener.put(part, length_s):
                self.leave(listener)

    def has(self, role: str) -> bool:
        """Whether anybody of that role is connected."""
        return any(listener.role == role for listener in self._all)
