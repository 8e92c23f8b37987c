"""Who steers: RC_CHANNELS of the aircraft, heartbeats of ground stations, and their sticks on the way up.

A mirror of what a station sends and receives carries both; one of the downlink alone has no orders in it, and then
nothing is said of a station.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.control import AGE, BY_STATION, STATION_AGE, TOLD
from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.hearings import Heard, hears
from watchkeeper.aircraft.state import Aircraft

RC_CHANNELS: Final = 65
HEARTBEAT: Final = 0
MANUAL_CONTROL: Final = 69
OVERRIDE: Final = 70
_UNTOUCHED: Final = frozenset({0, 65535})
"""RC_CHANNELS_OVERRIDE: a channel given back, and one left as it is."""


@folds(RC_CHANNELS, *TOLD)
def _channels(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    aircraft.control.channels(aircraft.readings, values[19], values[20], now_us)
    aircraft.intended.channels(values[1:19], now_us)
    aircraft.switch.take(values[1:19], values[19], aircraft.control, now_us)


@hears(HEARTBEAT, STATION_AGE)
def _beat(heard: Heard) -> Sequence[Aircraft]:
    if heard.values[1] != dialect.MAV_TYPE_GCS:
        return ()
    if not heard.others.stations.beat((heard.system, heard.component), heard.now_us):
        return ()
    told = tuple(heard.aircraft.values())
    for aircraft in told:
        aircraft.control.hear_station(aircraft.readings, heard.now_us)
    return told


@hears(MANUAL_CONTROL, AGE, BY_STATION, STATION_AGE)
def _manual_control(heard: Heard) -> Sequence[Aircraft]:
    return _sticks(heard, heard.values[5])


@hears(OVERRIDE, AGE, BY_STATION, STATION_AGE)
def _override(heard: Heard) -> Sequence[Aircraft]:
    if _UNTOUCHED.issuperset(heard.values[:4]):
        return ()  # it leaves all four axes to the receiver
    return _sticks(heard, heard.values[8])


@hears(OVERRIDE)
def _override_of_switch(heard: Heard) -> Sequence[Aircraft]:
    target = heard.values[8]
    for aircraft in heard.aircraft.values() if target == 0 else filter(None, [heard.aircraft.get(target)]):
        aircraft.switch.overridden((*heard.values[:8], *heard.values[10:20]), heard.now_us)
    return ()


def _sticks(heard: Heard, target: int) -> Sequence[Aircraft]:
    aircraft = heard.aircraft.get(target)
    if aircraft is None or not heard.others.stations.steers((heard.system, heard.component), heard.now_us):
        return ()
    aircraft.control.sticks(aircraft.readings, heard.now_us)
    aircraft.control.hear_station(aircraft.readings, heard.now_us)
    return (aircraft,)
