"""How a multirotor shares its thrust among rotors of which some are weak or stopped.

The equilibrium that attitude control settles in: the shares add to one, their moments in roll and pitch vanish,
and the torques in yaw too if that can be had. Of all such shares those of the least sum of squares, none negative.

It can be held only if the rotors that carry can tilt the aircraft any way by a little more or less of each. No
thrust is below zero, so two opposite rotors alone balance but cannot catch a roll about the line between them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

_NOTHING: Final = 1e-6
_LEVEL: Final = 3
"""Thrust, roll and pitch: what must be had at any time, each way."""


class Shares(NamedTuple):
    """Each rotor's share of the thrust, and the torque in yaw that is left, by the sum of all torques."""

    thrust: tuple[float, ...]
    yaw: float


def share(works: Sequence[bool]) -> Shares | None:
    """Return the shares of rotors evenly around a circle that turn in alternating directions.

    `works` tells for each rotor whether it turns. None if no equilibrium can be held: it tumbles.
    """
    count = len(works)
    angles = [math.tau * (i + 0.5) / count for i in range(count)]
    turns = [1.0 if i % 2 else -1.0 for i in range(count)]
    level = [[1.0] * count, [math.cos(a) for a in angles], [math.sin(a) for a in angles]]
    for rows in ([*level, turns], level):
        found = _least(np.array(rows), [i for i in range(count) if works[i]])
        if found is not None and np.linalg.matrix_rank(np.array(level)[:, found > _NOTHING]) == _LEVEL:
            thrust = tuple(float(x) for x in found)
            return Shares(thrust, sum(t * x for t, x in zip(turns, thrust, strict=True)))
    return None


def _least(rows: np.ndarray, active: list[int]) -> np.ndarray | None:
    wanted = np.zeros(len(rows))
    wanted[0] = 1.0
    while active:
        part, *_ = np.linalg.lstsq(rows[:, active], wanted, rcond=None)
        if np.abs(rows[:, active] @ part - wanted).max() > _NOTHING:
            return None
        if part.min() >= -_NOTHING:
            found = np.zeros(rows.shape[1])
            found[active] = np.maximum(part, 0.0)
            return found
        active = [i for i, x in zip(active, part, strict=True) if x > part.min()]
    return None
