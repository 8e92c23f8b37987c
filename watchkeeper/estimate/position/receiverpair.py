"""Two satellite receivers against each other: whether one failed, whether they disagree."""

from __future__ import annotations

import math
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.geodesy import Around, is_place
from watchkeeper.aircraft.readings import US, Stream
from watchkeeper.aircraft.receivers import Receiver
from watchkeeper.aircraft.state import Aircraft

ANTENNAS_M: Final = 2.0
"""Two antennas of one aircraft are not further apart (frames of the heaviest multirotors, common practice)."""
SIGMAS: Final = 3.0
USER_RANGE_M: Final = 3.0
"""Standard deviation of a range to a satellite, where a receiver does not tell its accuracy: with the usual
dilution of 1.3 that is the 8 m in 95 % of GPS SPS (from memory) for two axes."""


def place_sd_m(receiver: Receiver) -> float:
    """Return how far off its position may be (one standard deviation): its own word, else by its dilution."""
    if receiver.place_sd_m is not None:
        return receiver.place_sd_m
    dilution = receiver.dilution
    return USER_RANGE_M * max(1.0, dilution if dilution is not None else 0.0)


class ReceiverPair:
    """`satellites2.failed`, `satellites2.apart`, `satellites2.apart_most`."""

    indexes = tuple(INDEX[name] for name in ("satellites2.failed", "satellites2.apart", "satellites2.apart_most"))

    def __init__(self, aircraft: Aircraft) -> None:
        self._aircraft = aircraft
        self._seen = (0, 0)
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[bool, float | None, float | None] | None:
        """Return whether one of two failed, how far apart they are and may be in m; None with one only."""
        receivers = self._aircraft.receivers
        first, second = receivers.first, receivers.second
        if not (first.had_fix and second.had_fix):
            return None
        seen = (first.stream.count, second.stream.count)
        if seen == self._seen:
            return None
        self._seen = seen
        gives = (first.gives_place(now_us), second.gives_place(now_us))
        if not all(gives):
            return any(gives), None, None
        if not (
            is_place(first.latitude_deg, first.longitude_deg)
            and is_place(second.latitude_deg, second.longitude_deg)
        ):
            return False, None, None
        around = Around(first.latitude_deg, first.longitude_deg)
        apart_m, _ = around.to(second.latitude_deg, second.longitude_deg)
        between_s = abs(first.stream.time_us - second.stream.time_us) / US
        speeds = [speed for speed in (first.speed_m_s, second.speed_m_s) if speed is not None]
        # the later half of a second: receivers are not asked at the same moment, and are late by different times
        moved_m = max(speeds, default=0.0) * (between_s + 0.5)
        most_m = SIGMAS * math.hypot(place_sd_m(first), place_sd_m(second)) + ANTENNAS_M + moved_m
        return False, apart_m, most_m
