"""Charge left in one pack: counted from a known start.

With a capacity, the start is the resting voltage on the open-circuit curve when the pack was first seen resting,
else what the gauge says, else the voltage with the load taken out; from there the aircraft's own counter of used
charge is followed where it sends one, else the current is summed. Without a capacity nothing can be counted, and
the gauge is repeated as it is.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.estimate.curve import charge_at

REST_RATE: Final = 0.2  # of the capacity an hour: avionics alone draw less, motors at idle about as much
_ANEW: Final = 0.5
_COUNTED_AH: Final = 0.05  # a counter that falls to under half of more than this was set back, not evened out
_GAP_S: Final = 10.0  # over a longer silence a summed current would be a guess


class ChargeCount:
    """Counts one pack's charge. `start` says what the count began from."""

    def __init__(self, capacity_ah: float | None, chemistry: str = "lipo") -> None:
        self.capacity_ah = capacity_ah
        self.start: str | None = None
        """"rest", "gauge", "load", or None before the first sample."""
        self._chemistry = chemistry
        self._left_ah = 0.0
        self._counter_ah: float | None = None
        self._time_us = 0

    def update(
        self,
        rest_cell_v: float | None,
        current_a: float | None,
        consumed_ah: float | None,
        gauge_pct: float | None,
        time_us: int,
    ) -> float | None:
        """Take one sample in; return the charge left in %, or None when nothing tells it."""
        if self.capacity_ah is None:
            return gauge_pct
        if self.start is None:
            if not self._begin(rest_cell_v, current_a, gauge_pct):
                return None
        else:
            self._left_ah -= self._used_ah(current_a, consumed_ah, time_us)
        self._counter_ah = consumed_ah
        self._time_us = time_us
        self._left_ah = max(0.0, min(self.capacity_ah, self._left_ah))
        return 100 * self._left_ah / self.capacity_ah

    def _begin(self, rest_cell_v: float | None, current_a: float | None, gauge_pct: float | None) -> bool:
        assert self.capacity_ah is not None
        resting = current_a is not None and abs(current_a) < REST_RATE * self.capacity_ah
        if resting and rest_cell_v is not None:
            self.start, left_pct = "rest", charge_at(rest_cell_v, self._chemistry)
        elif gauge_pct is not None:
            self.start, left_pct = "gauge", gauge_pct
        elif rest_cell_v is not None and current_a is not None:
            self.start, left_pct = "load", charge_at(rest_cell_v, self._chemistry)
        else:
            return False
        self._left_ah = left_pct / 100 * self.capacity_ah
        return True

    def _used_ah(self, current_a: float | None, consumed_ah: float | None, time_us: int) -> float:
        """Return the charge used since the last sample."""
        if consumed_ah is not None and self._counter_ah is not None:
            if consumed_ah < _ANEW * self._counter_ah and self._counter_ah > _COUNTED_AH:
                return max(0.0, consumed_ah)  # the counter began anew
            return consumed_ah - self._counter_ah  # a little less: packs in parallel even out at rest
        step_s = (time_us - self._time_us) / 1e6
        if current_a is None or not 0 <= step_s <= _GAP_S:
            return 0.0
        return current_a * step_s / 3600
