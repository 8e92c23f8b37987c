"""Throttle, as the heads-up message tells it."""

from __future__ import annotations

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import Aircraft


class Throttle:
    """`motors.throttle`."""

    indexes = (INDEX["motors.throttle"],)

    def __init__(self, aircraft: Aircraft) -> None:
        self.stream = Stream()
        self._aircraft = aircraft
        self._seen = 0

    def run(self, _now_us: int) -> tuple[float | None] | None:
        """Return the throttle in %; None inside where it is not told."""
        streams = self._aircraft.streams
        seen = streams.hud.count + streams.high_latency.count
        if seen == self._seen:
            return None
        self._seen = seen
        throttle = self._aircraft.seen.throttle_pct
        return (None if throttle is None else float(throttle),)
