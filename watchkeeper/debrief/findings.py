"""All that a debrief says, as plain values. What works them out stands on one side, what shows them on the other.

SI units; charge and gauges in %; energy in Wh; degrees from true north. `at_s` is always engine time in seconds
since the first frame of the recording, `clock` the recorded time as UTC text. None is unknown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from watchkeeper.alerts.events import Level

Point = tuple[float, float | None]
"""(at_s, value); None: a gap."""
Value = float | str | bool | None


class Fix(NamedTuple):
    """A place of a track: m north and east of home, and the height above home."""

    at_s: float
    north_m: float
    east_m: float
    height_m: float | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """What the way home would have taken from a moment on, by the watch's own estimate then."""

    at_s: float
    clock: str
    distance_m: float | None
    energy_wh: float | None
    time_s: float | None
    reserve_pct: float | None
    reserve_low_pct: float | None
    used_wh: float
    """Energy used in this flight until then."""
    charge_pct: float | None
    cell_v: float | None


@dataclass(frozen=True, slots=True)
class WayHome:
    """A way home that was flown: what was forecast when it began, and what it took."""

    begun: Literal["return", "farthest"]
    """A return was begun; or, where none was seen, counted from the farthest place."""
    forecast: Forecast
    used_wh: float | None
    """Energy until the landing; None if that is not in the recording, or was not measured."""
    took_s: float | None
    left_pct: float | None
    """Charge at the landing."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """A fixed threshold, and when it would have spoken in a flight."""

    name: str
    limit: str
    does: str
    source: str
    at_s: float | None
    clock: str | None
    held_s: float | None
    """For how long it was then below without a break."""
    then: Forecast | None
    after_call_s: float | None
    """After the watch's first call about the return in this flight; negative: before it."""
    used_after_wh: float | None
    """Energy really used from then until the landing."""
    blind: str = ""
    """Why it could not have spoken at all."""


@dataclass(frozen=True, slots=True)
class Flight:
    """One flight of one aircraft."""

    number: int
    begins_s: float
    ends_s: float
    begins: str
    ends: str
    cut_in: bool
    """It was in the air already when first heard."""
    ending: str
    """How it ended, in words."""
    landed: bool
    way_m: float
    farthest_m: float | None
    highest_m: float | None
    wind_m_s: float | None
    wind_from_deg: float | None
    gust_m_s: float | None
    used_wh: float | None
    used_ah: float | None
    left_pct: float | None
    left_gauge_pct: float | None
    left_cell_v: float | None
    lowest_cell_v: float | None
    from_home_m: float | None
    home: tuple[float, float] | None
    track: tuple[Fix, ...]
    ways_home: tuple[WayHome, ...]
    crossings: tuple[Crossing, ...]
    first_call_s: float | None
    first_call: str
    call: Forecast | None
    """At that call."""
    why_no_return: str
    """Why nothing could be said of getting home; empty where it could."""
    unmeasured_s: float = 0.0
    """Of the flight, for how long no power was told."""


@dataclass(frozen=True, slots=True)
class Told:
    """One delivery: by which outlet, how long after the decision, and with what outcome."""

    outlet: str
    outcome: str
    after_s: float | None
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """One alert from raised to over. `number` is 0 where it has none in the plots (advisories of the watch)."""

    number: int
    aircraft: int | None
    rule: str
    level: Level
    at_s: float
    clock: str
    words: str
    reason: str
    evidence: Mapping[str, Value]
    told: tuple[Told, ...]
    acknowledged: tuple[tuple[str, float], ...]
    """(by whom, after how many seconds)."""
    acted_after_s: float | None
    """Until it turned back, for a call that asks for it."""
    acted: str
    over_after_s: float | None
    over_reason: str
    repeats: int
    silent: str
    """Why it was not spoken (suppressed by another, on trial, shelved); empty: it was to be spoken."""
    escalated: str = ""
    stale: bool = False
    place: Fix | None = None
    flight: int | None = None


@dataclass(frozen=True, slots=True)
class Said:
    """One routine call."""

    at_s: float
    clock: str
    aircraft: int | None
    words: str


@dataclass(frozen=True, slots=True)
class Curve:
    """One quantity over time."""

    name: str
    words: str
    unit: str
    points: tuple[Point, ...]
    low: tuple[Point, ...] = ()
    """Its lower bound, where it has one."""
    line: Literal["main", "second", "third"] = "main"


@dataclass(frozen=True, slots=True)
class Limit:
    """A line across a plot."""

    value: float
    words: str


@dataclass(frozen=True, slots=True)
class Panel:
    """Curves of one unit over one scale."""

    title: str
    unit: str
    curves: tuple[Curve, ...]
    limits: tuple[Limit, ...] = ()
    from_zero: bool = True
    why_none: str = ""
    """Why there is no curve."""


@dataclass(frozen=True, slots=True)
class Figure:
    """Panels over one time."""

    name: str
    title: str
    panels: tuple[Panel, ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Unseen:
    """How much of the time in flight something was known."""

    words: str
    known_share: float
    longest_s: float


@dataclass(frozen=True, slots=True)
class AircraftDebrief:
    """One aircraft."""

    system: int
    name: str
    first_s: float
    last_s: float
    flights: tuple[Flight, ...]
    figures: tuple[Figure, ...]
    unseen: tuple[Unseen, ...]
    silences: tuple[tuple[float, str, float], ...]
    """(at_s, clock, for how long) it was not heard in flight, the longest first."""
    passed_over: int = 0
    """Flights beyond what a report shows."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Something with a place: m north and east of home."""

    name: str
    north_m: float
    east_m: float
    top_m: float = 0.0
    radius_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Around:
    """What of the sortie lies around, by places: latitude and longitude in degrees."""

    obstacles: tuple[tuple[str, tuple[float, float], float, float], ...] = ()
    places: tuple[tuple[str, tuple[float, float]], ...] = ()
    areas: tuple[tuple[str, str, tuple[tuple[float, float], ...]], ...] = ()
    plan: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Expected:
    """One fault of a drill, and whether it was called in time."""

    fault: str
    rule: str
    by_s: float
    called_s: float | None
    reached: bool


@dataclass(frozen=True, slots=True)
class DrillScore:
    """The score of a drill."""

    scenario: str
    expected: tuple[Expected, ...]
    ending: str
    timely: str


@dataclass(frozen=True, slots=True)
class Source:
    """What a debrief was made of, in words."""

    name: str
    begins: str
    lasts_s: float
    lived: bool
    """The decisions and deliveries of the watch that made the recording are in it."""
    difference: str
    """How the replay decides otherwise than the watch did then; empty: it does not."""
    files: tuple[str, ...]
    remarks: tuple[str, ...]
    heard: tuple[str, ...]
    ledger: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Debrief:
    """All of it."""

    title: str
    exercise: bool
    made: str
    source: Source
    aircraft: tuple[AircraftDebrief, ...]
    timeline: tuple[Entry, ...]
    said: tuple[Said, ...]
    around: Around
    score: DrillScore | None = None
    passed_over: int = 0
    """Entries of the timeline beyond what a report shows."""
    refusals: tuple[Said, ...] = field(default=())
