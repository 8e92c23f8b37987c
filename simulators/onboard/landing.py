"""A landing: to its place first, then down, slow near the ground.

Once it has begun to come down it goes no higher again: pushed away, it closes in at the height that it had, and
not downwards, for to touch the ground at speed would break it.
"""

from __future__ import annotations

from typing import Final

from simulators.onboard.command import InCommand
from simulators.onboard.guide import Velocity

_OVER_M: Final = 5.0
"""A landing at a place begins within this."""


def velocity(pilot: InCommand) -> Velocity:
    """Return velocity and turn of a landing."""
    values, sensors, guide = pilot.values, pilot.sensors, pilot.guide
    place = pilot.land_at or pilot.target[:2]
    far = pilot.land_at is not None and guide.distance(*place) > _OVER_M
    if far and sensors.has_fix:
        return guide.go((*place, pilot.target[2]), values["fly.speed_m_s"])
    pilot.target = (*pilot.target[:2], sensors.height_m)
    low = sensors.height_m - pilot.home[2] < values["land.slow_m"]
    sink = values["land.slow_m_s"] if low else values["land.fast_m_s"]
    stay = guide.stay((*place, sensors.height_m))
    return stay[0], stay[1], -sink, 0.0
