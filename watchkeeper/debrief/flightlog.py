"""One flight as it goes: what is counted and kept of it, in bounded memory."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from watchkeeper.aircraft.geodesy import distance_bearing
from watchkeeper.debrief.findings import Forecast
from watchkeeper.debrief.thresholds import CUSTOMARY, Threshold, Watcher
from watchkeeper.debrief.trace import Track

STEP_M: Final = 2.0
"""A way over ground counts in steps of this, so that a hover's noise of position does not add up to one."""
MOST_TURNS: Final = 30
MOST_STAGES: Final = 12
LONGEST_STEP_S: Final = 10.0
"""Power that is not told for longer is not made up."""


@dataclass
class FlightLog:
    """What is known of a flight so far. Times are engine seconds since the first frame."""

    begins_s: float
    begins: str
    cut_in: bool
    home: tuple[float, float] | None = None
    ends_s: float = 0.0
    ends: str = ""
    landed: bool = False
    disarmed: bool = False
    used_wh: float = 0.0
    measured: bool = False
    unmeasured_s: float = 0.0
    ah_begin: float | None = None
    ah_end: float | None = None
    way_m: float = 0.0
    farthest_m: float | None = None
    highest_m: float | None = None
    lowest_cell_v: float | None = None
    gust_m_s: float | None = None
    left_pct: float | None = None
    left_gauge_pct: float | None = None
    left_cell_v: float | None = None
    from_home_m: float | None = None
    why: str = ""
    returned: bool = False
    """The return could be worked out at some time."""
    track: Track = field(default_factory=Track)
    turns: list[Forecast] = field(default_factory=list)
    farthest: Forecast | None = None
    call: Forecast | None = None
    """At the watch's first call about getting home."""
    watchers: dict[str, Watcher] = field(default_factory=dict)
    _stepped: tuple[float, float] | None = None
    _power: tuple[float, float] | None = None
    _wind: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])

    def __post_init__(self) -> None:
        for one in CUSTOMARY:
            self.watchers[one.name] = Watcher(one)

    def stages(self, found: tuple[Threshold, ...]) -> None:
        """Follow the aircraft's own stages as they are set now; one that was changed begins anew."""
        for one in found[:MOST_STAGES]:
            had = self.watchers.get(one.name)
            if had is None or (had.threshold != one and had.at_s is None):
                self.watchers[one.name] = Watcher(one)

    def moved(self, place: tuple[float, float]) -> None:
        """Take a new position."""
        if self._stepped is None:
            self._stepped = place
            return
        step_m, _ = distance_bearing(*self._stepped, *place)
        if step_m >= STEP_M:
            self.way_m += step_m
            self._stepped = place

    def powered(self, power_w: float | None, at_s: float) -> None:
        """Take a new figure of the power of all packs: energy by the trapezoidal rule."""
        before, self._power = self._power, None if power_w is None else (at_s, power_w)
        if before is None or power_w is None:
            return
        step_s = at_s - before[0]
        if step_s > LONGEST_STEP_S:
            self.unmeasured_s += step_s
            return
        self.measured = True
        self.used_wh += (before[1] + power_w) / 2.0 * step_s / 3600.0

    def blew(self, north_m_s: float, east_m_s: float) -> None:
        """Take the mean wind of a second, as where it goes to."""
        self._wind[0] += north_m_s
        self._wind[1] += east_m_s
        self._wind[2] += 1.0

    @property
    def wind(self) -> tuple[float, float] | None:
        """Mean wind towards north and east, m/s; None where it was never known."""
        north, east, count = self._wind
        return (north / count, east / count) if count else None
