"""Whether events wait for those who listen to come back to a broker that has been away.

A broker that has ended has forgotten who listened to it, unless it keeps that on disk and they asked it to: what
is sent before they are back is lost to them for good. So what happened is held back for a while after every
reconnect; how alerts stand now is not.
"""

from __future__ import annotations

HOLD_S = 10.0
"""Time for those who try again every few seconds."""


class Hold:
    """One for the whole run. Times in seconds by the clock of the loop."""

    def __init__(self, hold_s: float = HOLD_S) -> None:
        self._hold_s = self._next_s = hold_s
        self._before = False
        self._doubtful = False
        self._until_s: float | None = None

    def connected(self, now_s: float, *, late: bool) -> None:
        """Take note of a connection. `late`: there may be messages that should have been sent before.

        After a connection that has broken within its hold the next one is half as long: else events would
        never get out over a line that breaks again and again.
        """
        if self._until_s is not None and now_s < self._until_s + self._hold_s:
            self._next_s /= 2.0
        self._doubtful = not self._before
        self._until_s = now_s + self._next_s if self._before or late else None
        self._before = True

    def remembered(self) -> None:
        """Take note that the broker holds our status. If only the watch was away, nobody has to come back."""
        if self._doubtful:
            self.end()

    def end(self) -> None:
        """Hold nothing back."""
        self._until_s = None
        self._next_s = self._hold_s
        self._doubtful = False

    def holds(self, now_s: float) -> bool:
        """Whether events wait."""
        if self._until_s is not None and now_s >= self._until_s:
            self.end()
        return self._until_s is not None
