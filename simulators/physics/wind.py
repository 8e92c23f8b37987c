"""Mean wind: growing and turning with height, shifting by schedule, with draughts up and down.

Speed follows the logarithmic law of the neutral surface layer, U(z) = U(10 m) ln(z / z0) / ln(10 / z0), with the
reference at 10 m where weather services measure (WMO-No. 8, Guide to Instruments, part I chapter 5; the law and
roughness lengths also in ESDU 82026 and MIL-F-8785C 3.7.3). It is sound to about 100 m and still serves at 300 m;
an unstable afternoon is more even, a clear night steeper. Gusts come on top, from gusts.py.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

REFERENCE_HEIGHT_M: Final = 10.0
OPEN_COUNTRY_ROUGHNESS_M: Final = 0.03
"""Low grass with few obstacles (WMO-No. 8, terrain class 3 of Davenport)."""
TURNING_DEG_PER_100_M: Final = 2.0
"""Clockwise going up, as friction has it north of the equator: 20 degrees over a boundary layer of 1 km."""
LAYER_TOP_M: Final = 1000.0
"""Friction is not felt above, so speed and direction are held there."""
DRAUGHT_HEIGHT_M: Final = 30.0
"""Air cannot flow through the ground: a draught grows with height up to here."""

_Segment = tuple[float, float, float, float, float, float, float, float]


def _line(points: Sequence[tuple[float, float]], time_s: float) -> float:
    """Return the value at a time on straight lines between points, held before the first and after the last."""
    index = bisect_right(points, (time_s, math.inf))
    if index == 0:
        return points[0][1]
    t0, v0 = points[index - 1]
    if index == len(points):
        return v0
    t1, v1 = points[index]
    return v0 + (v1 - v0) * (time_s - t0) / (t1 - t0)


def _check_times(points: Sequence[tuple[float, ...]], what: str) -> None:
    """Raise ValueError unless all is finite and the times rise."""
    if not all(math.isfinite(number) for point in points for number in point):
        raise ValueError(f"{what}: not a finite number")
    if any(a[0] >= b[0] for a, b in pairwise(points)):
        raise ValueError(f"{what}: times must rise")


def _segments(
    schedule: Sequence[tuple[float, float, float]], draughts: Sequence[tuple[float, float]]
) -> list[_Segment]:
    """Return (start, end, speed, its rate, direction, its rate, up, its rate), directions in radians unwrapped."""
    speeds = [(time_s, speed) for time_s, speed, _ in schedule]
    turned: list[tuple[float, float]] = []
    for time_s, _, from_deg in schedule:
        # The short way round; when both ways are 180 degrees, clockwise.
        before = turned[-1][1] if turned else from_deg
        turned.append((time_s, before + 180.0 - (180.0 - (from_deg - before)) % 360.0))
    ups = list(draughts) or [(0.0, 0.0)]
    times = sorted({point[0] for point in (*speeds, *ups)})

    def values(time_s: float) -> tuple[float, float, float]:
        return _line(speeds, time_s), math.radians(_line(turned, time_s)), _line(ups, time_s)

    first, last = values(times[0]), values(times[-1])
    found = [(-math.inf, times[0], first[0], 0.0, first[1], 0.0, first[2], 0.0)]
    for start, end in pairwise(times):
        (s0, d0, u0), (s1, d1, u1), span = values(start), values(end), end - start
        found.append((start, end, s0, (s1 - s0) / span, d0, (d1 - d0) / span, u0, (u1 - u0) / span))
    found.append((times[-1], math.inf, last[0], 0.0, last[1], 0.0, last[2], 0.0))
    return found


class MeanWind:
    """The motion of the air without gusts. Asking costs a logarithm, a sine and a cosine; nothing runs between."""

    __slots__ = ("_log_scale", "_now", "_roughness_m", "_segments", "_starts", "_turning")

    def __init__(
        self,
        schedule: Sequence[tuple[float, float, float]],
        *,
        roughness_m: float = OPEN_COUNTRY_ROUGHNESS_M,
        turning_deg_per_100_m: float = TURNING_DEG_PER_100_M,
        draughts: Sequence[tuple[float, float]] = (),
    ) -> None:
        """Take the wind at 10 m as points (time_s, speed_m_s, from_deg) and draughts as (time_s, up_m_s).

        Between points speed, direction (by the short way) and draught change linearly; before the first and after
        the last they are held. `from_deg` is where the wind comes from, clockwise of true north. Raises ValueError
        for no point, times that do not rise, a negative speed or a roughness outside 1e-5 to 3 m.
        """
        if not schedule:
            raise ValueError("schedule: needs at least one point")
        _check_times(schedule, "schedule")
        _check_times(draughts, "draughts")
        if any(speed < 0.0 for _, speed, _ in schedule):
            raise ValueError("schedule: speed below zero; turn the direction instead")
        if not 1e-5 <= roughness_m <= 3.0:
            raise ValueError(f"roughness {roughness_m} m is outside 0.00001 (ice) to 3 m (city)")
        self._roughness_m = roughness_m
        self._log_scale = 1.0 / math.log(REFERENCE_HEIGHT_M / roughness_m)
        self._turning = math.radians(turning_deg_per_100_m) / 100.0
        self._segments = _segments(schedule, draughts)
        self._starts = [segment[0] for segment in self._segments]
        self._now = self._segments[0]

    def at(self, time_s: float, height_m: float) -> tuple[float, float, float]:
        """Return (north, east, up) in m/s of the air's own motion: where it blows to, height above the ground."""
        start, end, speed, speed_rate, direction, direction_rate, up, up_rate = self._now
        if not start <= time_s < end:
            start, end, speed, speed_rate, direction, direction_rate, up, up_rate = self._seek(time_s)
        if height_m <= self._roughness_m:
            return 0.0, 0.0, 0.0
        height_m = min(height_m, LAYER_TOP_M)
        if speed_rate or direction_rate or up_rate:  # never in the first segment, whose start is not finite
            elapsed = time_s - start
            speed += speed_rate * elapsed
            direction += direction_rate * elapsed
            up += up_rate * elapsed
        if up and height_m < DRAUGHT_HEIGHT_M:
            up *= (height_m - self._roughness_m) / (DRAUGHT_HEIGHT_M - self._roughness_m)
        # Blowing to is opposite to coming from.
        speed *= -math.log(height_m / self._roughness_m) * self._log_scale
        direction += self._turning * (height_m - REFERENCE_HEIGHT_M)
        return speed * math.cos(direction), speed * math.sin(direction), up

    def speed_m_s(self, time_s: float, height_m: float) -> float:
        """Return the horizontal speed, as the intensity of gusts wants it at 20 ft."""
        north, east, _ = self.at(time_s, height_m)
        return math.hypot(north, east)

    def _seek(self, time_s: float) -> _Segment:
        """Return the segment of a time and keep it for the next call. Raises ValueError if it is not a number."""
        if math.isnan(time_s):
            raise ValueError("time is not a number")
        self._now = self._segments[bisect_right(self._starts, time_s) - 1]
        return self._now
