"""How far another is above the aircraft, in whatever both are measured in.

Pressure altitude compares with pressure altitude, height above the ellipsoid with such a height. Across datums
only a wide band is known: enough to leave out an airliner, not enough to tell that something passes overhead.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from watchkeeper.aircraft.traffic import Report, Whereabouts

OWN_M: Final = 15.0
"""Doubt of the aircraft's own height: satellites 13 m with 95 % (GPS SPS PS, facts), a barometer 1 to 2 hPa."""
GEOID_LEAST_M: Final = -107.0
GEOID_MOST_M: Final = 86.0
"""Sea level lies that far above the ellipsoid, over the whole Earth (EGM96: -106.2 to 85.8 m, from memory)."""
_PRESSURE_M: Final = 600.0
"""940 to 1085 hPa at sea level, the lowest and highest that one flies in, 8.3 m a hPa (common practice)."""
_PRESSURE_SHARE: Final = 0.15
"""Air 40 K off the standard atmosphere makes heights wrong by this share."""
_UNKNOWN_CLIMB_M_S: Final = 2.5
"""500 ft/min, the usual climb and descent of light aircraft (common practice)."""
_CLIMB_M_S: Final = 0.5
CERTAIN_M: Final = 30.0
"""100 ft: above or below by more than this is told as such (common practice)."""


class Above(NamedTuple):
    """How far another is above, m: as expected, at least and at most. `matched`: in one datum."""

    expected_m: float
    low_m: float
    high_m: float
    matched: bool

    @property
    def least_m(self) -> float:
        """The least difference in height that this allows."""
        return max(0.0, self.low_m, -self.high_m)


def pressure_altitude_m(pressure_hpa: float) -> float:
    """Return the height at which the standard atmosphere has a pressure (ISO 2533, below 11 km)."""
    return 44_330.77 * (1 - float((pressure_hpa / 1013.25) ** 0.190263))


def above(own: Whereabouts, report: Report) -> Above | None:
    """Return how far another is above, as it was told; None where nothing compares."""
    found: list[Above] = []
    pressure_m, geometric_m = report.pressure_m, report.geometric_m
    if pressure_m is not None:
        doubt_m = math.hypot(report.pressure_doubt_m, OWN_M)
        if own.pressure_m is not None:
            # MAVLink calls ADS-B's pressure altitude one by QNH, transponders send it by 1013.25 hPa; the
            # aircraft's height above the sea is near the first. Nothing tells which: both have to be possible.
            either = [pressure_m - own.pressure_m]
            if not report.drone and own.sea_m is not None:
                either.append(pressure_m - own.sea_m)
            found.append(Above(either[0], min(either) - doubt_m, max(either) + doubt_m, True))
        elif own.sea_m is not None:
            found.append(_across(pressure_m - own.sea_m, doubt_m))
    if geometric_m is not None:
        doubt_m = math.hypot(report.geometric_doubt_m, OWN_M)
        if own.ellipsoid_m is not None:
            difference_m = geometric_m - own.ellipsoid_m
            found.append(Above(difference_m, difference_m - doubt_m, difference_m + doubt_m, True))
        elif own.sea_m is not None:
            difference_m = geometric_m - own.sea_m
            low_m, high_m = difference_m - GEOID_MOST_M, difference_m - GEOID_LEAST_M
            found.append(Above((low_m + high_m) / 2, low_m - doubt_m, high_m + doubt_m, False))
        elif own.pressure_m is not None:
            found.append(_across(geometric_m - own.pressure_m, doubt_m - GEOID_LEAST_M))
    return min(found, key=lambda one: one.high_m - one.low_m, default=None)


def _across(difference_m: float, doubt_m: float) -> Above:
    wide_m = doubt_m + _PRESSURE_M + _PRESSURE_SHARE * abs(difference_m)
    return Above(difference_m, difference_m - wide_m, difference_m + wide_m, False)


def after(now: Above, own: Whereabouts, report: Report, age_s: float, time_s: float) -> Above:
    """Return the same after `time_s`; what was told is `age_s` old."""
    if report.climb_m_s is None:
        moved_m, doubt_m = -own.climb_m_s * time_s, _UNKNOWN_CLIMB_M_S * (age_s + time_s)
    else:
        moved_m = report.climb_m_s * (age_s + time_s) - own.climb_m_s * time_s
        doubt_m = _CLIMB_M_S * (age_s + time_s)
    return Above(
        now.expected_m + moved_m, now.low_m + moved_m - doubt_m, now.high_m + moved_m + doubt_m, now.matched
    )


def level_word(height: Above | None) -> str:
    """Return the catalogue's word for where another is."""
    if height is not None:
        if height.low_m > CERTAIN_M:
            return "above"
        if height.high_m < -CERTAIN_M:
            return "below"
        if height.matched:
            return "level"
    return "height_unknown"
