"""By how much each monitor on a bus shows the voltage of a cell over the middle of all.

Samples come at different times and the voltage goes with the load, so smoothed ones are compared, once they have
settled, and their differences averaged: half a minute of that tells some mV. It is the monitors' own, and stays
what it was over silences and landings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import Final, NamedTuple

_SMOOTH_S: Final = 20.0
"""As long as currents are smoothed for: several gusts."""
SETTLES_S: Final = 3.0 * _SMOOTH_S
"""A first sample, perhaps one without a load, is then a twentieth of what is smoothed."""
LONGEST_S: Final = 600.0
"""It remembers for so long: a monitor's error goes with its warmth."""
SURE_S: Final = 30.0
"""Measured for so long it is sure."""
HOLE_S: Final = 15.0
"""As old as a voltage may be: one that is older is compared with nothing."""


class Over(NamedTuple):
    """By how much a monitor shows a cell over the middle, V, and how sure that is (0: not measured, to 1)."""

    over_v: float
    sure: float


class BusVolts:
    """Follows what the monitors show, by pack."""

    def __init__(self) -> None:
        self._usual_v: dict[int, float] = {}
        self._told_us: dict[int, int] = {}
        self._over_v: dict[int, float] = {}
        self._measured_s = 0.0
        self._settling_us = self._grounded_us = 0
        self._now_us = 0

    def forget(self) -> None:
        """Take it that packs, and perhaps their monitors, are others."""
        self._usual_v.clear()
        self._over_v.clear()

    def pause(self, now_us: int) -> None:
        """Take it that up to now nothing showed that they are on one bus, or under one load."""
        self._usual_v.clear()
        self._grounded_us = now_us

    def hear(self, pack: int, cell_v: float, time_us: int) -> None:
        """Take in what one monitor shows of a cell in flight, V; what is told twice is taken once."""
        step_s = (time_us - self._told_us.get(pack, 0)) / 1e6
        if step_s <= 0.0 or time_us <= self._grounded_us:
            return
        self._told_us[pack] = time_us
        before_v = self._usual_v.get(pack)
        if before_v is None or step_s > HOLE_S:
            self._usual_v[pack] = cell_v
            self._settling_us = time_us
        else:
            self._usual_v[pack] = before_v + (cell_v - before_v) * (1.0 - math.exp(-step_s / _SMOOTH_S))

    def over(self, packs: Sequence[int], now_us: int) -> list[Over]:
        """Return by how much each of these packs' monitors shows a cell over their middle."""
        if len(packs) < 2:
            return [Over(0.0, 0.0) for _ in packs]
        if set(packs) != set(self._over_v):
            self._over_v = dict.fromkeys(packs, 0.0)
            self._measured_s = 0.0
        step_s = min(HOLE_S, max(0.0, (now_us - self._now_us) / 1e6))
        self._now_us = now_us
        known = all(pack in self._usual_v and now_us - self._told_us[pack] <= HOLE_S * 1e6 for pack in packs)
        if known and (now_us - self._settling_us) / 1e6 > SETTLES_S:
            volts = [self._usual_v[pack] for pack in packs]
            middle = median(volts)
            self._measured_s = min(LONGEST_S, self._measured_s + step_s)
            part = min(1.0, step_s / max(1.0, self._measured_s))
            for pack, volt in zip(packs, volts, strict=True):
                self._over_v[pack] += part * (volt - middle - self._over_v[pack])
        sure = min(1.0, self._measured_s / SURE_S)
        return [Over(self._over_v[pack], sure) for pack in packs]
