"""By how much each monitor on a bus shows the voltage of a cell over the middle of all.

Samples come at different times and the voltage goes with the load, so smoothed ones are compared, and their
differences averaged for as long as the same packs are on the bus: after a minute that tells some mV.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import Final

_SMOOTH_S: Final = 20.0
"""As long as currents are smoothed for: several gusts."""
LONGEST_S: Final = 600.0
"""It remembers for so long: a monitor's error goes with its warmth."""
_HOLE_S: Final = 10.0


class BusVolts:
    """Follows what the monitors show, by pack."""

    def __init__(self) -> None:
        self._usual_v: dict[int, float] = {}
        self._told_us: dict[int, int] = {}
        self._over_v: dict[int, float] = {}
        self._since_us = 0
        self._now_us = 0

    def hear(self, pack: int, cell_v: float, time_us: int) -> None:
        """Take in what one monitor shows of a cell, V; what is told twice is taken once."""
        step_s = (time_us - self._told_us.get(pack, 0)) / 1e6
        if step_s <= 0.0:
            return
        self._told_us[pack] = time_us
        before_v = self._usual_v.get(pack)
        if before_v is None or step_s > _HOLE_S:
            self._usual_v[pack] = cell_v
            self._over_v.clear()
        else:
            self._usual_v[pack] = before_v + (cell_v - before_v) * (1.0 - math.exp(-step_s / _SMOOTH_S))

    def over_v(self, packs: Sequence[int], now_us: int) -> list[float]:
        """Return by how much each of these packs' monitors shows a cell over their middle, V."""
        volts = [self._usual_v.get(pack) for pack in packs]
        known = [v for v in volts if v is not None]
        if not packs or len(known) < len(packs) or set(packs) != set(self._over_v):
            self._over_v = dict.fromkeys(packs, 0.0)
            self._since_us = self._now_us = now_us
            return [0.0 for _ in packs]
        middle = median(known)
        step_s, since_s = (now_us - self._now_us) / 1e6, (now_us - self._since_us) / 1e6
        self._now_us = now_us
        part = min(1.0, step_s / max(1.0, min(since_s, LONGEST_S)))
        for pack, volt in zip(packs, known, strict=True):
            self._over_v[pack] += part * (volt - middle - self._over_v[pack])
        return [self._over_v[pack] for pack in packs]
