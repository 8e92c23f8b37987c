"""Pictures made by hand, and a terminal emulator that shows what a terminal would."""

from __future__ import annotations

from typing import Any

import pyte

from watchkeeper.alerts.events import Level, State
from watchkeeper.picture.models import AircraftPicture, Answer, ShownAlert, StationPicture, Surroundings

AT = "2026-05-04T09:30:00.000000Z"
NOTHING = Surroundings(home=None, points=[], obstacles=[], places=[], zones=[])


def alert(callout: str, level: Level = Level.WARNING, **more: Any) -> ShownAlert:
    values: dict[str, Any] = {
        "aircraft": 42, "rule": "some-rule", "state": State.UNACKNOWLEDGED, "since": AT, "reason": "x",
        "evidence": {}, "stale": False, "over": False, "acknowledged_by": [],
    }  # fmt: skip
    return ShownAlert(callout=callout, level=level, **{**values, **more})


def answer(**more: Any) -> Answer:
    values: dict[str, Any] = {
        "standing": "yes", "words": "Can get home.", "reserve_pct": 34.4, "reserve_low_pct": 22.9,
        "floor_pct": 20.0,
        "turn_back_in_s": 254.0, "turn_back_before": "charge", "time_home_s": 60.0, "distance_m": 412.0,
        "bearing_deg": 240.0, "nearest": None,
    }  # fmt: skip
    return Answer(**{**values, **more})


def aircraft(system: int = 42, **more: Any) -> AircraftPicture:
    values: dict[str, Any] = {
        "name": f"aircraft {system}", "phase": "airborne", "mode": "AUTO", "armed": True, "heard_s": 0.4,
        "answer": answer(), "alerts": [], "blind": [], "place": None, "track": [], "reach_m": [],
        "wind_speed_m_s": None, "wind_from_deg": None, "surroundings": NOTHING, "histories": [], "readings": {},
        "waits": [], "checklist": [], "roles": [],
    }  # fmt: skip
    return AircraftPicture(system=system, **{**values, **more})


def station(*listed: AircraftPicture, **more: Any) -> StationPicture:
    values: dict[str, Any] = {
        "station": "field", "exercise": False, "state": "watching", "since": AT,
        "time": "2026-05-04T10:32:07.000000Z", "elapsed_s": 100.0, "alerts": [], "said": [], "hearing": {},
    }  # fmt: skip
    return StationPicture(aircraft=list(listed), **{**values, **more})


class Shown:
    """A terminal (the emulator pyte), fed with what a program writes."""

    def __init__(self, width: int, height: int) -> None:
        self.screen = pyte.HistoryScreen(width, height, history=10_000, ratio=0.5)
        self._stream = pyte.ByteStream(self.screen)

    def feed(self, data: bytes) -> None:
        self._stream.feed(data)

    @property
    def rows(self) -> list[str]:
        """Return the rows of the screen, without blanks at their ends."""
        return [row.rstrip() for row in self.screen.display]

    def __str__(self) -> str:
        return "\n".join(self.rows)
