"""The picture: all that a page, a board or a terminal shows of a watch, as plain values.

One model for all of them. What makes it stands on one side (`live.py` of the engine, a board of messages), what
draws it on the other; nothing that draws works anything out. SI units, degrees from true north; places are metres
north and east of home; times are UTC text `2026-05-04T09:30:00.123456Z` or seconds, as named. None is unknown.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

from pydantic import BaseModel, ConfigDict

from watchkeeper.alerts.events import Level, State

Value: TypeAlias = float | bool | str | None
Standing: TypeAlias = Literal["yes", "soon", "now", "no", "home", "unknown"]
"""Can it get home: yes; turn back soon (return-reserve stands); turn back now; no; it is there (on the ground, or
over home); not known."""


class Shown(BaseModel):
    """What every part of the picture has in common."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, use_attribute_docstrings=True)


class ShownAlert(Shown):
    """One listed alert."""

    aircraft: int | None
    rule: str
    level: Level
    state: State
    since: str
    """When it was raised, UTC."""
    callout: str
    """Its words, without number spelling; never empty."""
    reason: str
    evidence: dict[str, Value]
    stale: bool
    """Its inputs have gone: it may no longer be true, nor be over."""
    over: bool
    """Its condition has ended, but nobody has acknowledged it."""
    acknowledged_by: list[str]


class Answer(Shown):
    """The one large answer: can it get home, and with how much left."""

    standing: Standing
    words: str
    """Short, in the crew's language; when unknown, why."""
    reserve_pct: float | None
    """Expected charge at landing at home."""
    reserve_low_pct: float | None
    """Its lower bound."""
    floor_pct: float | None
    """What the crew keeps (the sortie's reserve, or what the rules take)."""
    turn_back_in_s: float | None
    """Countdown to the last moment to turn back, over all limits; negative: past it."""
    turn_back_before: str | None
    """What sets that moment, in words: charge, voltage, wind, dusk."""
    time_home_s: float | None
    distance_m: float | None
    bearing_deg: float | None
    """From home to the aircraft."""
    nearest: str | None
    """The nearest landing place that it can reach, in words."""


class Spot(Shown):
    """Something with a place."""

    name: str
    north_m: float
    east_m: float
    height_m: float | None = None
    radius_m: float = 0.0


class Zone(Shown):
    """An area of the sortie."""

    name: str
    kind: Literal["boundary", "keep_out", "people"]
    corners: list[tuple[float, float]]
    """(north, east) of home, m."""


class Surroundings(Shown):
    """What lies around home; changes seldom."""

    home: tuple[float, float] | None
    """Latitude and longitude, degrees: only to be told, never to be looked up on a map."""
    points: list[Spot]
    """Of the plan, in order."""
    obstacles: list[Spot]
    places: list[Spot]
    """Where it can land besides home."""
    zones: list[Zone]


class Place(Shown):
    """Where the aircraft is; None of what is not known."""

    north_m: float
    east_m: float
    height_m: float | None
    speed_m_s: float | None
    course_deg: float | None
    climb_m_s: float | None
    age_s: float
    """How old the position is."""
    forecast: bool
    """Not heard: this is where it should be by now (`doubt_m` around it)."""
    doubt_m: float | None
    falls: Spot | None
    """Where it would come down if its motors stopped now."""


class Limit(Shown):
    """A line drawn across a history."""

    value: float
    words: str
    level: Level


class History(Shown):
    """The last minutes of one reading."""

    reading: str
    words: str
    unit: str
    points: list[tuple[float, float | None]]
    """(engine seconds since the first frame, value), oldest first, at most 240; None: a gap."""
    low: list[tuple[float, float | None]]
    """Lower bound, where there is one; else empty."""
    limits: list[Limit]


class Check(Shown):
    """One thing to be done before a take-off."""

    words: str
    done: bool


class AircraftPicture(Shown):
    """One aircraft."""

    system: int
    name: str
    phase: str | None
    mode: str | None
    armed: bool | None
    heard_s: float | None
    """Since its last heartbeat, s."""
    answer: Answer
    alerts: list[ShownAlert]
    """Most urgent first, then oldest."""
    blind: list[str]
    """What the watch cannot see of it, in words, and why."""
    place: Place | None
    track: list[tuple[float, float]]
    """(north, east) of home, m, oldest first, at most 300."""
    reach_m: list[float]
    """How far from home it can be and get back, by bearing evenly from north; empty while unknown."""
    wind_speed_m_s: float | None
    wind_from_deg: float | None
    surroundings: Surroundings
    histories: list[History]
    readings: dict[str, Value]
    """All that are known now, by name."""
    waits: list[str]
    """Reasons to wait with the take-off; empty in flight."""
    checklist: list[Check]
    roles: list[Check]
    """Who has confirmed to hear the watch."""


class Said(Shown):
    """One callout of late."""

    time: str
    aircraft: int | None
    level: Level
    words: str


class StationPicture(Shown):
    """One watch with all its aircraft."""

    station: str
    exercise: bool
    state: Literal["watching", "stopped", "lost"]
    since: str
    time: str
    """When this picture was made, UTC."""
    elapsed_s: float
    """Engine seconds since the first frame, on the axis of the histories."""
    alerts: list[ShownAlert]
    """The watch's own."""
    aircraft: list[AircraftPicture]
    """The one in most need first."""
    said: list[Said]
    """Newest first, at most 20."""
    hearing: dict[str, bool | None]
    """By role, whether it hears the watch now (the observer's phone plays); None: not asked for."""
