"""Places at a distance and bearing from home, by geographiclib (Karney 2013), and sorties made of them."""

from __future__ import annotations

import math
from typing import Any

from geographiclib.geodesic import Geodesic

from watchkeeper.aircraft.files import SortieFile
from watchkeeper.brief.findings import Remark

HOME = (47.4, 8.5)


def at(distance_m: float, bearing_deg: float, home: tuple[float, float] = HOME) -> list[float]:
    """Return the place at a distance and bearing from home."""
    found = Geodesic.WGS84.Direct(*home, bearing_deg, distance_m)
    return [found["lat2"], found["lon2"]]


def offset(north_m: float, east_m: float, home: tuple[float, float] = HOME) -> list[float]:
    """Return the place some metres north and east of home."""
    return at(math.hypot(north_m, east_m), math.degrees(math.atan2(east_m, north_m)), home)


def sortie(**keys: Any) -> SortieFile:
    """Return a sortie file of these keys, checked as one that was read."""
    return SortieFile.model_validate(keys)


def post(name: str, distance_m: float, bearing_deg: float, height: str, radius: str = "0 m") -> dict[str, Any]:
    return {"name": name, "at": at(distance_m, bearing_deg), "height": height, "radius": radius}


def point(distance_m: float, bearing_deg: float, height: str = "60 m") -> dict[str, Any]:
    return {"at": at(distance_m, bearing_deg), "height": height}


def area(name: str, kind: str, *corners: tuple[float, float], home: tuple[float, float] = HOME) -> dict[str, Any]:
    """Return an area with corners in m north and east of home."""
    return {"name": name, "kind": kind, "points": [offset(*corner, home) for corner in corners]}


def said(remarks: tuple[Remark, ...], weight: str, words: str) -> Remark:
    """Return the only remark of a weight that holds these words."""
    found = [one for one in remarks if one.weight == weight and words in one.what]
    assert len(found) == 1, [(one.weight, one.what) for one in remarks]
    return found[0]
