"""How strongly an aircraft's antenna hears each satellite: carrier to noise density, dB-Hz.

It is the power promised on the ground (see orbits.py), plus what satellites give beyond it, plus the gain of a
patch antenna that leans with the aircraft, less the noise density: -204 dBW/Hz at 290 K and 3 dB of the receiver.
Multipath makes it wander, most near the horizon. The antenna's figures are common values, from memory.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from typing import Final

from simulators.sky.geometry import elevation_azimuth

UNHEARD: Final = -math.inf
MULTIPATH_MEMORY_S: Final = 10.0
CAPTURE_DB: Final = 3.0
"""False signals that lead a receiver away must be a little stronger than the true ones."""

_NOISE_DBW_HZ: Final = -201.0
_BEYOND_DB: Final = 2.0
_RIM_DB: Final = -4.0
_RISE_DB: Final = 8.0
_BELOW_DB: Final = 12.0
"""Gain in the antenna's own plane, from there to its axis, and what it loses more steeply under that plane."""


class Signals:
    """The strength of every satellite, with a multipath of its own, the same for the same dice."""

    __slots__ = ("_dice", "_level_db_hz", "_mask_up", "_multipath", "_multipath_db")

    def __init__(
        self, received_dbw: Sequence[float], mask_deg: float, multipath_db: float, dice: random.Random
    ) -> None:
        """Take the promised power of each satellite, the least elevation, and the deviation at the horizon."""
        self._level_db_hz = [power + _BEYOND_DB + _RIM_DB - _NOISE_DBW_HZ for power in received_dbw]
        self._mask_up = math.sin(math.radians(mask_deg))
        self._multipath_db = multipath_db
        self._multipath = [dice.gauss(0.0, 1.0) for _ in received_dbw]
        self._dice = dice

    def hear(
        self,
        above: Sequence[tuple[int, float, float, float]],
        elapsed_s: float,
        skyline: Callable[[float], float] | None,
        tilt_north: float,
        tilt_east: float,
    ) -> list[float]:
        """Return every satellite's strength without jamming; `UNHEARD` under horizon, mask or skyline.

        `above` is (index, north, east, up) of those over the horizon; only they draw noise, whatever hides them,
        so that what hides a satellite changes nothing for the others.
        """
        kept = math.exp(-elapsed_s / MULTIPATH_MEMORY_S)
        fresh = math.sqrt(1.0 - kept * kept)
        axis_up = math.sqrt(max(0.0, 1.0 - tilt_north * tilt_north - tilt_east * tilt_east))
        gauss, multipath, level, mask_up = self._dice.gauss, self._multipath, self._level_db_hz, self._mask_up
        found = [UNHEARD] * len(level)
        for index, north, east, up in above:
            wander = multipath[index] = kept * multipath[index] + fresh * gauss(0.0, 1.0)
            if up < mask_up:
                continue
            if skyline is not None:
                elevation, azimuth = elevation_azimuth((north, east, up))
                if elevation <= skyline(azimuth):
                    continue
            along = tilt_north * north + tilt_east * east + axis_up * up
            strength = level[index] + _RISE_DB * along
            if along < 0.0:
                strength += _BELOW_DB * along
            low = 1.0 - up
            found[index] = strength + self._multipath_db * (0.25 + 0.75 * low * low) * wander
        return found
