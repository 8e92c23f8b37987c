"""A flight over a sortie's surroundings, heard by a fleet and all estimates; places by geographiclib."""

from __future__ import annotations

import math
from typing import Any

from geographiclib.geodesic import Geodesic

from tests.aircraft.feeder import Flight
from watchkeeper.aircraft.files import AircraftFile, SortieFile
from watchkeeper.aircraft.fleet import Fleet
from watchkeeper.estimate.suite import EstimateSuite

FIELD = (47.4, 8.5)
Flat = tuple[float, float]


def place(north_m: float, east_m: float, home: tuple[float, float] = FIELD) -> list[float]:
    """Return the place some metres north and east of home (Karney 2013)."""
    bearing_deg = math.degrees(math.atan2(east_m, north_m))
    found = Geodesic.WGS84.Direct(*home, bearing_deg, math.hypot(north_m, east_m))
    return [found["lat2"], found["lon2"]]


def zone(kind: str, *corners: Flat, home: tuple[float, float] = FIELD, name: str = "area") -> dict[str, Any]:
    """Return an area with corners in m north and east of home."""
    return {"name": name, "kind": kind, "points": [place(*corner, home) for corner in corners]}


def box(south: float, west: float, north: float, east: float) -> tuple[Flat, ...]:
    """Return the corners of a rectangle."""
    return (south, west), (north, west), (north, east), (south, east)


class Overland:
    """One aircraft in the air, moved about at will."""

    def __init__(
        self,
        sortie: dict[str, Any] | None = None,
        file: dict[str, Any] | None = None,
        home: tuple[float, float] = FIELD,
    ) -> None:
        self.home = home
        read = None if sortie is None else SortieFile.model_validate({"home": list(home), **sortie})
        files = [] if file is None else [AircraftFile.model_validate(file)]
        self.flight = Flight(Fleet(files, read))
        self.flight.beat(armed=True)
        self.flight.send(
            "HOME_POSITION", latitude=round(home[0] * 1e7), longitude=round(home[1] * 1e7), altitude=0, q=[0] * 4
        )
        self.suite = EstimateSuite(self.flight.aircraft)

    def at(
        self, north_m: float, east_m: float, height_m: float = 50.0, north_m_s: float = 0.0, east_m_s: float = 0.0,
        climb_m_s: float = 0.0, *, after_s: float = 0.5, returning: bool = False,
    ) -> None:  # fmt: skip
        """Be there, moving so, and let the estimates run."""
        flight = self.flight
        flight.wait(after_s)
        flight.beat_once(armed=True, mode=6 if returning else 0)
        flight.send("EXTENDED_SYS_STATE", landed_state=2)
        latitude, longitude = place(north_m, east_m, self.home)
        flight.send(
            "GLOBAL_POSITION_INT", time_boot_ms=flight.boot_ms, lat=round(latitude * 1e7),
            lon=round(((longitude + 180) % 360 - 180) * 1e7), alt=round(height_m * 1000),
            relative_alt=round(height_m * 1000),
            vx=round(north_m_s * 100), vy=round(east_m_s * 100), vz=round(-climb_m_s * 100), hdg=65535,
        )  # fmt: skip
        flight.send("VFR_HUD", groundspeed=math.hypot(north_m_s, east_m_s), alt=height_m, climb=climb_m_s)
        self.suite.run(flight.now_us)
        assert not self.suite.failures, self.suite.failures

    def read(self, name: str) -> Any:
        """Return a reading as a rule sees it."""
        return self.flight.read(name)
