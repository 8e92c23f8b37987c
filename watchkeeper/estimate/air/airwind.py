"""The wind as others are given it: mean with covariance, at a height; its gusts; how it grows with height."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import Weather

PROFILE: Final = 1 / 7
PROFILE_SD: Final = 0.08
TURN_SD: Final = 0.06
LEAST_HEIGHT_M: Final = 2.0
GUST_SHARE: Final = 0.16
"""Standard deviation of gusts by mean wind, before it is learned: su / W20 at 50 m by MIL-F-8785C."""
LEAST_GUST_M_S: Final = 0.3
PEAK_FACTOR: Final = 3.0
"""The highest gust of ten minutes stands about three standard deviations over the mean (common practice)."""
FORECAST_SHARE: Final = 0.5
FORECAST_SD_M_S: Final = 3.0
"""How well a forecast holds at a place and an hour."""
WEATHER_HEIGHT_M: Final = 10.0
"""Height for which weather services give the wind (WMO-No. 8)."""
_FEET_PER_M: Final = 1 / 0.3048


class WindState(NamedTuple):
    """The mean wind: where the air moves to, with its covariance, at a height above home.

    `gust_m_s` is the standard deviation of the gusts along a horizontal axis; `source` is message, attitude or
    sortie.
    """

    north_m_s: float
    east_m_s: float
    var_nn: float
    var_ne: float
    var_ee: float
    height_m: float
    gust_m_s: float
    source: str


def at_height(state: WindState, height_m: float) -> WindState:
    """Return the wind at another height above home, with the doubt that adds.

    Power law with an exponent of 1/7 (neutral air over open country; common practice). The exponent is uncertain
    by 0.08: near 0 on an unstable afternoon, 0.3 over rough ground or in a clear night. Direction turns by some
    degrees on the way (friction; 0.06 rad for each unit of the logarithm). Gusts keep their strength.
    """
    factor, rise = growth(height_m, state.height_m)
    north, east = factor * state.north_m_s, factor * state.east_m_s
    along, across = (PROFILE_SD * rise) ** 2, (TURN_SD * rise) ** 2
    square = factor * factor
    return state._replace(
        north_m_s=north,
        east_m_s=east,
        var_nn=square * state.var_nn + along * north * north + across * east * east,
        var_ne=square * state.var_ne + (along - across) * north * east,
        var_ee=square * state.var_ee + along * east * east + across * north * north,
        height_m=height_m,
    )


def growth(height_m: float, from_m: float) -> tuple[float, float]:
    """Return by how much the wind grows from one height to another, and the logarithm of their ratio."""
    rise = math.log(max(height_m, LEAST_HEIGHT_M) / max(from_m, LEAST_HEIGHT_M))
    return math.exp(PROFILE * rise), rise


def larger_axis(var_nn: float, var_ne: float, var_ee: float) -> float:
    """Return the greater standard deviation of a horizontal covariance."""
    half = 0.5 * (var_nn - var_ee)
    return math.sqrt(max(0.5 * (var_nn + var_ee) + math.sqrt(half * half + var_ne * var_ne), 0.0))


def gust_length_m(height_m: float) -> float:
    """Return Dryden's length along the flow at a height, m (MIL-F-8785C 3.7.3.4: 10 to 1000 ft)."""
    feet = min(max(height_m * _FEET_PER_M, 10.0), 1000.0)
    return float(feet / (0.177 + 0.000823 * feet) ** 1.2 / _FEET_PER_M)


def gust_sd_m_s(north_m_s: float, east_m_s: float, share: float = GUST_SHARE) -> float:
    """Return the standard deviation of gusts along a horizontal axis in a mean wind."""
    return max(LEAST_GUST_M_S, share * math.hypot(north_m_s, east_m_s))


def blows_to(speed_m_s: float, from_deg: float) -> tuple[float, float]:
    """Return a wind along north and east, where the air moves to, m/s."""
    angle = math.radians(from_deg)
    return -speed_m_s * math.cos(angle), -speed_m_s * math.sin(angle)


def comes_from(north_m_s: float, east_m_s: float) -> float:
    """Return where a wind comes from, degrees."""
    return math.degrees(math.atan2(-east_m_s, -north_m_s)) % 360


def forecast(weather: Weather) -> WindState | None:
    """Return the wind of the sortie file, if it has one, as widely as a forecast holds at a place."""
    wind = weather.wind
    if wind is None:
        return None
    north, east = blows_to(wind.speed_m_s, wind.from_deg)
    sd = max(FORECAST_SD_M_S, FORECAST_SHARE * wind.speed_m_s)
    gust = gust_sd_m_s(north, east)
    if weather.gusts_m_s is not None:
        gust = max(LEAST_GUST_M_S, (weather.gusts_m_s - wind.speed_m_s) / PEAK_FACTOR)
    return WindState(north, east, sd * sd, 0.0, sd * sd, WEATHER_HEIGHT_M, gust, "sortie")
