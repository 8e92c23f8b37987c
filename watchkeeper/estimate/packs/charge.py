"""Charge left in one pack: counted from a known start.

With a capacity, the start is the resting voltage on the open-circuit curve when the pack was first seen resting,
else what the gauge says, else the voltage with the load taken out; from there the aircraft's own counter of used
charge is followed where it moves, else the current is summed. A gauge lower than the resting start pulls it down,
but by no more than `REST_DOUBT_V` is worth on the curve: up to 13 % on its flat part, where a voltage tells
little, 5 % where it is steep, so that a gauge stuck at nothing does not end the flight. A higher gauge lifts
nothing: a half used pack put in as full is the dearer mistake.

A hole in which neither counter nor current told is drawn at the last smoothed current, with a wider doubt; one too
long for that begins anew. Without a capacity, or when counter and current never told, nothing can be counted, and
the gauge is repeated as it is.
"""

from __future__ import annotations

import math
from typing import Final

from watchkeeper.estimate.packs.curve import PUBLISHED, Curve

REST_RATE: Final = 0.2  # of the capacity an hour: avionics alone draw less, motors at idle about as much
REST_DOUBT_V: Final = 0.05  # two standard deviations of one sample of a cell's voltage
UNTOLD_S: Final = 10.0  # hover empties a heavy multirotor in 8 to 10 minutes: this is 2 %, within the usual doubt
LONGEST_HOLE_S: Final = 300.0  # half such a flight: a guess over more is worth less than a start anew
HOLE_DOUBT: Final = 0.3  # of what a hole is taken to have used, one standard deviation
RESTART_DOUBT_PCT: Final = 5.0  # a gauge or a voltage under load, in flight: 20 mV on the flat of the curve
EVEN_AH: Final = 0.05  # packs in parallel even out by less; also what a counter may run ahead between samples
EVEN_SHARE: Final = 0.01  # of the capacity: what all evening out may give back
MOST_RATE: Final = 60.0  # of the capacity an hour: no flight pack gives more for long
_AHEAD: Final = 2.0  # a counter and a current that differ by more do not measure the same
_SMOOTH_S: Final = 20.0  # gusts and corrections average out over this; a change of load shows soon enough


class ChargeCount:
    """Counts one pack's charge. `start` says what the count began from."""

    def __init__(self, capacity_ah: float | None, curve: Curve = PUBLISHED["lipo"]) -> None:
        self.capacity_ah = capacity_ah
        self.start: str | None = None
        """"rest", "gauge", "load", or None before the first sample."""
        self.usual_a: float | None = None
        """The current, smoothed."""
        self.drawn_ah = 0.0
        """Drawn in all since the count began."""
        self.begun = 0
        """How often the count began."""
        self._curve = curve
        self._left_ah = 0.0
        self._counted = False
        self._told_us = 0
        """When counter or current last told what is used."""
        self._counter_ah: float | None = None
        self._counter_us = 0
        self._since_ah = 0.0
        """Drawn from the count since the counter last moved."""
        self._odd: tuple[float, int] | None = None
        """A counter value that cannot follow the last one, and its time: ignored unless the next bears it out."""
        self._hole_ah = 0.0
        self._evened_ah = 0.0
        self._restart_pct = 0.0
        self._current_us = 0

    @property
    def doubt_pct(self) -> float:
        """Standard deviation that holes add to the count, in % of the capacity."""
        if self.capacity_ah is None:
            return 0.0
        return math.hypot(self._restart_pct, 100 * HOLE_DOUBT * self._hole_ah / self.capacity_ah)

    @property
    def counter_ah(self) -> float | None:
        """The aircraft's own counter of used charge, as it last told it."""
        return self._counter_ah

    def update(
        self,
        rest_cell_v: float | None,
        current_a: float | None,
        consumed_ah: float | None,
        gauge_pct: float | None,
        time_us: int,
    ) -> float | None:
        """Take one sample in; return the charge left in %, or None when nothing tells it."""
        capacity_ah = self.capacity_ah
        if capacity_ah is None:
            return gauge_pct
        known = True
        if self.start is not None:
            known = self._count(capacity_ah, current_a, consumed_ah, gauge_pct, time_us)
        if self.start is None:
            if not self._begin(capacity_ah, rest_cell_v, current_a, gauge_pct):
                return None
            self._told_us = self._counter_us = time_us
            self._counter_ah, self._since_ah, self._odd = consumed_ah, 0.0, None
            self._counted = current_a is not None
        self._smooth(current_a, time_us)
        self._left_ah = max(0.0, min(capacity_ah, self._left_ah))
        return 100 * self._left_ah / capacity_ah if known else None

    def _begin(
        self, capacity_ah: float, rest_cell_v: float | None, current_a: float | None, gauge_pct: float | None
    ) -> bool:
        resting = current_a is not None and abs(current_a) < REST_RATE * capacity_ah
        if resting and rest_cell_v is not None:
            self.start, left_pct = "rest", self._curve.charge_at(rest_cell_v)
            if gauge_pct is not None:
                least_pct = self._curve.charge_at(rest_cell_v - REST_DOUBT_V)
                left_pct = min(left_pct, max(gauge_pct, least_pct))
        elif gauge_pct is not None:
            self.start, left_pct = "gauge", gauge_pct
        elif rest_cell_v is not None and current_a is not None:
            self.start, left_pct = "load", self._curve.charge_at(rest_cell_v)
        else:
            return False
        self._left_ah = left_pct / 100 * capacity_ah
        self.begun += 1
        return True

    def _count(
        self,
        capacity_ah: float,
        current_a: float | None,
        consumed_ah: float | None,
        gauge_pct: float | None,
        time_us: int,
    ) -> bool:
        """Take off what was used; return whether the count still holds. It clears `start` to begin anew."""
        hole_s = max(0.0, (time_us - self._told_us) / 1e6)
        used_ah = self._by_counter(capacity_ah, current_a, consumed_ah, time_us)
        if used_ah is not None:
            self._since_ah = self._hole_ah = 0.0
        elif current_a is None:
            if not self._counted and gauge_pct is not None:
                self.drawn_ah += self._left_ah - gauge_pct / 100 * capacity_ah
                self._left_ah, self._told_us = gauge_pct / 100 * capacity_ah, time_us
                return True
            return hole_s <= UNTOLD_S
        elif hole_s > LONGEST_HOLE_S:
            self.start, self._restart_pct, self._hole_ah = None, RESTART_DOUBT_PCT, 0.0
            return True
        else:
            used_ah = self._by_current(capacity_ah, current_a, hole_s)
            self._since_ah += used_ah
        self._left_ah -= used_ah
        self.drawn_ah += used_ah
        self._told_us, self._counted = time_us, True
        return True

    def _by_current(self, capacity_ah: float, current_a: float, hole_s: float) -> float:
        """Return what the current used since the last sample that told, in Ah."""
        if hole_s > UNTOLD_S:
            used_ah = max(self.usual_a or 0.0, current_a) * hole_s / 3600  # the dearer of before and after
            self._hole_ah += used_ah
            return used_ah
        used_ah = current_a * hole_s / 3600
        if used_ah < 0:
            used_ah = -min(-used_ah, EVEN_SHARE * capacity_ah - self._evened_ah)
            self._evened_ah -= used_ah
        return used_ah

    def _by_counter(
        self, capacity_ah: float, current_a: float | None, consumed_ah: float | None, time_us: int
    ) -> float | None:
        """Return what the counter says was used and is not yet taken off; None where it does not tell.

        One that stands still does not tell: some aircraft send 0 for ever. What its current used meanwhile is not
        given back when it moves again, beyond evening out.
        """
        if consumed_ah is None:
            return None
        if self._counter_ah is None:
            self._counter_ah, self._counter_us, self._since_ah = consumed_ah, time_us, 0.0
            return None
        step_ah, elapsed_us = consumed_ah - self._counter_ah, time_us - self._counter_us
        most_a = MOST_RATE * capacity_ah
        likely_a = most_a
        if current_a is not None:
            likely_a = min(most_a, _AHEAD * max(current_a, self.usual_a or 0.0, REST_RATE * capacity_ah))
        odd = self._odd
        if _follows(step_ah, likely_a, elapsed_us):
            used_ah = max(-EVEN_AH, step_ah - self._since_ah)
        elif odd is None or not _follows(consumed_ah - odd[0], most_a, time_us - odd[1]):
            self._odd = consumed_ah, time_us
            return None
        elif 0 < step_ah <= capacity_ah:  # told twice, and a pack can hold as much
            used_ah = max(-EVEN_AH, step_ah - self._since_ah)
        elif _follows(consumed_ah, most_a, elapsed_us):  # it began anew: what it now shows was used since
            used_ah = max(0.0, consumed_ah - self._since_ah)
        else:  # set to another number: up to that the current served
            used_ah = consumed_ah - odd[0]
        self._counter_ah, self._counter_us, self._odd = consumed_ah, time_us, None
        return used_ah if step_ah else None

    def _smooth(self, current_a: float | None, time_us: int) -> None:
        if current_a is None:
            return
        step_s = max(0.0, (time_us - self._current_us) / 1e6)
        self._current_us = time_us
        if self.usual_a is None:
            self.usual_a = current_a
        self.usual_a += (current_a - self.usual_a) * (1 - math.exp(-step_s / _SMOOTH_S))


def _follows(step_ah: float, most_a: float, elapsed_us: int) -> bool:
    """Return whether a counter can have made this step in this time."""
    return -EVEN_AH <= step_ah <= EVEN_AH + most_a * max(0, elapsed_us) / 3.6e9
