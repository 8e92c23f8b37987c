"""Whether home is set, and whether it is still where the flight began.

Home may be set anew on the ground: by a crew, or by the arming of an aircraft that stands elsewhere by now. What
counts is where it was when the flight began. A flight controller that starts anew takes where it then is for home:
in the air that is a moved home; on the ground, too, where it flew there and was not carried there.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.geodesy import Around
from watchkeeper.aircraft.phase import DOWN, FLYING
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import Aircraft

AT_HOME_M: Final = 30.0
"""As near as this an aircraft stands at its home: two satellite positions (8 m each in 95 %, GPS SPS, from memory)
and room for a step to the side."""

SETTLED_US: Final = 5_000_000
"""On the ground a home is one that the crew wants after this: a start anew shows within three seconds."""


class HomeWatch:
    """`home.set`, `home.moved` and `home.follows`."""

    indexes = tuple(INDEX[name] for name in ("home.set", "home.moved", "home.follows"))

    def __init__(self, aircraft: Aircraft) -> None:
        self._aircraft = aircraft
        self._armed: bool | None = None
        self._source: str | None = None
        self._without = False
        """It was armed, on the ground, without a position."""
        self._changed: Around | None = None
        self._changed_us = 0
        self._last: tuple[bool | None, float | None] | None = None
        sortie = aircraft.sortie
        self._follows = sortie is not None and sortie.crew.moving
        self.stream = Stream()

    def _settled(self, here: Around, now_us: int) -> bool:
        """Whether home has stayed where it is for a while."""
        if self._changed is not here:
            self._changed, self._changed_us = here, now_us
        return now_us - self._changed_us >= SETTLED_US

    def run(self, now_us: int) -> tuple[bool | None, float | None, bool] | None:
        """Return whether home is set, how far it moved in m (None: unknown), whether that is on purpose."""
        aircraft = self._aircraft
        homing, phase, armed = aircraft.homing, aircraft.tracker.phase, aircraft.armed
        down = phase in DOWN
        arms = bool(armed) and self._armed is False
        self._armed = armed
        if aircraft.position is not None and aircraft.fixed:
            homing.stood = aircraft.position
        if arms and down:
            self._without = not homing.told and not aircraft.fixed
        told = homing.told
        is_set = True if told else False if self._without or (down and self._unfixed(now_us)) else None
        moved_m = self._moved_m(down=down, flying=phase in FLYING, arms=arms, now_us=now_us) if told else None
        if (is_set, moved_m) == self._last:
            return None
        self._last = (is_set, moved_m)
        return is_set, moved_m, self._follows

    def _unfixed(self, now_us: int) -> bool:
        first = self._aircraft.receivers.first
        return first.is_live(now_us) and first.fixed is False

    def _moved_m(self, *, down: bool, flying: bool, arms: bool, now_us: int) -> float:
        homing = self._aircraft.homing
        here = homing.around
        assert here is not None
        if flying:
            homing.carried = False  # it went on flying over a start anew: from here on as in any flight
        settled = self._settled(here, now_us)
        accepted = homing.reference is None
        if homing.source != self._source:
            # what was deduced is now told: no move; after a start anew it is held against the flight before
            accepted = accepted or (self._source is not None and not homing.carried)
            self._source = homing.source
        if homing.carried and not accepted:
            accepted = arms or not self._restarted_here(here)
        elif down and not accepted:
            stands = homing.stood
            wanted = not self._armed or (stands is not None and here.to(*stands)[0] <= AT_HOME_M)
            if wanted and not settled:
                return 0.0
            accepted = wanted
        if accepted or homing.reference is None:
            homing.reference, homing.carried = here, False
            return 0.0
        reference: Around = homing.reference
        return reference.to(here.latitude_deg, here.longitude_deg)[0]

    def _restarted_here(self, here: Around) -> bool:
        """Whether home is where the power-up before ended: not where somebody has carried it since."""
        before = self._aircraft.homing.stood_before
        return before is not None and here.to(*before)[0] <= AT_HOME_M
