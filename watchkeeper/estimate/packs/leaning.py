"""The error that only one pack of a bus has, and what is told of its charge once others have taken some of it.

States are those of the charge filter: charge, ln resistance, the curve's error, ln of what an Ah draws.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from watchkeeper.estimate.matrix import Matrix, cholesky


class Own(NamedTuple):
    """One deviation of what only one pack has: so much less charge, so much more ln of what an Ah draws."""

    charge: float
    draw: float


class Lean(NamedTuple):
    """So many deviations of its own error the charge is lower; `left` of that variance remains."""

    own: Own
    lower: float
    left: float

    def of(self, x: list[float], p: Matrix) -> tuple[list[float], Matrix]:
        """Return a state and its covariance with that."""
        error = -self.own.charge, 0.0, 0.0, self.own.draw
        gone = [math.sqrt(max(0.0, 1.0 - self.left)) * one for one in error]
        return (
            [value + self.lower * one for value, one in zip(x, error, strict=True)],
            [[v - a * b for v, b in zip(row, gone, strict=True)] for row, a in zip(p, gone, strict=True)],
        )


def own_error(p: Matrix, drawn: float, scale: float, loose: float) -> Own:
    """Return a pack's own error, as far as its covariance has room for it.

    `scale` is one deviation of its current sensor's, by which all that was `drawn` (of full charge) is off, and
    what an Ah draws with it; `loose` is one of the charge that it began with.
    """
    far = math.hypot(scale * drawn, loose)
    if far == 0.0:
        return Own(0.0, 0.0)
    error = -far, 0.0, 0.0, scale * scale * drawn / far
    low = cholesky(p)
    square, solved = 0.0, [0.0] * 4
    for i in range(4):
        rest = error[i] - sum(low[i][k] * solved[k] for k in range(i))
        if low[i][i] > 0.0:
            solved[i] = rest / low[i][i]
        elif abs(rest) > 1e-9:
            return Own(0.0, 0.0)  # what is known for certain is not off
        square += solved[i] ** 2
    room = 1.0 / math.sqrt(max(1.0, square))
    return Own(far * room, error[3] * room)
