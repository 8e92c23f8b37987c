"""What distance and upright antennas do to a signal, so that neither is taken for a fade."""

from __future__ import annotations

import math
from typing import Final

STATION_M: Final = 30.0
"""How well it is known where the station stands, taken to be at home: nearer than that distance says little."""
DEEPEST_DB: Final = 30.0
"""No real antenna has a perfect null, for what stands around it reflects (common practice)."""
_OVERHEAD: Final = 1e-3


def range_m(distance_m: float, height_m: float) -> float:
    """Return how far it is from the station, m, never nearer than where that is known."""
    return math.sqrt(distance_m * distance_m + height_m * height_m + STATION_M * STATION_M)


def spreading_db(range_m: float) -> float:
    """Return the loss of free space over that at 1 m: 20 dB for ten times the distance (ITU-R P.525)."""
    return 20 * math.log10(range_m)


def upright_db(distance_m: float, height_m: float) -> float:
    """Return what two upright half-wave antennas give less than level with each other, dB (0 or below).

    cos(90 deg sin e) / cos e for the elevation e, at either end (half-wave dipole, any handbook on antennas).
    """
    slant_m = math.hypot(distance_m, height_m)
    if slant_m <= 0:
        return 0.0
    cos = distance_m / slant_m
    if cos < _OVERHEAD:
        return -DEEPEST_DB
    field = abs(math.cos(math.pi / 2 * height_m / slant_m)) / cos
    return max(-DEEPEST_DB, 40 * math.log10(field)) if field > 0 else -DEEPEST_DB
