"""Where home is, who says so, and whether it moved."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.geodesy import Around

_RANK: Final = {None: 0, "sortie": 1, "arming": 2, "aircraft": 3}


class Home:
    """The home position of one power-up. A better source replaces a worse one, never the other way round."""

    __slots__ = ("around", "height_m", "moved_m", "position", "source")

    def __init__(self) -> None:
        self.position: tuple[float, float] | None = None
        """Latitude and longitude in degrees."""
        self.source: str | None = None
        self.around: Around | None = None
        self.moved_m = 0.0
        """How far its source has moved it since it was first known, m in all."""
        self.height_m: float | None = None
        """Height of home above sea level, m."""

    def take(self, latitude_deg: float, longitude_deg: float, source: str) -> bool:
        """Take a position from a source (a word of the catalogue); return whether home is now another."""
        if _RANK[source] < _RANK[self.source]:
            return False
        if self.position == (latitude_deg, longitude_deg) and self.source == source:
            return False
        if self.around is not None and self.source == source:
            self.moved_m += self.around.to(latitude_deg, longitude_deg)[0]
        self.position = (latitude_deg, longitude_deg)
        self.around = Around(latitude_deg, longitude_deg)
        self.source = source
        return True
