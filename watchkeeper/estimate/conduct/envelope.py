"""What the aircraft can be told to do at most: how far it leans, how fast it descends, in the mode it flies.

Its own settings go first, then the aircraft file, then what is usual. Settings of automatic flight bind the hand
less than the autopilot, so a mode flown by hand has the usual limits at least.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import is_live
from watchkeeper.estimate.part import Known

USUAL_TILT_DEG: Final = 45.0
"""Full stick in modes that level themselves (common practice: 30 to 45)."""
USUAL_DESCENT_M_S: Final = 5.0
"""The fastest descents of multirotors by command (common practice: 2 to 5; heavy ones at the lower end)."""
BY_HAND_DESCENT_M_S: Final = 10.0
"""Throttle by hand: no autopilot brakes it. A small quadrotor dived at 11 m/s in a real recording."""
NO_TILT_LIMIT_DEG: Final = 180.0
_MODE: Final = INDEX["flight.mode"]
_BY_HAND: Final = frozenset({"attitude", "rate"})
_AUTOMATIC: Final = frozenset({"mission", "safe_recovery", "land", "takeoff"})
"""Modes in which it sets its speeds itself; in all others sticks or stations do, with limits of their own."""


class Envelope:
    """`flight.tilt_limit` and `flight.descent_limit`."""

    indexes = (INDEX["flight.tilt_limit"], INDEX["flight.descent_limit"])

    def __init__(self, known: Known) -> None:
        self._aircraft = known.aircraft
        self._own = known.own
        self._told: tuple[float, float | None] | None = None
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float, float | None] | None:
        """Return both, or None while they are as they were."""
        aircraft = self._aircraft
        mode = aircraft.readings.values[_MODE]
        told = self.tilt_deg(mode), self._descent_m_s(mode, now_us)
        if told == self._told:
            return None
        self._told = told
        return told

    def tilt_deg(self, mode: object) -> float:
        """Return how far it leans at most in a mode, degrees."""
        if mode == "rate":
            return NO_TILT_LIMIT_DEG  # turned by rates: it may be flown upside down on purpose
        settings, file = self._own.settings(), self._aircraft.file
        set_deg = settings.tilt_deg.number if settings is not None else None
        if set_deg is None and file is not None:
            set_deg = file.limits.tilt_deg
        if set_deg is None:
            return USUAL_TILT_DEG
        return max(set_deg, USUAL_TILT_DEG) if mode == "attitude" else set_deg

    def _descent_m_s(self, mode: object, now_us: int) -> float | None:
        """Return how fast it descends at most, m/s; None while the sign of its vertical speed is open."""
        aircraft = self._aircraft
        if not aircraft.down.sure and not is_live(aircraft.streams.hud, now_us):
            return None
        settings, file = self._own.settings(), aircraft.file
        found: list[float | None] = []
        if settings is not None:
            found = [settings.descent_m_s.number, settings.landing_high_m_s.number]
        if file is not None:
            found.append(file.limits.descent_m_s)
        most = max((each for each in found if each is not None), default=USUAL_DESCENT_M_S)
        if mode in _AUTOMATIC:
            return most
        return max(most, BY_HAND_DESCENT_M_S if mode in _BY_HAND else USUAL_DESCENT_M_S)
