"""What a page shows of an aircraft and its watch as far as alerts and readings do not say it.

The slow part, `…/surroundings`, is retained; the fast one, `…/outlook`, comes once a second with the readings.
With them a board at the command post shows what the watch's own page shows, from the broker alone.
"""

from __future__ import annotations

import json
from typing import Any, Final

from watchkeeper.edges.messages.head import Message, Utc, clean
from watchkeeper.edges.records.jsonlines import rounded
from watchkeeper.picture.models import (
    AircraftPicture,
    Answer,
    Check,
    Limit,
    Place,
    Shown,
    ShownAlert,
    StationPicture,
    Surroundings,
)

OUTLOOK_VALID_S = 3
MAX_AROUND_BYTES: Final = 40_000
"""Of places, areas, obstacles and the plan together: a payload is to fit into 64 KiB (connection.py)."""
_WHAT_FIRST: Final = ("places", "zones", "obstacles", "points")
"""What is to be shown rather, where not all of it fits."""


class Drawn(Shown):
    """A reading of which the last minutes are drawn, and the lines across it."""

    reading: str
    words: str
    unit: str
    limits: list[Limit]


class Listed(Shown):
    """What an alert's state does not say."""

    rule: str
    since: Utc
    """When it was raised."""
    stale: bool
    over: bool


class AircraftSurroundings(Message):
    """`…/surroundings`, retained: what lies around an aircraft's home, and how far it can go from there.

    Empty when the aircraft is gone, or the watch has been stopped.
    """

    aircraft: int
    name: str
    surroundings: Surroundings
    left_out: int
    """How many places, areas, obstacles and points there are besides: too many for one message."""
    reach_m: list[float]
    """How far from home it can be and get back, by bearing evenly from north; empty while unknown."""
    drawn: list[Drawn]


class AircraftOutlook(Message):
    """`…/outlook`, once a second: what follows from the readings of an aircraft."""

    aircraft: int
    phase: str | None
    mode: str | None
    armed: bool | None
    heard_s: float | None
    """Since its last heartbeat, s."""
    answer: Answer
    alerts: list[Listed]
    """Those that are listed, most urgent first."""
    blind: list[str]
    place: Place | None
    wind_speed_m_s: float | None
    wind_from_deg: float | None
    waits: list[str]
    checklist: list[Check]
    roles: list[Check]


class WatchOutlook(Message):
    """`…/watch/outlook`, once a second: what the watch says of itself."""

    aircraft: None
    time: Utc
    """By the watch's own clock: in a drill, the scenario's."""
    elapsed_s: float
    alerts: list[Listed]
    hearing: dict[str, bool | None]


def surroundings_of(shown: AircraftPicture, head: dict[str, Any]) -> AircraftSurroundings:
    """Return the slow part of an aircraft's picture."""
    around, left_out = bounded(shown.surroundings)
    drawn = [history.model_dump(include={"reading", "words", "unit", "limits"}) for history in shown.histories]
    return AircraftSurroundings(
        **head,
        aircraft=shown.system,
        name=clean(shown.name),
        surroundings=Surroundings.model_validate(around),
        left_out=left_out,
        reach_m=[round(reach, 1) for reach in shown.reach_m],
        drawn=_tidy(drawn),
    )


def outlook_of(shown: AircraftPicture, head: dict[str, Any]) -> AircraftOutlook:
    """Return the fast part of an aircraft's picture."""
    fields = set(AircraftOutlook.model_fields) - set(Message.model_fields) - {"aircraft", "alerts"}
    return AircraftOutlook(
        **head, aircraft=shown.system, alerts=_listed(shown.alerts), **_tidy(shown.model_dump(include=fields))
    )


def watch_outlook_of(shown: StationPicture, head: dict[str, Any]) -> WatchOutlook:
    """Return what a watch says of itself."""
    return WatchOutlook(
        **head,
        aircraft=None,
        time=shown.time,
        elapsed_s=round(shown.elapsed_s, 3),
        alerts=_listed(shown.alerts),
        hearing=shown.hearing,
    )


def bounded(around: Surroundings) -> tuple[dict[str, Any], int]:
    """Return surroundings that fit into a message, as plain values, and how much of them was left out."""
    whole: dict[str, Any] = _tidy(around.model_dump())
    room, left_out = MAX_AROUND_BYTES, 0
    for what in _WHAT_FIRST:
        kept = []
        for one in whole[what]:
            size = len(json.dumps(one))
            if size <= room:
                room -= size
                kept.append(one)
            else:
                left_out += 1
        whole[what] = kept
    return whole, left_out


def _listed(alerts: list[ShownAlert]) -> list[Listed]:
    return [Listed(rule=clean(one.rule), since=one.since, stale=one.stale, over=one.over) for one in alerts]


def _tidy(value: Any) -> Any:
    """Return plain values rounded, and texts that UTF-8 can hold."""
    if isinstance(value, dict):
        return {key: _tidy(inside) for key, inside in value.items()}
    if isinstance(value, list | tuple):
        return [_tidy(inside) for inside in value]
    return clean(str(value)) if type(value) is str else rounded(value)
