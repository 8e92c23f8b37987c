"""Outputs and motors, as last told: what goes to each output, and what each motor controller measures.

Outputs and motors count from 0 here, from 1 in MAVLink's names and in what is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.readings import Stream

MOST: Final = 32
"""Outputs, and motors."""


class Row:
    """One quantity of each motor, or output: the last value (None: not told, or unknown), and when it came."""

    __slots__ = ("stream", "times_us", "values")

    def __init__(self) -> None:
        self.values: list[float | None] = [None] * MOST
        self.times_us = [0] * MOST
        self.stream = Stream()

    def put(self, first: int, values: Sequence[float | None], now_us: int) -> None:
        """Take the values of consecutive motors in."""
        room = values[: max(0, MOST - first)]
        count = len(room)
        if not count:
            return
        self.values[first : first + count] = room
        self.times_us[first : first + count] = [now_us] * count
        if first == 0 or not self.stream.count:
            self.stream.mark(now_us)

    def latest(self, which: Sequence[int], now_us: int, oldest_us: int) -> list[float] | None:
        """Return the values of these, or None if one of them is not known, or older than `oldest_us`."""
        found: list[float] = []
        for i in which:
            value = self.values[i]
            if value is None or now_us - self.times_us[i] > oldest_us:
                return None
            found.append(value)
        return found

    def fresh(self, which: Sequence[int], now_us: int, oldest_us: int) -> list[tuple[int, float]]:
        """Return the number (from 0) and value of those that are known and not older than `oldest_us`."""
        return [
            (i, value)
            for i in which
            if (value := self.values[i]) is not None and now_us - self.times_us[i] <= oldest_us
        ]


class Vibration:
    """VIBRATION, as last told."""

    __slots__ = ("axes_m_s2", "clipping", "stream")

    def __init__(self) -> None:
        self.stream = Stream()
        self.axes_m_s2 = (0.0, 0.0, 0.0)
        self.clipping = (0, 0, 0)
        """Accelerations that were out of the range of each accelerometer, since power-up."""


class Motors:
    """Of one power-up."""

    __slots__ = ("amps", "celsius", "failures", "outputs", "rpm", "servo_us", "vibration")

    def __init__(self) -> None:
        self.servo_us: int | None = None
        """When SERVO_OUTPUT_RAW came, which goes before ACTUATOR_OUTPUT_STATUS."""
        self.outputs = Row()
        """As sent to the outputs: microseconds of a pulse, or whatever the output counts in; 0 is unused."""
        self.rpm = Row()
        self.amps = Row()
        self.celsius = Row()
        self.failures = Row()
        """ESC_FAILURE_FLAGS."""
        self.vibration = Vibration()
