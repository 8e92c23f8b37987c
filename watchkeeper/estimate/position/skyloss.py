"""What came with a fall of the satellite count: dilution, the filter's innovations, and whether it stood still.

What shades satellites stands somewhere: as long as an aircraft neither moves nor leans over, the same sky is open
to it, and a count that falls then falls by what is in the air (interference, a fault of the receiver).
"""

from __future__ import annotations

import math
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.geodesy import Around
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.estimate.position.recent import Least
from watchkeeper.estimate.position.satellites import WINDOW_US

STAYS_M: Final = 15.0
"""Something 100 m off shifts by 9 degrees against the sky over 15 m: too little to hide half of it."""
UPRIGHT: Final = math.tan(math.radians(20.0))
"""An antenna that leans further than this loses low satellites on one side (common practice: mask 10 to 15)."""
_DROP: Final = INDEX["satellites.drop"]
_HDOP: Final = INDEX["satellites.hdop"]
_SPEED_RATIO: Final = INDEX["filter.velocity_ratio"]
_PLACE_RATIO: Final = INDEX["filter.position_ratio"]
_HEIGHT: Final = INDEX["position.height"]


class SkyLoss:
    """`satellites.hdop_rise`, `satellites.still_drop`, `filter.ratio_rise`."""

    indexes = tuple(INDEX[name] for name in ("satellites.hdop_rise", "satellites.still_drop", "filter.ratio_rise"))

    def __init__(self, aircraft: Aircraft) -> None:
        self._aircraft = aircraft
        self._seen = (0, 0)
        self._dilutions = Least(WINDOW_US)
        self._ratios = Least(WINDOW_US)
        self._anchor: Around | None = None
        self._anchor_m = 0.0
        self._anchor_us = 0
        self._leant_us = 0
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None, float | None, float | None] | None:
        """Return how many times the dilution rose, the fall in % while it stood still, the rise of the ratios."""
        aircraft = self._aircraft
        readings = aircraft.readings
        seen = (aircraft.receivers.first.stream.count, aircraft.filter.stream.count)
        if seen == self._seen:
            return None
        self._seen = seen
        stays = self._stays(now_us)
        rise = still = ratio_rise = None
        dilution = readings.read(_HDOP, now_us)
        if isinstance(dilution, float) and dilution > 0:
            rise = dilution / self._dilutions.take(now_us, dilution)
        drop = readings.read(_DROP, now_us)
        if isinstance(drop, float):
            still = drop if stays else 0.0
        ratios = [
            ratio
            for index in (_SPEED_RATIO, _PLACE_RATIO)
            if isinstance(ratio := readings.read(index, now_us), float) and math.isfinite(ratio)
        ]
        if ratios:
            ratio = max(ratios)
            ratio_rise = ratio - self._ratios.take(now_us, ratio)
        return rise, still, ratio_rise

    def _stays(self, now_us: int) -> bool:
        """Tell whether for the whole window it stayed within some metres, upright."""
        aircraft, motion = self._aircraft, self._aircraft.motion
        if max(abs(motion.lean_north), abs(motion.lean_east)) > UPRIGHT:
            self._leant_us = now_us
        height_m = aircraft.readings.read(_HEIGHT, now_us)
        if aircraft.position is None or not isinstance(height_m, (float, int)):
            self._anchor = None
            return False
        if (
            self._anchor is None
            or self._anchor.to(*aircraft.position)[0] > STAYS_M
            or abs(height_m - self._anchor_m) > STAYS_M
        ):
            self._anchor, self._anchor_m, self._anchor_us = Around(*aircraft.position), height_m, now_us
        return min(now_us - self._anchor_us, now_us - self._leant_us) >= WINDOW_US
