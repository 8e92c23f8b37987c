"""What the aircraft tells of the ground below it, and of the fence that it guards itself."""

from __future__ import annotations

from watchkeeper.aircraft.readings import Stream


class Below:
    """The series of messages on ground and fence of one power-up."""

    __slots__ = ("clearance", "fence", "rangefinder", "terrain")

    def __init__(self) -> None:
        self.fence = Stream()
        self.clearance = Stream()
        self.terrain = Stream()
        self.rangefinder = Stream()
