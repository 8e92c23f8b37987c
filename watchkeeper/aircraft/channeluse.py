"""Whether a channel of the radio control already does something, by the aircraft's own parameters.

A switch that also changes a mode or lets a load go would acknowledge by accident; so one counts only where all
parameters of the aircraft are known and none of them gives its channel a function. What the parameters mean stands
in autopilots.yaml (`channels`).
"""

from __future__ import annotations

from enum import Enum
from fnmatch import fnmatchcase
from typing import Final, NamedTuple

from watchkeeper.aircraft.autopilot_file import Channels
from watchkeeper.aircraft.autopilots import tables
from watchkeeper.aircraft.parameters import Parameters


class Known(Enum):
    """What is known of a channel."""

    FREE = "free"
    TAKEN = "taken"
    UNKNOWN = "unknown"


class Use(NamedTuple):
    """Whether a channel is free, and in plain words why not."""

    known: Known
    why: str = ""


STICKS: Final = 4
"""The first channels are the sticks (common practice), wherever the aircraft says nothing else."""
FREE: Final = Use(Known.FREE)


def use_of(channel: int, autopilot: int, vehicle: int, parameters: Parameters) -> Use:
    """Return whether channel 1 to 18 is free. `autopilot` is MAV_AUTOPILOT, `vehicle` MAV_TYPE."""
    if channel <= STICKS:
        return Use(Known.TAKEN, f"channel {channel} is one of the sticks")
    table = tables().get(autopilot)
    if table is None or table.channels is None or vehicle not in table.vehicles:
        return Use(Known.UNKNOWN, "not known what gives a channel a function on this aircraft")
    values = parameters.values
    if not parameters.complete:
        told = f"{len(values)} of {parameters.total} parameters seen" if values else "no parameters seen"
        return Use(Known.UNKNOWN, f"{told}; refresh them at the ground station")
    if table.known_by.isdisjoint(values):
        return Use(Known.UNKNOWN, "its parameters are not those that are known of this kind of autopilot")
    unread = ""
    for name, value in values.items():
        if value is None:
            unread = unread or (name if _told_by(name, table.channels, channel) else "")
        elif _given(name, value, table.channels, channel):
            return Use(Known.TAKEN, f"{name} gives channel {channel} a function")
    return Use(Known.UNKNOWN, f"{unread} was not understood") if unread else FREE


def _of(channel: int, named: str) -> str:
    return named.replace("{n}", str(channel))


def _given(name: str, value: float, channels: Channels, channel: int) -> bool:
    """Whether a parameter gives the channel a function."""
    if any(name == _of(channel, named) for named in channels.own):
        return value != 0
    if name in channels.bits:
        return bool(int(value) >> channel - 1 & 1)
    if channels.fixed.get(name) == channel:
        return value != 0
    if any(name == _of(channel, named) and value == number for named, number in channels.equal.items()):
        return True
    return any(
        fnmatchcase(name, named) and value - more == channel
        for named, added in channels.numbers.items()
        for more in added
    )


def _told_by(name: str, channels: Channels, channel: int) -> bool:
    """Whether a parameter may give the channel a function."""
    exact = {_of(channel, named) for named in (*channels.own, *channels.equal)}
    named = name in exact or name in channels.bits or channels.fixed.get(name) == channel
    return named or any(fnmatchcase(name, pattern) for pattern in channels.numbers)
