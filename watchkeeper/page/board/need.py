"""Who is in most need: the order in which a board shows stations and their aircraft."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from watchkeeper.alerts.events import Level
from watchkeeper.picture.models import AircraftPicture, ShownAlert, Standing, StationPicture

_STANDING: Final[dict[Standing, int]] = {"no": 0, "now": 1, "soon": 2, "unknown": 3, "yes": 4, "home": 5}
_LOST: Final = Level.CAUTION.urgency + 0.5
"""A watch that is lost sees nothing: after those that see a danger."""


def most_urgent_first(alerts: Iterable[ShownAlert]) -> list[ShownAlert]:
    """Return alerts as a page lists them: by level, then by age."""
    return sorted(alerts, key=lambda one: (-one.level.urgency, one.since, one.rule))


def of_aircraft(one: AircraftPicture) -> tuple[float, int]:
    """Return how much need an aircraft is in, the smaller the more."""
    return -_worst(one.alerts), _STANDING[one.answer.standing]


def of_station(one: StationPicture) -> tuple[float, int, bool, str]:
    """Return how much need a station is in, the smaller the more; exercises after real ones of equal need."""
    worst = max([_worst(one.alerts), *(_worst(craft.alerts) for craft in one.aircraft)])
    if one.state == "lost":
        worst = max(worst, _LOST)
    standing = min((_STANDING[craft.answer.standing] for craft in one.aircraft), default=len(_STANDING))
    return -worst, standing, one.exercise, one.station


def _worst(alerts: Iterable[ShownAlert]) -> float:
    return max((one.level.urgency for one in alerts if not one.over), default=0)
