"""What may speak now: in a sterile phase only what must, in a flood of alerts the more urgent levels."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.readings import Readings
from watchkeeper.alerts.events import Level
from watchkeeper.alerts.measures import FloodGauge
from watchkeeper.alerts.ruling import Ruling
from watchkeeper.alerts.sterile import Sterile
from watchkeeper.rules.condition import Condition

HELD: Final = "waits to be spoken"
"""Said in the reason of a change whose words have to wait."""


class Hush:
    """Keeps alerts of one aircraft off the voice. They are raised, logged and listed all the same.

    A sterile phase keeps everything but warnings, and what its rule lets speak or wait. A flood keeps advisories,
    and repetitions of cautions: warnings and what is new of cautions go on (14 CFR 25.1322(a): awareness at once).
    """

    __slots__ = ("_flood", "_sterile", "why")

    def __init__(self, sterile: Condition | None, readings: Readings, flood: FloodGauge) -> None:
        self._sterile = Sterile(sterile, readings)
        self._flood = flood
        self.why = ""
        """Why something was last kept."""

    def look(self, now_us: int) -> None:
        """Follow the sterile phase; once a second at least."""
        self._sterile.look(now_us)

    def keeps(self, ruling: Ruling, now_us: int, *, again: bool = False) -> bool:
        """Whether that ruling may not speak now; `again`: what it has said before."""
        if self.flooded(ruling, again=again):
            self.why = "many alerts"
            return True
        own = ruling.rule.sterile
        speaks = ruling.alert.level is Level.WARNING if own is None else own
        if speaks or not self._sterile.look(now_us):
            return False
        self.why = "sterile phase"
        return True

    def flooded(self, ruling: Ruling, *, again: bool = False) -> bool:
        """Whether a flood of alerts keeps that ruling off the voice."""
        level = ruling.alert.level
        if ruling.rule.sterile:
            return False  # what speaks through a sterile phase speaks through a flood
        kept = level is Level.ADVISORY or (again and level is Level.CAUTION)
        return kept and self._flood.flooding
