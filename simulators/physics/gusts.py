"""Gusts: Dryden turbulence by MIL-F-8785C, 3.7.3.4, low altitude (10 to 1000 ft above the ground).

One-sided spectra over w in rad/s, with T = L / V the scale length by airspeed and s the standard deviation:

    along the flow       s^2 (2 T / pi) / (1 + (T w)^2)
    across and vertical  s^2 (T / pi) (1 + 3 (T w)^2) / (1 + (T w)^2)^2

With h in feet: Lw = h, Lu = Lv = h / (0.177 + 0.000823 h)^1.2; sw = 0.1 W20, su = sv = sw / (0.177 +
0.000823 h)^0.4, where W20 is the mean wind at 20 ft. (MIL-HDBK-1797 halves Lv and Lw in another form of filter.)
The standard is held at its ends: below 10 ft the values of 10 ft, above 1000 ft those of 1000 ft. Above 2000 ft it
has another model, which no aircraft here reaches.

The turbulence is taken as frozen and carried past the aircraft (Taylor). In hover it is the mean wind that carries
it, so the airspeed is that of the wind and the axes lie along it; the model was written for aeroplanes, and a
rotorcraft that drifts with the wind is outside it: see AIRSPEED_FLOOR_M_S.
"""

from __future__ import annotations

import math
import random
from typing import Final

W20_HEIGHT_M: Final = 20 * 0.3048
STEP_S: Final = 0.1
AIRSPEED_FLOOR_M_S: Final = 1.0
"""Air that is carried along with an aircraft still changes: eddies turn over. Else gusts would freeze."""
AXIS_TIME_S: Final = 2.0
"""A new course turns the axes over this time, else the same air would jump to another direction in a step."""

_STEPS_PER_S: Final = 10.0
_FEET_PER_M: Final = 1.0 / 0.3048
_AXIS_SHARE: Final = 1.0 - math.exp(-STEP_S / AXIS_TIME_S)
# 50 steps of 0.02 s and 10 of 0.1 s do not add up to the same float; both must find the same grid point.
_ROUNDING: Final = 1e-6
_FIRST_SHARE: Final = -_ROUNDING
_LAST_SHARE: Final = 1.0 - _ROUNDING
_BACK: Final = -0.3
_SQRT3: Final = math.sqrt(3.0)

_Vector = tuple[float, float, float]
_STILL: Final[_Vector] = (0.0, 0.0, 0.0)


def scales(height_m: float) -> tuple[float, float, float]:
    """Return horizontal length Lu = Lv and vertical length Lw in m, and the ratio su / sw, at a height."""
    feet = min(max(height_m * _FEET_PER_M, 10.0), 1000.0)
    base = 0.177 + 0.000823 * feet
    root = base**0.4
    height_m = feet / _FEET_PER_M
    return height_m / (root * root * root), height_m, 1.0 / root


def transition(theta: float) -> tuple[float, float, float, float]:
    """Return decay, and the factors n11, n21, n22 of the noise, over a step of theta = step * V / L.

    Exact for the chain q' = -(V/L) q + white noise, p' = (V/L) (q - p), scaled to variances q 1/2, p 1/4 and
    covariance 1/4: q takes decay * q + n11 a, p takes decay * (p + theta * q) + n21 a + n22 b, where a and b are
    independent normal numbers. The noise is what keeps these variances (S - F S F^T, then Cholesky); they do
    not depend on theta, so they hold through every change of airspeed and height. Then sqrt(2) q has the spectrum
    along the flow and sqrt(3) q + (1 - sqrt(3)) p the one across it, both with variance 1.
    """
    decay = math.exp(-theta)
    square = decay * decay
    n11 = math.sqrt(0.5 - 0.5 * square)
    n21 = (0.25 - square * (0.25 + 0.5 * theta)) / n11
    rest = 0.25 - square * (0.25 + 0.5 * theta * (1.0 + theta)) - n21 * n21
    return decay, n11, n21, math.sqrt(max(rest, 0.0))


class Gusts:
    """Gusts met by one aircraft, the same for the same seed.

    They live on a grid of 0.1 s of their own, with straight lines between, so that a run at 50 Hz meets those of a
    run at 10 Hz. What the caller says of height, airspeed and course counts where it passes a grid point. On
    the grid the deviation is exact; halfway between it is less, by 1 % where L / V is 4 s, by 4 % where it is 1 s.
    """

    __slots__ = (
        "_axis", "_chain", "_change", "_fresh", "_from", "_gauss", "_point", "_quiet", "_slope", "_to", "_w20_m_s",
    )  # fmt: skip

    def __init__(self, seed: str | int, w20_m_s: float) -> None:
        """Start gusts of the intensity that a mean wind of `w20_m_s` at 20 ft brings. ValueError if below zero."""
        self._gauss = gauss = random.Random(seed).gauss
        # The chains of `transition`, drawn from their own distribution: along q; across q, p; vertical q, p.
        q1, q2, p2, q3, p3 = (gauss(0.0, math.sqrt(0.5)) for _ in range(5))
        self._chain = (q1, q2, 0.5 * (q2 + p2), q3, 0.5 * (q3 + p3))
        self._axis = (1.0, 0.0)
        self._from = self._to = self._slope = _STILL
        self._point = math.nan  # the grid point behind; not a number while there is none
        self._fresh = w20_m_s > 0.0  # gusts that were always there do not grow in
        self._quiet = True
        self._change: tuple[float, float, float, float] | None = None  # from when and what, to when and what
        self.w20_m_s = w20_m_s

    @property
    def w20_m_s(self) -> float:
        """Mean wind at 20 ft. A new value grows in over one grid step."""
        return self._w20_m_s

    @w20_m_s.setter
    def w20_m_s(self, value: float) -> None:
        if not 0.0 <= value < math.inf:
            raise ValueError(f"wind at 20 ft {value} m/s is not a speed")
        self._change = None
        self._w20_m_s = value
        if value > 0.0 and self._quiet:
            self._quiet = False
            self._point = math.nan

    def reach(self, w20_m_s: float, from_s: float, by_s: float) -> None:
        """Let the mean wind at 20 ft change in a straight line from a time to another; at once if that is none.

        ValueError if it is not a speed.
        """
        before = self._w20_m_s
        if by_s <= from_s or not before:
            self.w20_m_s = w20_m_s
            return
        if not 0.0 <= w20_m_s < math.inf:
            raise ValueError(f"wind at 20 ft {w20_m_s} m/s is not a speed")
        self._change = (from_s, before, by_s, w20_m_s)

    def at(
        self, time_s: float, height_m: float, airspeed_m_s: float, along_north: float, along_east: float
    ) -> _Vector:
        """Return (north, east, up) in m/s of the gust, to be added to the mean wind.

        `airspeed_m_s` is the speed of the mean air over the aircraft, `along` a unit vector along that flow,
        without gusts (which way does not matter; zeros where there is none). Time never goes back: ValueError.
        """
        if self._quiet:
            return _STILL
        position = time_s * _STEPS_PER_S
        share = position - self._point
        if not _FIRST_SHARE <= share < _LAST_SHARE:
            self._advance(position, height_m, airspeed_m_s, along_north, along_east)
            share = position - self._point
        north, east, up = self._from
        north_slope, east_slope, up_slope = self._slope
        return north + north_slope * share, east + east_slope * share, up + up_slope * share

    def _advance(self, position: float, height_m: float, airspeed_m_s: float, north: float, east: float) -> None:
        """Go on to the grid interval of a position."""
        target = math.floor(position + _ROUNDING)
        if math.isnan(self._point):
            size = math.hypot(north, east)
            if size > 0.0:
                self._axis = (north / size, east / size)
            if self._fresh:
                self._fresh = False
                self._to = self._gust(height_m)
            self._point = target - 1.0
        if target < self._point:
            raise ValueError("gusts cannot go back in time")
        while self._point < target:
            self._point += 1.0
            self._from = self._to
            if self._change is not None:
                self._grow(self._point * STEP_S)
            self._step(height_m, airspeed_m_s, north, east)
        (n0, e0, u0), (n1, e1, u1) = self._from, self._to
        self._slope = (n1 - n0, e1 - e0, u1 - u0)
        if self._w20_m_s == 0.0 and self._from == _STILL:
            self._quiet = True

    def _grow(self, time_s: float) -> None:
        """Take the wind at 20 ft of a time from the change that is under way."""
        assert self._change is not None
        from_s, before, by_s, last = self._change
        share = (time_s - from_s) / (by_s - from_s)
        if share < 1.0:
            self._w20_m_s = before + max(0.0, share) * (last - before)
        else:
            self._change, self._w20_m_s = None, last

    def _step(self, height_m: float, airspeed_m_s: float, north: float, east: float) -> None:
        """Find the next grid point."""
        gauss = self._gauss
        horizontal_m, vertical_m, _ = scales(height_m)
        travel_m = STEP_S * max(airspeed_m_s, AIRSPEED_FLOOR_M_S)
        theta = travel_m / horizontal_m
        decay, n11, n21, n22 = transition(theta)
        theta3 = travel_m / vertical_m
        decay3, m11, m21, m22 = transition(theta3)
        q1, q2, p2, q3, p3 = self._chain
        a, b, c = gauss(0.0, 1.0), gauss(0.0, 1.0), gauss(0.0, 1.0)
        self._chain = (
            decay * q1 + n11 * a,
            decay * q2 + n11 * b,
            decay * (p2 + theta * q2) + n21 * b + n22 * gauss(0.0, 1.0),
            decay3 * q3 + m11 * c,
            decay3 * (p3 + theta3 * q3) + m21 * c + m22 * gauss(0.0, 1.0),
        )
        old_north, old_east = self._axis
        # An axis has no sense: to fly back along it is no turn. To fly across it is one, whichever way, also a
        # little beyond a right angle: else flights that hardly differ would meet opposite gusts.
        if north * old_north + east * old_east < _BACK:
            north, east = -north, -east
        north = old_north + (north - old_north) * _AXIS_SHARE
        east = old_east + (east - old_east) * _AXIS_SHARE
        size = math.sqrt(north * north + east * east)
        self._axis = (north / size, east / size)
        self._to = self._gust(height_m)

    def _gust(self, height_m: float) -> _Vector:
        """Return the gust at the grid point in earth axes."""
        if self._w20_m_s == 0.0:
            return _STILL
        north, east = self._axis
        q1, q2, p2, q3, p3 = self._chain
        vertical = 0.1 * self._w20_m_s
        horizontal = vertical * scales(height_m)[2]
        along = horizontal * math.sqrt(2.0) * q1
        across = horizontal * (_SQRT3 * q2 + (1.0 - _SQRT3) * p2)
        return (
            north * along - east * across,
            east * along + north * across,
            vertical * (_SQRT3 * q3 + (1.0 - _SQRT3) * p3),
        )
