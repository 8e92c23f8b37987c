"""The error that only one pack of a bus has, and what is told of its charge once others have taken some of it.

States are those of the charge filter: charge, ln resistance, the curve's error, ln of what an Ah draws.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.estimate.matrix import Matrix, cholesky
from watchkeeper.estimate.packs.curve import MEASURED_V

Vector = tuple[float, float, float, float]
NONE: Final[Vector] = (0.0, 0.0, 0.0, 0.0)
_MOST: Final = 1.0
"""Of any state, by one deviation of a voltage."""


class MonitorVolts:
    """How far a filter's state is off because its monitor shows one deviation, `MEASURED_V`, too much of a cell.

    Told step by step, as the filter's own step makes it of the state (an EKF is linear in a small error).
    """

    def __init__(self) -> None:
        self._off = list(NONE)

    def begin(self, charge: float) -> None:
        """Begin with so much charge too much."""
        self._off = [charge, 0.0, 0.0, 0.0]

    def forget_curve(self) -> None:
        """Take it that the curve's error begins anew."""
        self._off[2] = 0.0

    def drawn(self, step: float, shrink: float) -> None:
        """Take off a step of charge, and let the curve's error fade."""
        self._off[0] -= step * self._off[3]
        self._off[2] *= shrink

    def corrected(self, row: Sequence[float], gains: Sequence[float], *, by_volts: bool) -> None:
        """Take in a correction: the row of derivatives, and how far each state goes with the innovation."""
        shown = MEASURED_V if by_volts else 0.0
        error = shown - sum(a * b for a, b in zip(row, self._off, strict=True))
        self._off = [one + gain * error for one, gain in zip(self._off, gains, strict=True)]

    def error(self) -> Vector:
        """Return what the state lacks; the curve's error has the monitor's in it."""
        charge, ohm, curve_v, draw = self._off
        return -charge, -ohm, MEASURED_V - curve_v, -draw

    def learned(self) -> list[float]:
        """Return it as plain numbers."""
        return list(self._off)

    @classmethod
    def kept(cls, off: Sequence[float]) -> MonitorVolts:
        """Return what was kept as `off`. ValueError if it cannot be that."""
        if len(off) != len(NONE) or not all(abs(one) <= _MOST for one in off):
            raise ValueError("no error of a voltage that was kept")
        found = cls()
        found._off = list(off)
        return found


class Lean(NamedTuple):
    """What is told beyond a filter's state: how far it is moved, and errors of one deviation now known."""

    moved: Vector = NONE
    known: tuple[Vector, ...] = ()

    def of(self, x: Sequence[float], p: Matrix) -> tuple[list[float], Matrix]:
        """Return a state and its covariance with that."""
        for error in self.known:
            p = without(p, error)
        return [value + more for value, more in zip(x, self.moved, strict=True)], p


def times(factor: float, error: Vector) -> Vector:
    """Return an error that is so many times as large."""
    charge, ohm, curve_v, draw = error
    return factor * charge, factor * ohm, factor * curve_v, factor * draw


def plus(one: Vector, other: Vector) -> Vector:
    """Return two errors together."""
    return one[0] + other[0], one[1] + other[1], one[2] + other[2], one[3] + other[3]


def without(p: Matrix, error: Vector) -> Matrix:
    """Return a covariance without an independent error of one deviation."""
    return [[v - a * b for v, b in zip(row, error, strict=True)] for row, a in zip(p, error, strict=True)]


def together(errors: Sequence[Vector]) -> Vector:
    """Return one error for several independent ones, each of one deviation.

    A voltage on the bus tells of the charge alone, so what goes with the charge is what counts: their common
    covariance with it.
    """
    far = math.hypot(*(one[0] for one in errors))
    if far == 0.0:
        return NONE
    charge, ohm, curve_v, draw = (-sum(one[0] * one[i] for one in errors) / far for i in range(4))
    return charge, ohm, curve_v, draw


def within(p: Matrix, error: Vector) -> Vector:
    """Return an error of one deviation, no larger than a covariance has room for it."""
    low = cholesky(p)
    square, solved = 0.0, [0.0] * 4
    for i in range(4):
        rest = error[i] - sum(low[i][k] * solved[k] for k in range(i))
        if low[i][i] > 0.0:
            solved[i] = rest / low[i][i]
        elif abs(rest) > 1e-9:
            return NONE  # what is known for certain is not off
        square += solved[i] ** 2
    return times(1.0 / math.sqrt(max(1.0, square)), error)
