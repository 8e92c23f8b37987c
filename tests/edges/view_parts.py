"""Pictures for tests of what goes to boards: an invented station with an invented aircraft in flight."""

from __future__ import annotations

from typing import Any

from watchkeeper.alerts.events import Level, State
from watchkeeper.picture.models import (
    AircraftPicture,
    Answer,
    Check,
    History,
    Limit,
    Place,
    Said,
    ShownAlert,
    Spot,
    StationPicture,
    Surroundings,
    Zone,
)

AT = "2026-05-04T09:30:00.000000Z"
ODD = "\ud800 \u20ac"


def shown_alert(rule: str = "link-lost", aircraft: int | None = 42, **other: Any) -> ShownAlert:
    values: dict[str, Any] = {
        "level": Level.WARNING, "state": State.UNACKNOWLEDGED, "since": AT, "callout": "Warning. Link lost.",
        "reason": "link.age > 3 s", "evidence": {"link.age": 3.25}, "stale": False, "over": False,
        "acknowledged_by": [],
    }  # fmt: skip
    return ShownAlert(aircraft=aircraft, rule=rule, **values | other)


def answer(**other: Any) -> Answer:
    values: dict[str, Any] = {
        "standing": "yes", "words": "Gets home with 41 %.", "reserve_pct": 41.0, "reserve_low_pct": 34.5,
        "floor_pct": 20.0, "turn_back_in_s": 312.0, "turn_back_before": "charge", "time_home_s": 96.0,
        "distance_m": 640.0, "bearing_deg": 75.0, "nearest": "meadow",
    }  # fmt: skip
    return Answer(**values | other)


def around(**other: Any) -> Surroundings:
    values: dict[str, Any] = {
        "home": (46.9, 7.4), "points": [Spot(name="1", north_m=100.0, east_m=600.0, height_m=60.0)],
        "obstacles": [Spot(name="mast", north_m=50.0, east_m=80.0, height_m=42.0, radius_m=10.0)],
        "places": [Spot(name="meadow", north_m=10.0, east_m=400.0)],
        "zones": [Zone(name="stay within", kind="boundary", corners=[(-900, -900), (900, -900), (900, 900)])],
    }  # fmt: skip
    return Surroundings(**values | other)


def aircraft(system: int = 42, **other: Any) -> AircraftPicture:
    limit = Limit(value=20.0, words="reserve", level=Level.CAUTION)
    values: dict[str, Any] = {
        "name": f"heavy {system}", "phase": "airborne", "mode": "mission", "armed": True, "heard_s": 0.4,
        "answer": answer(), "alerts": [shown_alert(aircraft=system)], "blind": ["wind: no heading"],
        "place": Place(
            north_m=165.6, east_m=618.2, height_m=60.0, speed_m_s=7.5, course_deg=80.0, climb_m_s=0.0, age_s=0.2,
            forecast=False, doubt_m=None, falls=Spot(name="falls", north_m=170.0, east_m=650.0),
        ),
        "track": [(0.0, 0.0), (165.6, 618.2)], "reach_m": [1500.0 + 10 * n for n in range(36)],
        "wind_speed_m_s": 6.25, "wind_from_deg": 250.0, "surroundings": around(),
        "histories": [
            History(
                reading="return.reserve", words="Charge at landing", unit="%", points=[(1.0, 42.0), (2.0, 41.0)],
                low=[], limits=[limit],
            )
        ],
        "readings": {"return.reserve": 41.0}, "waits": [], "checklist": [Check(words="rotor latches", done=True)],
        "roles": [Check(words="observer", done=False)],
    }  # fmt: skip
    return AircraftPicture(system=system, **values | other)


def station(*systems: int, name: str = "field-1", **other: Any) -> StationPicture:
    values: dict[str, Any] = {
        "exercise": True, "state": "watching", "since": AT, "time": AT, "elapsed_s": 100.0,
        "alerts": [shown_alert("watch-voice", None, level=Level.CAUTION)],
        "aircraft": [aircraft(system) for system in systems or (42,)],
        "said": [Said(time=AT, aircraft=42, level=Level.WARNING, words="Warning. Link lost.")],
        "hearing": {"observer": True, "post": None},
    }  # fmt: skip
    return StationPicture(station=name, **values | other)
