"""The hold over home: how long it still lasts, by the aircraft's own settings and how long it has held."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.home.progress import Progress
from watchkeeper.estimate.home.returnplan import ReturnPlan

_PHASE: Final = INDEX["flight.phase"]


class HoldCountdown:
    """`return.hold_left`: known only while it holds over home, and not where it holds for ever."""

    indexes = (INDEX["return.hold_left"],)

    def __init__(
        self, readings: Readings, progress: Callable[[], Progress], plan: Callable[[], ReturnPlan]
    ) -> None:
        self._readings = readings
        self._progress = progress
        self._plan = plan
        self._told = False
        self.stream = Stream()

    def run(self, _now_us: int) -> tuple[float | None] | None:
        """Return the time left in s, None inside when it does not hold, None when that was told already."""
        left_s: float | None = None
        if self._readings.values[_PHASE] in {"returning", "landing"}:
            progress, plan = self._progress(), self._plan()
            if progress.held_s > 0.0 and "hold" not in progress.done and math.isfinite(plan.hold_s):
                left_s = max(0.0, plan.hold_s - progress.held_s)
        if left_s is None and not self._told:
            return None
        self._told = left_s is not None
        return (left_s,)
