"""Where the aircraft is, how it moves, and whether it can know."""

from __future__ import annotations

from watchkeeper.aircraft.readingtypes import FIXES, HOME_SOURCES
from watchkeeper.aircraft.readingtypes import ReadingType as R

_POSITION = "GLOBAL_POSITION_INT, HIGH_LATENCY2"

POSITION: tuple[R, ...] = (
    R("position.home_distance", "m", "horizontal distance from home", _POSITION),
    R("position.home_bearing", "deg", "bearing from home to the aircraft", _POSITION),
    R(
        "position.home_source",
        "",
        "where home is known from",
        "HOME_POSITION, arming, sortie file",
        words=HOME_SOURCES,
        held=True,
    ),
    R("position.height", "m", "height above home", "GLOBAL_POSITION_INT, VFR_HUD, HIGH_LATENCY2"),
    R("position.ground_speed", "m/s", "speed over ground", "GLOBAL_POSITION_INT, VFR_HUD, HIGH_LATENCY2"),
    R("position.climb_rate", "m/s", "upward speed", "VFR_HUD, GLOBAL_POSITION_INT, HIGH_LATENCY2"),
    R("satellites.used", "count", "satellites used in the solution", "GPS_RAW_INT"),
    R("satellites.hdop", "", "horizontal dilution of precision", "GPS_RAW_INT"),
    R("satellites.fix", "", "kind of position fix", "GPS_RAW_INT", words=FIXES),
    R("satellites.drop", "%", "fall of the satellite count within 10 s", "estimate", estimate=True),
)
