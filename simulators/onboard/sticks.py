"""Manual control: what the sticks fly in the modes that heed them."""

from __future__ import annotations

import math
from typing import Final

from simulators.onboard.command import InCommand, Sticks
from simulators.onboard.guide import Velocity

_HEARD_S: Final = 1.0
"""Sticks count this long; then they are taken to be released."""
_TURN_RAD_S: Final = 0.8
_DEAD: Final = 0.05
LIFTS: Final = 0.3
"""Up by more than this lifts off."""


def heard(pilot: InCommand) -> Sticks | None:
    """Return the sticks as last heard, or None if that is long ago or the control link is lost."""
    sticks = pilot.sticks
    if sticks is None or not pilot.control_link or pilot.now_s - sticks.time_s > _HEARD_S:
        return None
    return sticks


def moved(pilot: InCommand) -> Sticks | None:
    """Return the sticks if any of them is out of its middle."""
    sticks = heard(pilot)
    if sticks is None:
        return None
    return sticks if max(abs(axis) for axis in sticks[:4]) >= _DEAD else None


def hold(pilot: InCommand) -> Velocity:
    """Return the velocity in position hold: that of the sticks, or towards the place to hold."""
    sticks = moved(pilot)
    speed = pilot.values["fly.speed_m_s"]
    if sticks is None:
        return pilot.guide.go(pilot.target, pilot.target_speed_m_s or speed, face=False)
    north, east = _over_ground(pilot, sticks)
    pilot.stay_here(pilot.target[2] if abs(sticks.up) < _DEAD else None)
    return north * speed, east * speed, _climb(pilot, sticks), sticks.turn * _TURN_RAD_S


def drift(pilot: InCommand) -> tuple[tuple[float, float], float, float]:
    """Return tilt (north, east), climb and turn in altitude hold: level without sticks."""
    sticks = moved(pilot)
    if sticks is None:
        return (0.0, 0.0), pilot.guide.rise(pilot.target[2]), 0.0
    north, east = _over_ground(pilot, sticks)
    most = pilot.control.tilt_most
    if abs(sticks.up) >= _DEAD:
        pilot.target = (*pilot.target[:2], pilot.guide.rest_height())
    return (north * most, east * most), _climb(pilot, sticks), sticks.turn * _TURN_RAD_S


def _over_ground(pilot: InCommand, sticks: Sticks) -> tuple[float, float]:
    """Return the sticks north and east, by the heading that the aircraft believes in."""
    heading = pilot.sensors.heading_rad
    cosine, sine = math.cos(heading), math.sin(heading)
    return sticks.forward * cosine - sticks.right * sine, sticks.forward * sine + sticks.right * cosine


def _climb(pilot: InCommand, sticks: Sticks) -> float:
    if abs(sticks.up) < _DEAD:
        return pilot.guide.rise(pilot.target[2])
    return sticks.up * pilot.values["fly.climb_m_s" if sticks.up > 0 else "fly.sink_m_s"]
