"""Whether one pack's connection, or its monitor's, holds: what it gives vanishes for moments and comes back.

Three things count as an opening: the voltage vanishes (0 V, not told) and returns; the current vanishes while the
other packs go on carrying, and returns; its reports stay away while those of other packs go on coming. Which of
pack, plug and sensor wire it is, nobody can tell from these, and all three end with a landing. One that stays away
is told elsewhere (packs out). A monitor whose report does not change by one digit under load is frozen.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.readings import US

LEAST_V: Final = 1.0
LEAST_A: Final = 5.0
"""The load must be so much, or motors idle and offsets decide."""
CARRIES: Final = 0.25
"""Of what the others carry: twice unequal packs share no worse (Kirchhoff at 1 to 3 mohm a cell)."""
GIVES_NOTHING: Final = 0.04
"""Of what the others carry: noise and offset of a sensor near zero."""
UNLOADED: Final = 0.01
"""A pack whose load really goes rises by more than this: at 3 C and 15 mohm for 12 cells by 2 % (V = E - R I)."""
COUNTED_US: Final = 60 * US
"""Openings are counted over so long."""
FROZEN_US: Final = 10 * US
FROZEN_REPORTS: Final = 10
"""Neither voltage, current nor what is used changes by a digit: in flight not even for two reports."""
_GAP: Final = 6
"""Rounds of the others' reports without one of this pack; a link that loses three in ten does it once in hours."""
_SETTLED: Final = 8
_MOST: Final = 32


class Sample(NamedTuple):
    """One report of one monitor; None is unknown. V, A, Ah, %, degC; state and faults as MAVLink numbers them."""

    voltage_v: float | None
    current_a: float | None
    gauge_pct: float | None
    consumed_ah: float | None = None
    temperature_degc: float | None = None
    cells_v: Sequence[float] = ()
    charge_state: int = 0
    """MAV_BATTERY_CHARGE_STATE"""
    faults: int = 0
    """MAV_BATTERY_FAULT"""


_HOLDS, _DOUBTED, _GONE = range(3)


class Connection:
    """What was seen of one pack's connection in this flight."""

    __slots__ = (
        "_others", "_reports", "_same", "_same_us", "_state", "_times_us", "_told_v", "_usual_a", "_usual_others",
        "carried", "frozen",
    )  # fmt: skip

    def __init__(self) -> None:
        self._times_us: deque[int] = deque(maxlen=_MOST)
        self.carried = False
        """It has carried its part in this flight."""
        self.frozen = False
        """Its reports have not changed by a digit under load."""
        self._begin()

    def _begin(self) -> None:
        self._state = _HOLDS
        self.carried = False
        self._told_v = False
        self._usual_a = 0.0
        self._others = 0
        self._usual_others = 0.0
        self._reports = 0
        self._same = self._same_us = 0
        self.frozen = False

    def opens(self, now_us: int) -> int:
        """Return how often it opened and came back within the last minute."""
        times_us = self._times_us
        while times_us and now_us - times_us[0] > COUNTED_US:
            times_us.popleft()
        return len(times_us)

    def other(self, current_a: float | None) -> None:
        """Take it that another pack has reported, with its current."""
        self._others += 1
        if self._state == _DOUBTED and current_a is not None:
            # only if the load went on after it vanished; else the motors just idled
            self._state = _GONE if current_a >= LEAST_A else _HOLDS

    def take(self, before: Sample, sample: Sample, others_a: Sequence[float], flying: bool, now_us: int) -> None:
        """Take this pack's report in, after the one before, with the others' present currents."""
        if not flying:
            if self._reports:
                self._begin()
            return
        self._look_for_a_gap(now_us)
        self._look_for_the_load(before, sample, others_a, now_us)
        loaded = sample.current_a is not None and sample.current_a >= LEAST_A
        if loaded and sample == before:
            self._same += 1
            self.frozen = self._same >= FROZEN_REPORTS and now_us - self._same_us >= FROZEN_US
        else:
            self._same, self._same_us, self.frozen = 0, now_us, False

    def _look_for_a_gap(self, now_us: int) -> None:
        self._reports += 1
        others, self._others = self._others, 0
        if self._reports > _SETTLED and self._usual_others and others >= _GAP * max(1.0, self._usual_others):
            self._times_us.append(now_us)
            return
        if self._reports > 1:
            self._usual_others += (others - self._usual_others) / min(self._reports - 1, _SETTLED)

    def _look_for_the_load(self, before: Sample, sample: Sample, others_a: Sequence[float], now_us: int) -> None:
        volts, amps = sample.voltage_v, sample.current_a
        if volts is None or volts < LEAST_V:
            if self._told_v:
                self._state = _GONE
            return
        self._told_v = True
        if amps is None:
            if self._state == _GONE and not self.carried:  # its current is never told
                self._come_back(now_us)
            return
        usual_a = sum(others_a) / len(others_a) if others_a else self._usual_a
        if amps > 0.0:
            self._usual_a += (amps - self._usual_a) / _SETTLED
        if usual_a < LEAST_A:
            self._state = _HOLDS if self._state == _DOUBTED else self._state
        elif amps >= CARRIES * usual_a:
            if self._state == _GONE:
                self._come_back(now_us)
            self._state = _HOLDS
            self.carried = True
        elif self._state == _HOLDS and self.carried:
            if others_a:
                self._state = _DOUBTED if amps <= GIVES_NOTHING * usual_a else _HOLDS
            elif amps == 0.0 and before.voltage_v is not None and volts < before.voltage_v * (1.0 + UNLOADED):
                self._state = _GONE  # the voltage says that the load is still there

    def _come_back(self, now_us: int) -> None:
        self._times_us.append(now_us)
        self._state = _HOLDS
