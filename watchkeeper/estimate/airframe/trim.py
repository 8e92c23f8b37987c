"""What trim makes of the shares of the motors: learned in flight, by how it leans.

Each share is a constant and a part that goes with the lean ahead and to the right (wind, speed, and the yaw
that they ask for): three numbers a motor, found by recursive least squares (a Kalman filter whose states hardly
move; Gelb, Applied Optimal Estimation, ch. 4, from memory). All motors are seen under the same leans, so they
share one covariance. It begins with what real quadrotors show: 10 % of difference in a hover, and 14 % more at
8 degrees of lean than level; leans that were not flown yet are therefore uncertain, and nothing is called
there. What is far off and certain is a fault, and is not learned.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.readings import US
from watchkeeper.estimate.airframe.standout import deviations, standout

HOVER_DEVIATION: Final = 0.10
LEAN_DEVIATION: Final = 1.0
"""Of a share, by the tangent of the lean: 14 % at 8 degrees."""
NOISE: Final = 0.06
"""Deviation of one look at a share in gusts, on real quadrotors."""
WALK: Final = 0.0005
"""How far the constant may wander in a second."""
SMOOTH_US: Final = 4 * US
SURE: Final = 3.0
"""Deviations."""
FAR: Final = 0.05
"""What stands out by more, and for certain, is not learned; real quadrotors in wind left 4 % at most."""
_GAP_US: Final = 5 * US
_SETTLE_US: Final = 2 * SMOOTH_US
"""After a stretch without looks, until the means are of what is flown now."""


class TrimFilter:
    """The shares of some motors against what trim explains. `scale` is 1 for speeds, 3 for currents (cube)."""

    __slots__ = (
        "_covariance",
        "_last_us",
        "_lean",
        "_noise",
        "_off",
        "_shares",
        "_since_us",
        "_states",
        "_walk",
        "scale",
    )

    def __init__(self, motors: int, scale: float = 1.0) -> None:
        self.scale = scale
        self._states = [[0.0, 0.0, 0.0] for _ in range(motors)]
        first, lean = (scale * HOVER_DEVIATION) ** 2, (scale * LEAN_DEVIATION) ** 2
        self._covariance = [[first, 0.0, 0.0], [0.0, lean, 0.0], [0.0, 0.0, lean]]
        self._noise = (scale * NOISE) ** 2
        self._walk = (scale * WALK) ** 2
        self._shares: list[float] | None = None
        self._lean = (0.0, 0.0)
        self._last_us = self._since_us = 0
        self._off = False
        """One stands out for certain, and has not come back since: nothing is learned meanwhile."""

    @property
    def motors(self) -> int:
        """How many motors it is for."""
        return len(self._states)

    def look(self, shares: Sequence[float], lean: tuple[float, float], now_us: int) -> tuple[float, int] | None:
        """Take shares (less one) and the lean (tangents ahead and right) in.

        Return by how much one motor stands out for certain (a part of the mean, 0 or more), and which; None while
        the means settle.
        """
        step_us = now_us - self._last_us
        if self._shares is None or step_us > _GAP_US:
            self._shares, self._lean, self._since_us = list(shares), lean, now_us
        else:
            fresh = 1 - math.exp(-step_us / SMOOTH_US)
            self._shares = [old + fresh * (new - old) for old, new in zip(self._shares, shares, strict=True)]
            ahead, right = self._lean
            self._lean = ahead + fresh * (lean[0] - ahead), right + fresh * (lean[1] - right)
            if not self._off:
                self._covariance[0][0] += self._walk * step_us / US
        self._last_us = now_us
        out, which, doubt = self._out()
        settled = now_us - self._since_us >= _SETTLE_US
        far = out >= self.scale * FAR
        sure = out >= SURE * doubt
        self._off = settled and far and sure if not self._off else out >= self.scale * FAR / 2
        if not self._off and not (far and sure):
            self._learn(shares, lean)
        if not settled or (self._off and far and not sure):
            return None  # a lean that was not flown before: neither the one nor the other is certain
        return max(0.0, out - 2 * doubt), which

    def _out(self) -> tuple[float, int, float]:
        """Return how far one stands out, which, and the deviation of that."""
        assert self._shares is not None
        ahead, right = self._lean
        excess = [
            share - state[0] - state[1] * ahead - state[2] * right
            for share, state in zip(self._shares, self._states, strict=True)
        ]
        out, which = standout(excess)
        return out, which, deviations(len(excess)) * math.sqrt(self._variance((1.0, ahead, right)))

    def _variance(self, by: tuple[float, float, float]) -> float:
        rows = self._covariance
        return max(0.0, sum(by[i] * sum(rows[i][j] * by[j] for j in range(3)) for i in range(3)))

    def _learn(self, shares: Sequence[float], lean: tuple[float, float]) -> None:
        by = (1.0, *lean)
        rows = self._covariance
        along = [sum(row[j] * by[j] for j in range(3)) for row in rows]
        of = sum(by[i] * along[i] for i in range(3)) + self._noise
        gain = [part / of for part in along]
        for share, state in zip(shares, self._states, strict=True):
            missed = share - sum(state[i] * by[i] for i in range(3))
            for i in range(3):
                state[i] += gain[i] * missed
        self._covariance = [[rows[i][j] - gain[i] * along[j] for j in range(3)] for i in range(3)]
