"""Ground stations that are heard: who they are, and when they were last heard.

With several stations one is in charge: the one that last steered the aircraft by sticks; before any did, the first
heard. A station in charge that falls silent stays in charge for a minute, so that its silence is told although
another is still heard; then one that is heard takes over.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.readings import US

MOST: Final = 16
"""More stations than any crew has; made-up ones beyond are not kept."""
SUCCESSION_US: Final = 60 * US


class Stations:
    """Stations by MAVLink system and component."""

    __slots__ = ("_heard", "leading")

    def __init__(self) -> None:
        self._heard: dict[tuple[int, int], int] = {}
        """When each was last heard, microseconds."""
        self.leading: tuple[int, int] | None = None

    def beat(self, who: tuple[int, int], now_us: int) -> bool:
        """Take a station's heartbeat; return whether it is the one in charge."""
        heard = self._heard
        if who not in heard and len(heard) >= MOST:
            oldest = min(heard, key=lambda one: heard[one])
            if now_us - heard[oldest] <= SUCCESSION_US:
                return False
            del heard[oldest]
        heard[who] = now_us
        leading = self.leading
        if leading is None or now_us - heard.get(leading, -SUCCESSION_US) > SUCCESSION_US:
            self.leading = who
        return who == self.leading

    def steers(self, who: tuple[int, int], now_us: int) -> bool:
        """Take that a component steers; return whether it is a station, which now is in charge."""
        if who not in self._heard:
            return False  # no heartbeat said that it is one
        self._heard[who] = now_us
        self.leading = who
        return True
