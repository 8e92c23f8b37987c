"""Everybody who is heard and is no aircraft of the crew's. One for a whole fleet."""

from __future__ import annotations

from watchkeeper.aircraft.crew_place import CrewPlace
from watchkeeper.aircraft.stations import Stations
from watchkeeper.aircraft.traffic import Traffic


class Others:
    """Who else is heard, over all sources."""

    __slots__ = ("crew", "stations", "traffic")

    def __init__(self) -> None:
        self.crew = CrewPlace()
        self.stations = Stations()
        self.traffic = Traffic()
