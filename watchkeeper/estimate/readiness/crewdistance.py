"""How far home is from the crew: a return goes home, wherever the crew has gone meanwhile."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.geodesy import distance_bearing
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import Aircraft

FRESH_US: Final = 30_000_000
"""A crew in a car at 10 m/s has gone 300 m in that time."""


class CrewDistance:
    """`crew.home_distance`, `crew.moving`."""

    indexes = (INDEX["crew.home_distance"], INDEX["crew.moving"])

    def __init__(self, aircraft: Aircraft) -> None:
        self._aircraft = aircraft
        self._seen: tuple[int, tuple[float, float] | None] | None = None
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None, bool | None] | None:
        """Return the distance in m (None: not known) and whether the crew moves; None when nothing new came."""
        crew, home, sortie = self._aircraft.others.crew, self._aircraft.home, self._aircraft.sortie
        seen = (crew.time_us, home)
        if seen == self._seen:
            return None
        self._seen = seen
        moving = None if sortie is None else sortie.crew.moving
        if crew.position is None or home is None or now_us - crew.time_us > FRESH_US:
            return None, moving
        return distance_bearing(*home, *crew.position)[0], moving
