"""Where the crew is: its ground station's own position, if it sends one."""

from __future__ import annotations

from watchkeeper.aircraft.geodesy import is_place


class CrewPlace:
    """The last position that a ground station told of itself."""

    __slots__ = ("position", "time_us")

    def __init__(self) -> None:
        self.position: tuple[float, float] | None = None
        """Latitude and longitude in degrees."""
        self.time_us = 0

    def take(self, latitude_deg: float, longitude_deg: float, now_us: int) -> None:
        """Take a position; what is no place on Earth is not known."""
        if is_place(latitude_deg, longitude_deg):
            self.position = (latitude_deg, longitude_deg)
            self.time_us = now_us
