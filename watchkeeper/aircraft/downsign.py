"""Which way a sender counts its vertical speed.

The standard counts `vz` of GLOBAL_POSITION_INT downwards. There are autopilots that count it upwards (seen in real
recordings); what the height does tells.
"""

from __future__ import annotations

from typing import Final

_LEAST_M_S: Final = 0.5
_LONGEST_US: Final = 3_000_000
_SHORTEST_US: Final = 200_000
_SURE: Final = 5
_MOST: Final = 10


class DownSign:
    """Compares `vz` with how the height changes from message to message."""

    __slots__ = ("_height_m", "_score", "_time_us", "_vz_m_s", "sign")

    def __init__(self) -> None:
        self.sign = 1
        """1: down is positive, as the standard has it; -1: up is."""
        self._score = 0
        self._height_m = 0.0
        self._vz_m_s = 0.0
        self._time_us = 0

    @property
    def sure(self) -> bool:
        """Whether the height has borne the sign out."""
        return not -_SURE < self._score < _SURE

    def climb_m_s(self, vz_m_s: float, height_m: float, now_us: int) -> float:
        """Return the upward speed, and learn."""
        step_us = now_us - self._time_us
        if step_us >= _SHORTEST_US:
            mean_m_s = (vz_m_s + self._vz_m_s) / 2
            if step_us <= _LONGEST_US and not -_LEAST_M_S < mean_m_s < _LEAST_M_S:
                rise_m_s = (height_m - self._height_m) / step_us * 1e6
                if rise_m_s > _LEAST_M_S or rise_m_s < -_LEAST_M_S:
                    agrees = (rise_m_s > 0) != (mean_m_s > 0)
                    self._score = max(-_MOST, min(_MOST, self._score + (1 if agrees else -1)))
                    if self._score >= _SURE:
                        self.sign = 1
                    elif self._score <= -_SURE:
                        self.sign = -1
            self._height_m, self._vz_m_s, self._time_us = height_m, vz_m_s, now_us
        return -self.sign * vz_m_s
