"""The plan in the aircraft against today's: starting one spins the motors (common practice: clear or close it)."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.aircraft.geodesy import distance_bearing
from watchkeeper.aircraft.plan import Plan
from watchkeeper.aircraft.readings import Stream

NEAR_M: Final = 100.0
"""A point of the plan this near one of the sortie's is today's: ground stations shift, split and round points."""


class LoadedPlan:
    """`plan.items`, `plan.unwanted`, `plan.meant`."""

    indexes = (INDEX["plan.items"], INDEX["plan.unwanted"], INDEX["plan.meant"])

    def __init__(self, plan: Plan, sortie: SortieFile | None) -> None:
        self._plan = plan
        self._sortie = sortie
        self._seen: int | None = None
        self.stream = Stream()

    def run(self, _now_us: int) -> tuple[float | None, bool | None, bool | None] | None:
        """Return how many items are loaded, whether today's sortie does not name them, and whether it has a plan.

        None if unchanged.
        """
        plan = self._plan
        if plan.changes == self._seen:
            return None
        self._seen = plan.changes
        if plan.total is None:
            return None, None, None
        return float(plan.total), self._unwanted(), None if self._sortie is None else bool(self._sortie.plan)

    def _unwanted(self) -> bool | None:
        """Whether it is another plan than today's; unknown without a sortie file, or before all of it was seen."""
        sortie, plan = self._sortie, self._plan
        if not plan.total:
            return False
        if sortie is None:
            return None
        if not sortie.plan:
            return True
        known = [point.at for point in sortie.plan]
        known += [sortie.home] if sortie.home is not None else []
        known += [place.at for place in sortie.landing_places]
        if any(
            item.place is not None and all(distance_bearing(*item.place, *at)[0] > NEAR_M for at in known)
            for item in plan.items.values()
        ):
            return True
        return False if len(plan.items) >= plan.total else None
