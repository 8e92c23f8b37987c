"""Time until the end of civil twilight (sun 6 degrees below the horizon), at the aircraft."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Stream
from watchkeeper.estimate.surroundings.sun import CIVIL_DEG, DAY_S, crossing

EVERY_US: Final = 30_000_000  # between, the reading counts down by itself
PLAUSIBLE_S: Final = 946_684_800.0  # a clock before the year 2000 was never set

Place = tuple[float, float]


def to_dusk(unix_s: float, latitude_deg: float, longitude_deg: float) -> float | None:
    """Return the seconds to the end of civil twilight; negative at night, since it ended; None near the poles."""
    evening_s = crossing(unix_s, latitude_deg, longitude_deg, CIVIL_DEG, 1)
    morning_s = crossing(unix_s, latitude_deg, longitude_deg, CIVIL_DEG, -1)
    if morning_s is not None and unix_s < morning_s:
        evening_s = crossing(unix_s - DAY_S, latitude_deg, longitude_deg, CIVIL_DEG, 1)
    return None if evening_s is None else evening_s - unix_s


class TimeToDusk:
    """`time.to_dusk`, from the aircraft's place and clock, else the engine's time where that is a real one."""

    indexes = (INDEX["time.to_dusk"],)

    def __init__(self, place: Callable[[], Place | None], unix_s: Callable[[int], float | None]) -> None:
        """`place` gives latitude and longitude in degrees, `unix_s` the time at an engine time."""
        self._place = place
        self._unix_s = unix_s
        self._next_us = 0
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None] | None:
        """Return the time left in s; None when the last answer still counts."""
        if self._next_us - EVERY_US <= now_us < self._next_us:
            return None
        place, unix_s = self._place(), self._unix_s(now_us)
        if place is None or unix_s is None or unix_s < PLAUSIBLE_S:
            return (None,)
        self._next_us = now_us + EVERY_US
        return (to_dusk(unix_s, *place),)
