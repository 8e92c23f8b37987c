"""Where the crew's ground station is, by what it sends itself."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.hearings import Heard, hears
from watchkeeper.aircraft.state import Aircraft

GLOBAL_POSITION: Final = 33
FOLLOW_TARGET: Final = 144


def _take(heard: Heard, latitude: int, longitude: int) -> Sequence[Aircraft]:
    if heard.vehicle == dialect.MAV_TYPE_GCS:
        heard.others.crew.take(latitude / 1e7, longitude / 1e7, heard.now_us)
    return ()  # an estimate looks at it, and the sweep at that


@hears(GLOBAL_POSITION)
def _station_position(heard: Heard) -> Sequence[Aircraft]:
    return _take(heard, heard.values[1], heard.values[2])


@hears(FOLLOW_TARGET)
def _follow_target(heard: Heard) -> Sequence[Aircraft]:
    return _take(heard, heard.values[2], heard.values[3])
