"""Where home is, who says so, and whether it moved."""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.geodesy import Around

_RANK: Final = {None: 0, "sortie": 1, "arming": 2, "aircraft": 3}


class Home:
    """The home position of one power-up. A better source replaces a worse one, never the other way round."""

    __slots__ = (
        "around", "carried", "height_m", "moved_m", "position", "reference", "source", "stood", "stood_before"
    )  # fmt: skip

    def __init__(self, before: Home | None = None) -> None:
        """`before` is that of the power-up before."""
        self.position: tuple[float, float] | None = None
        """Latitude and longitude in degrees."""
        self.source: str | None = None
        self.around: Around | None = None
        self.moved_m = 0.0
        """How far its source has moved it since it was first known, m in all."""
        self.height_m: float | None = None
        """Height of home above sea level, m."""
        self.stood: tuple[float, float] | None = None
        """Where the aircraft was last."""
        self.stood_before: tuple[float, float] | None = before.stood if before is not None else None
        """The same at the end of the power-up before."""
        self.reference: Around | None = before.reference if before is not None else None
        """Where home was when the flight began; `carried` while that is of the power-up before."""
        self.carried = self.reference is not None

    @property
    def told(self) -> bool:
        """Whether home comes of the aircraft: of what it says, or of an arming that was seen."""
        return _RANK[self.source] > 1

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
