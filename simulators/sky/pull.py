"""A slow pull-off of position: false signals that lead a receiver away while all looks well to it."""

from __future__ import annotations

import math
from typing import Final

Vector = tuple[float, float, float]

EASE_S: Final = 8.0
"""The rate of pull eases in with this time constant: a jump of position or speed would give the pull away."""
_NOTHING: Final[Vector] = (0.0, 0.0, 0.0)


class PullOff:
    """The offset between the position given and the true one: (north, east, up) in m, from 0 at `start`.

    The rate follows the rate asked for as dr/dt = (asked - r) / EASE_S, so that with t from the last change
    offset = offset0 + asked t + (rate0 - asked) EASE_S (1 - exp(-t / EASE_S)).
    """

    __slots__ = ("_asked", "_offset", "_rate", "_since_s")

    def __init__(self) -> None:
        self._asked = self._offset = self._rate = _NOTHING
        self._since_s = 0.0

    def start(self, now_s: float, asked_m_s: Vector) -> None:
        """Lead on at another rate, smoothly from the present one. Raises ValueError for what is no rate."""
        if not all(map(math.isfinite, asked_m_s)):
            raise ValueError(f"pull {asked_m_s}: not finite numbers")
        self._offset, self._rate = self.at(now_s)
        self._asked, self._since_s = asked_m_s, now_s

    def at(self, now_s: float) -> tuple[Vector, Vector]:
        """Return the offset in m and its rate in m/s, each (north, east, up)."""
        elapsed_s = max(0.0, now_s - self._since_s)
        left = math.exp(-elapsed_s / EASE_S)
        lag_s = EASE_S * (1.0 - left)
        (n, e, u), (n0, e0, u0), (n1, e1, u1) = self._offset, self._rate, self._asked
        return (
            (
                n + n1 * elapsed_s + (n0 - n1) * lag_s,
                e + e1 * elapsed_s + (e0 - e1) * lag_s,
                u + u1 * elapsed_s + (u0 - u1) * lag_s,
            ),
            (n1 + (n0 - n1) * left, e1 + (e0 - e1) * left, u1 + (u0 - u1) * left),
        )
