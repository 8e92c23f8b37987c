"""Lets the aircraft's own words go on with time: they are said one after the other."""

from __future__ import annotations

from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import Aircraft


class OwnWords:
    """Writes the readings `text.…` by itself, each with a stream of its own."""

    indexes: tuple[int, ...] = ()

    def __init__(self, aircraft: Aircraft) -> None:
        self.stream = Stream()
        self._aircraft = aircraft

    def run(self, now_us: int) -> None:
        """Say what waits, and end a text whose rest was lost."""
        self._aircraft.texts.run(now_us, self._aircraft.readings)
