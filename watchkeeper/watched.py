"""One aircraft as the engine holds it: readings, estimates, alerts, and what is asked before a take-off."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.alerts.book import AlertBook
from watchkeeper.alerts.preparing import Preparing
from watchkeeper.alerts.teller import Teller
from watchkeeper.estimate.suite import EstimateSuite

ESTIMATE_EVERY_US: Final = 500_000
_LINK_AGE: Final = INDEX["link.age"]


class Watched:
    """One aircraft with its estimates and its alerts."""

    __slots__ = ("aircraft", "book", "estimated_us", "power_up", "preparing", "seen_us", "suite")

    def __init__(self, aircraft: Aircraft, book: AlertBook, teller: Teller, now_us: int) -> None:
        self.aircraft = aircraft
        self.suite = EstimateSuite(aircraft, aircraft.labels)
        self.book = book
        self.preparing = Preparing(aircraft.system, aircraft.readings, aircraft.sortie, teller)
        self.seen_us = now_us
        self.estimated_us = -ESTIMATE_EVERY_US
        self.power_up = aircraft.power_up

    def sticks_off(self, seen_by_us: int) -> str:
        """Return why the crew's switch acknowledges nothing; empty: it does, none was named, or seen later."""
        return self.aircraft.why_not_by_sticks() if self.seen_us <= seen_by_us else ""

    def silent_us(self, now_us: int) -> int:
        """Return for how long it has not been heard; 0 before it ever was."""
        stream = self.aircraft.readings.streams[_LINK_AGE]
        return 0 if stream is None else now_us - stream.time_us
