"""The estimates of this room, in the order in which they run."""

from __future__ import annotations

from typing import Final

from watchkeeper.estimate.part import Known, Part
from watchkeeper.estimate.readiness.crewdistance import CrewDistance
from watchkeeper.estimate.readiness.holdcountdown import HoldCountdown
from watchkeeper.estimate.readiness.loadedplan import LoadedPlan

NEEDS: Final[frozenset[int]] = frozenset({42})
"""Messages that call for a run: MISSION_CURRENT."""


def parts(known: Known) -> list[Part]:
    """Return the parts, knowing nothing yet."""
    aircraft, home = known.aircraft, known.home
    return [
        LoadedPlan(aircraft.plan, aircraft.sortie),
        CrewDistance(aircraft),
        HoldCountdown(aircraft.readings, lambda: home.progress, known.own.plan),
    ]
