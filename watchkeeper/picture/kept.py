"""What is kept of one aircraft between pictures: where it was, its histories, what has been drawn already."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.alerts.language import Language
from watchkeeper.estimate.surroundings.falling import Footprint
from watchkeeper.picture.answering import GROUND, IN_FLIGHT
from watchkeeper.picture.histories import Histories
from watchkeeper.picture.models import History, Limit, Surroundings
from watchkeeper.picture.plane import Seen, seen_now, surroundings
from watchkeeper.picture.trail import Track
from watchkeeper.watched import Watched

AT_HOME_M: Final = 30.0
"""A take-off from nearer to home begins a new track: another flight (common practice)."""
FAR_M: Final = 50_000.0
"""Further from home no multirotor flies: a position that jumped."""
_PHASE: Final = INDEX["flight.phase"]


class Kept:
    """The memory of one aircraft's pictures."""

    __slots__ = (
        "_grounded", "_home", "_surroundings", "_track", "drawn", "falls", "histories", "one", "seen", "track_m",
    )  # fmt: skip

    def __init__(self, one: Watched) -> None:
        self.one = one
        self.histories = Histories()
        self.seen: Seen | None = None
        """Where it last was while its position was valid."""
        self.falls: Footprint | None = None
        self.track_m: list[tuple[float, float]] = []
        self.drawn: list[History] | None = None
        """Histories as they were drawn; None: a sample has come since."""
        self._track = Track()
        self._grounded = False
        self._home: tuple[float, float] | None = None
        self._surroundings: Surroundings | None = None

    def look(self, now_us: int) -> None:
        """Note where it is, and whether home is another now."""
        home = self.one.aircraft.home
        if home != self._home:
            self._home = home
            self._surroundings = None
            self._lay_track()
        seen = seen_now(self.one, now_us)
        if seen is not None:
            self.seen = seen

    def sample(self, time_s: float, now_us: int) -> None:
        """Take a sample at engine time; `time_s` counts from the first frame."""
        self.look(now_us)
        self._begin_flight()
        if self.seen is not None:
            self._track.add(self.seen.place)
        self._lay_track()
        self.falls = self.one.suite.footprint(now_us)
        self.histories.sample(self.one, time_s, now_us)
        self.drawn = None

    def _begin_flight(self) -> None:
        phase = self.one.aircraft.readings.values[_PHASE]
        if self._grounded and phase in IN_FLIGHT and self.seen is not None:
            around = self.one.aircraft.homing.around
            if around is not None and around.to(*self.seen.place)[0] <= AT_HOME_M:
                self._track = Track()
        self._grounded = phase in GROUND

    def _lay_track(self) -> None:
        around = self.one.aircraft.homing.around
        self.track_m = [
            (round(north_m, 1) + 0.0, round(east_m, 1) + 0.0)
            for north_m, east_m in (self._track.around(around) if around is not None else ())
            if math.hypot(north_m, east_m) <= FAR_M
        ]

    def around(self, sortie: SortieFile | None, language: Language) -> Surroundings:
        """Return what lies around home; it is worked out once for each home."""
        if self._surroundings is None:
            self._surroundings = surroundings(sortie, self._home, language)
        return self._surroundings

    def histories_drawn(self, limits: Mapping[str, Sequence[Limit]], language: Language) -> list[History]:
        """Return the histories, drawn once a sample."""
        if self.drawn is None:
            self.drawn = self.histories.drawn(self.one, limits, language)
        return self.drawn
