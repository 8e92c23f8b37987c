"""One aircraft as the engine holds it: readings, estimates, alerts, and what is asked before a take-off."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import CATALOGUE, INDEX
from watchkeeper.aircraft.readings import BLIND, FAULT
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.alerts.book import AlertBook
from watchkeeper.alerts.desk import Lacks, WatchDesk
from watchkeeper.alerts.preparing import Preparing
from watchkeeper.alerts.sightings import Sightings
from watchkeeper.alerts.teller import Teller
from watchkeeper.estimate.suite import EstimateSuite

ESTIMATE_EVERY_US: Final = 500_000
SETTLED_AFTER_US: Final = 40_000_000
"""An aircraft is given this long to send each of its messages, and trends to form, before anything is missed."""
TOLD_AFTER_US: Final = SETTLED_AFTER_US + 10_000_000
"""By then what cannot be seen of it has been told."""
QUIET_US: Final = 3_000_000
"""Silent for longer: that it cannot be seen is said by the link's own alerts, not once a reading."""
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

    def sticks_off(self, now_us: int) -> str:
        """Return, once settled, why the crew's switch acknowledges nothing; empty: it does, none was named."""
        return self.aircraft.why_not_by_sticks() if now_us - self.seen_us >= TOLD_AFTER_US else ""

    def silent_us(self, now_us: int) -> int:
        """Return for how long it has not been heard; 0 before it ever was."""
        stream = self.aircraft.readings.streams[_LINK_AGE]
        return 0 if stream is None else now_us - stream.time_us

    def known(self, now_us: int) -> dict[str, float | str | bool | None]:
        """Return every reading by name, None where blind or faulty."""
        read = self.aircraft.readings.read
        shown: dict[str, float | str | bool | None] = {}
        for i, reading in enumerate(CATALOGUE):
            value = read(i, now_us)
            shown[reading.name] = None if value is BLIND or value is FAULT else value
        return shown

    def look_before(self, desk: WatchDesk, sightings: Sightings, now_us: int) -> None:
        """Work out what speaks against a take-off."""
        if not self.preparing.follow(self.seen_us, now_us):
            return
        alerts = [alert for ruling in self.book.rulings if (alert := ruling.alert).stands]
        alerts += [*desk.alerts(), *sightings.alerts(self.aircraft.system, None)]
        blind = {subject.strip(".") for subject, _ in desk.shown_of(self.aircraft.system).values()}
        settled = now_us - self.seen_us >= TOLD_AFTER_US
        self.preparing.readiness.look(alerts, blind, now_us, settled=settled)

    def lacks(self, desk: WatchDesk, now_us: int) -> Lacks:
        """Return which rules cannot judge it, and what they lack."""
        system = self.aircraft.system
        told = desk.shown_of(system)
        if self.silent_us(now_us) > QUIET_US:
            return told  # as it was before it fell silent
        found: dict[tuple[int, str], tuple[str, tuple[str, ...]]] = {}
        if now_us - self.seen_us >= SETTLED_AFTER_US:
            for rule, names in self.book.blind(now_us, {rule for _, rule in told}).items():
                before = told.get((system, rule))
                asks = self.suite.why and any(name.startswith("return.") for name in names)
                listed = (*names, self.suite.why) if asks else names
                found[system, rule] = before if before and not names else (self.book.subject(rule), listed)
        return found
