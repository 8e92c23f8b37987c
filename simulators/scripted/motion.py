"""Where a scripted aircraft is and how it lies in the air, out of distance and height over time.

The script's corners are rounded off, so that speed is exactly the derivative of place and acceleration that of
speed. Tilt follows from acceleration and air speed by a plain linear drag: plausible, not physics.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from simulators.scenario import Scenario
from simulators.scripted.series import Wobble

TURN_S: Final = 3.0
"""Over this the corners of the distance are rounded: 8 m/s are reached at 2.7 m/s2."""
LIFT_S: Final = 2.0
_YAW_DEG_S: Final = 40.0
_MOVING_M_S: Final = 1.5
_DRAG_PER_S: Final = 0.15
_GRAVITY: Final = 9.80665
_EARTH_M: Final = 6_371_000.0
_GUST: Final = 0.1  # of the mean wind


@dataclass(frozen=True, slots=True)
class Moment:
    """Place, motion and attitude at one time. Degrees, m, m/s; north, east and up positive; angles in rad."""

    latitude_deg: float
    longitude_deg: float
    height_m: float
    north_m_s: float
    east_m_s: float
    climb_m_s: float
    heading_deg: float
    roll_rad: float
    pitch_rad: float
    wind_north_m_s: float
    """Where the air moves to, along north."""
    wind_east_m_s: float

    @property
    def ground_speed_m_s(self) -> float:
        """Horizontal speed over ground."""
        return math.hypot(self.north_m_s, self.east_m_s)

    @property
    def air_speed_m_s(self) -> float:
        """Horizontal speed through the air."""
        return math.hypot(self.north_m_s - self.wind_north_m_s, self.east_m_s - self.wind_east_m_s)


class Motion:
    """Follows a scenario along its bearing, nose forward."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self._scenario = scenario
        self._distance = scenario.numbers["distance_m"]
        self._height = scenario.numbers["height_m"]
        self._gusts = Wobble(f"gusts {seed}")
        self._heading_deg = scenario.bearing_deg

    def step(self, time_s: float, step_s: float) -> Moment:
        """Move on to a time, `step_s` after the last."""
        scenario = self._scenario
        bearing = math.radians(scenario.bearing_deg)
        outward_m = self._distance.mean(time_s, TURN_S)
        outward_m_s = self._distance.rate(time_s, TURN_S)
        north_m_s, east_m_s = outward_m_s * math.cos(bearing), outward_m_s * math.sin(bearing)
        height_m = self._height.mean(time_s, LIFT_S)
        wind_m_s = scenario.numbers["wind_m_s"].at(time_s) * (1 + _GUST * self._gusts.at(time_s))
        wind_from = math.radians(scenario.numbers["wind_from_deg"].at(time_s))
        wind_north, wind_east = -wind_m_s * math.cos(wind_from), -wind_m_s * math.sin(wind_from)
        self._turn(outward_m_s, step_s)
        bend = self._distance.bend(time_s, TURN_S)
        pull_north = bend * math.cos(bearing) + _DRAG_PER_S * (north_m_s - wind_north)
        pull_east = bend * math.sin(bearing) + _DRAG_PER_S * (east_m_s - wind_east)
        heading = math.radians(self._heading_deg)
        forward = pull_north * math.cos(heading) + pull_east * math.sin(heading)
        right = pull_east * math.cos(heading) - pull_north * math.sin(heading)
        share = min(1.0, max(0.0, height_m))  # on its legs it stands level
        latitude_deg, longitude_deg = scenario.home
        return Moment(
            latitude_deg=latitude_deg + math.degrees(outward_m * math.cos(bearing) / _EARTH_M),
            longitude_deg=longitude_deg
            + math.degrees(outward_m * math.sin(bearing) / (_EARTH_M * math.cos(math.radians(latitude_deg)))),
            height_m=height_m,
            north_m_s=north_m_s,
            east_m_s=east_m_s,
            climb_m_s=self._height.rate(time_s, LIFT_S),
            heading_deg=self._heading_deg % 360,
            roll_rad=share * math.atan(right / _GRAVITY),
            pitch_rad=-share * math.atan(forward / _GRAVITY),
            wind_north_m_s=wind_north,
            wind_east_m_s=wind_east,
        )

    def _turn(self, outward_m_s: float, step_s: float) -> None:
        """Turn the nose towards where it moves."""
        if abs(outward_m_s) < _MOVING_M_S:
            return
        wanted_deg = self._scenario.bearing_deg + (180 if outward_m_s < 0 else 0)
        left_deg = (wanted_deg - self._heading_deg + 180) % 360 - 180
        most_deg = _YAW_DEG_S * step_s
        self._heading_deg += max(-most_deg, min(most_deg, left_deg))
