"""The way home as a list of segments: what the aircraft is set to fly, from where it is now.

Where neither file says how it returns, the stated defaults are on the costly side: high, slow, with a hold.
"""

from __future__ import annotations

import math
from collections.abc import Container
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.aircraft.filetypes import Hold, Wind

DEFAULT_HEIGHT_M: Final = 40.0
DEFAULT_SPEED_M_S: Final = 5.0
DEFAULT_CLIMB_M_S: Final = 2.0
DEFAULT_DESCENT_M_S: Final = 1.5
DEFAULT_LANDING_M_S: Final = 0.5
DEFAULT_HOLD: Final = Hold(10.0, None)
DEFAULT_AIRSPEED_M_S: Final = 15.0
LANDING_FROM_M: Final = 10.0  # the last metres go at landing speed
OVERHEAD_M: Final = 10.0  # nearer than this a return has arrived; position error included
LEAST_SPEED_M_S: Final = 0.5  # slower over ground than this is no way home
CLIMB_EXTRA: Final = (
    1.25  # momentum theory gives 1.19 times the hover power at 2.5 m/s for 35 kg on six 30 in rotors
)


class Segment(NamedTuple):
    """A part of the way: its name, how long it takes, and its power over the power in level flight."""

    name: str
    time_s: float
    power_ratio: float = 1.0


def speed_over_ground(wanted_m_s: float, airspeed_m_s: float, wind: Wind | None, track_deg: float) -> float:
    """Return the speed made good along a track: as wanted, unless wind and the greatest airspeed leave less.

    Wind triangle: of the airspeed, the part left after holding against the cross wind, less the head wind.
    Negative when the aircraft would be blown back.
    """
    if wind is None:
        return min(wanted_m_s, airspeed_m_s)
    angle = math.radians(wind.from_deg - track_deg)
    head_m_s, cross_m_s = wind.speed_m_s * math.cos(angle), wind.speed_m_s * math.sin(angle)
    along = airspeed_m_s**2 - cross_m_s**2
    return min(wanted_m_s, math.sqrt(along) - head_m_s if along > 0 else -wind.speed_m_s)


def done_already(phase: str, distance_m: float) -> frozenset[str]:
    """Return the segments that an aircraft already on its way home has behind it."""
    if phase == "landing":
        return frozenset({"climb", "hold"})
    if phase == "returning" and distance_m < OVERHEAD_M:
        return frozenset({"climb"})
    return frozenset()


def way_home(
    file: AircraftFile, distance_m: float, height_m: float, speed_m_s: float, done: Container[str] = ()
) -> tuple[Segment, ...]:
    """Return the segments home in the file's order, from a distance and a height above home.

    `speed_m_s` is the speed over ground of the cruise, positive; segments in `done` are left out.
    """
    back, limits = file.return_, file.limits
    top_m = max(height_m, back.height_m if back.height_m is not None else DEFAULT_HEIGHT_M)
    hold = back.hold if back.hold is not None else DEFAULT_HOLD
    landing_m_s = back.landing_m_s if back.landing_m_s is not None else DEFAULT_LANDING_M_S
    descent_m_s = min(limits.descent_m_s or DEFAULT_DESCENT_M_S, DEFAULT_DESCENT_M_S)
    height = height_m
    segments: list[Segment] = []
    for name in back.order:
        if name in done:
            continue
        match name:
            case "climb":
                segments.append(Segment(name, (top_m - height) / DEFAULT_CLIMB_M_S, CLIMB_EXTRA))
                height = top_m
            case "cruise":
                segments.append(Segment(name, distance_m / speed_m_s))
            case "descend":
                bottom = hold.height_m if hold.height_m is not None else LANDING_FROM_M
                segments.append(Segment(name, max(0.0, height - bottom) / descent_m_s))
                height = min(height, bottom)
            case "hold":
                segments.append(Segment(name, hold.time_s))
            case _:
                segments.append(Segment(name, max(0.0, height) / landing_m_s))
                height = 0.0
    return tuple(segments)
