"""One monitored flight battery: what it last reported, and whether it is measured at all.

What is plainly not measured stays unknown: a monitor that reports neither current nor charge, and whose voltage
never moves, is not wired to the pack.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.connection import LEAST_V, Connection, Sample
from watchkeeper.aircraft.readings import US, Stream

__all__ = ("BLIND_ROW", "DEAD_SAMPLES", "FOLDED", "Pack", "Row", "Sample")

LEAST_MOVE_V: Final = 0.02
"""A voltage that has moved by more than this is measured: converters flicker by one step, wires not at all."""
DEAD_SAMPLES: Final = 20
"""Reports of exactly 0 A in flight until a current is taken for not measured."""
_SILENT_US: Final = (5 * US, 30 * US)
_MISSED: Final = 4

FOLDED: Final = (
    "voltage", "cell_voltage", "current", "power", "gauge_left", "consumed", "imbalance", "temperature",
)  # fmt: skip
"""Names of a pack's readings that come from messages."""

Row = tuple[
    float | None, float | None, float | None, float | None, float | None, float | None, float | None, float | None
]
"""Values of one pack in the order of FOLDED."""
BLIND_ROW: Final[Row] = (None,) * 8


class Pack:
    """One monitored pack: its last report, and whether it is measured at all."""

    __slots__ = (
        "_dead", "_filled", "_highest_v", "_lowest_v", "connection", "current_a", "first_us", "last", "number",
        "stream", "sums", "tap_wrong",
    )  # fmt: skip

    def __init__(self, number: int, now_us: int) -> None:
        self.number = number
        self.stream = Stream()
        self.first_us = now_us
        self.last = Sample(None, None, None)
        self.connection = Connection()
        self.tap_wrong = False
        """The last report had a cell's voltage that is a broken wire's."""
        self.current_a: float | None = None
        """The current of the last report, None where it is not really measured."""
        self._lowest_v = self._highest_v = 0.0
        self._dead = 0
        self._filled = False
        """Has told a current, charge or gauge other than zero."""
        self.sums = 0
        """Reports in a row whose current was the sum of all the others'."""

    def take(self, sample: Sample, flying: bool, now_us: int) -> None:
        """Take one report in."""
        self.stream.mark(now_us)
        self.last = sample
        volts, current_a = sample.voltage_v, sample.current_a
        if volts is not None and volts >= LEAST_V:
            if not self._lowest_v or volts < self._lowest_v:
                self._lowest_v = volts
            self._highest_v = max(self._highest_v, volts)
        self._filled = self._filled or bool(current_a or sample.gauge_pct or sample.consumed_ah)
        if current_a:
            self._dead = 0
        elif flying and current_a is not None and sample.gauge_pct is None:
            self._dead += 1
        # flying without a current is not possible: nothing is wired to that input
        self.current_a = None if self._dead >= DEAD_SAMPLES else current_a

    @property
    def measured(self) -> bool:
        """Whether the last report is of a pack: it tells current or charge, or its voltage has moved.

        A gauge of 0 % counts only beside something that is not zero: else nobody filled the message in, and an
        empty pack would be called out that is not there.
        """
        sample = self.last
        if self._highest_v - self._lowest_v > LEAST_MOVE_V:
            return True
        if sample.gauge_pct is not None and not self._filled:
            return False
        if sample.voltage_v is None:
            return sample.gauge_pct is not None
        told = self.current_a is not None or sample.gauge_pct is not None
        return sample.voltage_v >= LEAST_V and (told or bool(sample.consumed_ah))

    def is_silent(self, now_us: int) -> bool:
        """Whether its reports have stopped coming."""
        least_us, most_us = _SILENT_US
        return now_us - self.stream.time_us > max(least_us, min(_MISSED * self.stream.interval_us, most_us))

    def row(self, cells: int | None) -> Row:
        """Return its values in the order of FOLDED, None where unknown."""
        if not self.measured:
            return BLIND_ROW
        volts, _, gauge_pct, consumed_ah, temperature_degc, cells_v, _, _ = self.last
        current_a = self.current_a
        return (
            volts,
            volts / cells if volts is not None and cells else None,
            current_a,
            volts * current_a if volts is not None and current_a is not None else None,
            gauge_pct,
            consumed_ah,
            max(cells_v) - min(cells_v) if len(cells_v) > 1 else None,
            temperature_degc,
        )
