"""The aircraft's own fence, and the height over the ground below it.

Of height over ground the aircraft's own fusion (ALTITUDE) goes before its terrain data (TERRAIN_REPORT), and both
before a single look down (DISTANCE_SENSOR), which sees a hanging load as ground.
"""

from __future__ import annotations

import math
from typing import Any, Final

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.readingtypes import BREACHES
from watchkeeper.aircraft.state import Aircraft, is_live

BREACH: Final = INDEX["fence.breach"]
OVER_GROUND: Final = INDEX["position.over_ground"]
DISTANCE_SENSOR: Final = 132
TERRAIN_REPORT: Final = 136
ALTITUDE: Final = 141
FENCE_STATUS: Final = 162
_DOWN: Final = dialect.MAV_SENSOR_ROTATION_PITCH_270
_HIGHEST_M: Final = 10_000.0
"""Higher over ground no multirotor flies; what says so is no measurement."""


@folds(FENCE_STATUS, BREACH)
def _fence(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    status, kind = values[2], values[3]
    stream = aircraft.below.fence
    stream.mark(now_us)
    breach: str | None = None
    if status == 0:
        breach = "none"
    elif status == 1:
        # a kind that it does not tell, or that nobody knew when this was written, is a breach all the same
        breach = BREACHES[kind] if 0 < kind < len(BREACHES) else "other"
    aircraft.readings.put(BREACH, breach, stream)


@folds(ALTITUDE, OVER_GROUND)
def _altitude(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    _put(aircraft, values[6], aircraft.below.clearance, now_us)  # negative: no measurement


@folds(TERRAIN_REPORT, OVER_GROUND)
def _terrain(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    below = aircraft.below
    if not is_live(below.clearance, now_us):
        _put(aircraft, values[3] if values[4] else None, below.terrain, now_us)  # spacing 0: no data here


@folds(DISTANCE_SENSOR, OVER_GROUND)
def _distance(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    _, least_cm, most_cm, distance_cm, _, _, orientation = values[:7]
    below = aircraft.below
    if orientation != _DOWN or is_live(below.clearance, now_us) or is_live(below.terrain, now_us):
        return
    measured = least_cm < distance_cm < most_cm  # at its bounds it only says "nearer" or "farther"
    _put(aircraft, distance_cm / 100 if measured else None, below.rangefinder, now_us)


def _put(aircraft: Aircraft, height_m: float | None, stream: Stream, now_us: int) -> None:
    """Write a height over ground. What is none leaves its stream unmarked, so that the next source may tell."""
    if height_m is not None and math.isfinite(height_m) and 0.0 <= height_m < _HIGHEST_M:
        stream.mark(now_us)
        aircraft.readings.put(OVER_GROUND, height_m, stream)
