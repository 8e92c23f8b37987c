"""Antennas: what they give by direction, and what the aircraft's own body takes. Gains in dBi, angles in rad."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

DIPOLE_DBI: Final = 2.15
"""Half-wave dipole, broadside (IEEE 145 definitions; 1.643 as a ratio)."""
NULL_DB: Final = 22.0
"""How deep the null along a dipole's axis is in practice: masts, cables and ground fill it (common practice)."""

_LEAST: Final = 10.0 ** (-NULL_DB / 20.0)


def dipole_shape(cosine: float) -> float:
    """Return the field of a half-wave dipole against broadside, by the cosine of the angle to its axis.

    cos(pi/2 cos t) / sin t (Balanis, Antenna Theory; from memory), not less than the filled null leaves.
    """
    square = 1.0 - cosine * cosine
    if square < 1e-4:
        return _LEAST
    return max(_LEAST, math.cos(0.5 * math.pi * cosine) / math.sqrt(square))


@dataclass(frozen=True, slots=True)
class BodyShadow:
    """A sector of the aircraft that its frame and packs hide: a raised cosine around its middle.

    `at_rad` is its middle clockwise of the nose, `half_rad` from there to where nothing is hidden. The antenna
    hangs under the body: below `below_rad` under the horizon of the body it looks past everything.
    """

    depth_db: float = 6.0
    at_rad: float = math.pi
    half_rad: float = math.radians(60.0)
    below_rad: float = math.radians(40.0)

    def loss_db(self, azimuth_rad: float, elevation_rad: float) -> float:
        """Return the loss towards a direction: clockwise of the nose, above the horizon of the body."""
        off = abs(math.remainder(azimuth_rad - self.at_rad, math.tau))
        if off >= self.half_rad or elevation_rad <= -self.below_rad:
            return 0.0
        loss = self.depth_db * (0.5 + 0.5 * math.cos(math.pi * off / self.half_rad))
        if elevation_rad < 0.0:
            loss *= 0.5 + 0.5 * math.cos(math.pi * elevation_rad / self.below_rad)
        return loss


@dataclass(frozen=True, slots=True)
class Panel:
    """A directional antenna at the station, as it was set up: it does not follow.

    In each plane 12 (a / width)^2 dB less than in the middle, in all never more than `back_db` less (the pattern
    of 3GPP TR 36.814; from memory).
    """

    gain_dbi: float = 9.0
    azimuth_rad: float = 0.0
    elevation_rad: float = math.radians(10.0)
    width_rad: float = math.radians(70.0)
    height_rad: float = math.radians(60.0)
    back_db: float = 20.0

    def __post_init__(self) -> None:
        if not (self.width_rad > 0.0 and self.height_rad > 0.0):
            raise ValueError("a panel's widths must be above 0")

    def dbi(self, azimuth_rad: float, elevation_rad: float) -> float:
        """Return the gain towards a direction: clockwise of north, above the horizon."""
        across = math.remainder(azimuth_rad - self.azimuth_rad, math.tau) / self.width_rad
        upward = (elevation_rad - self.elevation_rad) / self.height_rad
        return self.gain_dbi - min(12.0 * (across * across + upward * upward), self.back_db)
