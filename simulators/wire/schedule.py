"""Which message is due when."""

from __future__ import annotations

import heapq
import math
from collections.abc import Mapping
from typing import Final

from watchkeeper.link.tables import by_name

MOST_HZ: Final = 50.0
_LEAST_HZ: Final = 1e-4
_INT32: Final = 2**31 - 1
STEADY: Final = "HEARTBEAT"
"""Kept at its rate whatever the radio and whatever stream is asked for: without it the link counts as lost."""
ALL_STREAMS: Final = 0
STREAMS: Final[Mapping[int, tuple[str, ...]]] = {
    1: ("RAW_IMU", "SCALED_IMU", "HIGHRES_IMU", "SCALED_PRESSURE", "GPS_RAW_INT"),
    2: ("SYS_STATUS", "EXTENDED_SYS_STATE", "MISSION_CURRENT", "CURRENT_MODE", "FENCE_STATUS", "ESTIMATOR_STATUS"),
    3: ("RC_CHANNELS", "SERVO_OUTPUT_RAW"),
    4: ("ESC_STATUS", "ATTITUDE_TARGET", "NAV_CONTROLLER_OUTPUT"),
    6: ("GLOBAL_POSITION_INT", "LOCAL_POSITION_NED"),
    10: ("ATTITUDE", "ATTITUDE_QUATERNION"),
    11: ("VFR_HUD",),
    12: ("BATTERY_STATUS", "WIND_COV", "VIBRATION", "SYSTEM_TIME"),
}
"""MAV_DATA_STREAM: what it names of common.xml where it names any; the rest is common practice."""
_SLACK_S: Final = 1e-6
"""Steps are sums of rounded numbers: a message is due in the step that is meant."""
_GOLDEN: Final = (math.sqrt(5) - 1) / 2


class Schedule:
    """Rates of messages by name, and what is due. A message with rate 0 is sent only when asked for.

    Each message begins at a part of its period of its own, so that not all fall into one step.
    """

    def __init__(self, rates: Mapping[str, float]) -> None:
        """KeyError for a name that the standard lacks, ValueError for a rate out of 0 to 50 Hz."""
        self._ids: Final = {by_name(name).id: name for name in rates}
        self._names: Final = tuple(rates)
        self._index: Final = {name: at for at, name in enumerate(self._names)}
        for name, hz in rates.items():
            if not 0 <= hz <= MOST_HZ:
                raise ValueError(f"{name} cannot be sent at {hz} Hz")
        self._defaults: Final = [float(hz) for hz in rates.values()]
        self._rates: Final = list(self._defaults)
        self._factor = 1.0
        self._periods_s: Final = [0.0] * len(self._names)
        self._heap: list[tuple[float, int]] = []
        self._once: dict[str, None] = {}
        self._now_s = 0.0
        for at in range(len(self._names)):
            self._plan(at)

    def name_of(self, message_id: int) -> str | None:
        """Return the name of a message if it can be sent."""
        return self._ids.get(message_id)

    def due(self, now_s: float) -> list[str]:
        """Return the names due since the last call, each once however late the call; first those asked for."""
        self._now_s = now_s
        names: list[str] = []
        if self._once:
            names.extend(self._once)
            self._once.clear()
        heap = self._heap
        until_s = now_s + _SLACK_S
        while heap and heap[0][0] <= until_s:
            due_s, at = heap[0]
            period_s = self._periods_s[at]
            next_s = due_s + period_s
            if next_s <= until_s:
                next_s += period_s * math.ceil((until_s - next_s) / period_s)
                if next_s <= until_s:  # nothing was left over by the division
                    next_s += period_s
            heapq.heapreplace(heap, (next_s, at))
            names.append(self._names[at])
        return names

    def request(self, name: str) -> None:
        """Have a message sent at the next call of `due`, once. KeyError."""
        self._once[self._names[self._index[name]]] = None

    def rate(self, name: str) -> float:
        """Return the rate in Hz as sent, 0 if off. KeyError."""
        period_s = self._periods_s[self._index[name]]
        return 1 / period_s if period_s else 0.0

    def interval_us(self, name: str) -> int:
        """Return the time between two as MESSAGE_INTERVAL tells it: -1 while off. KeyError."""
        period_s = self._periods_s[self._index[name]]
        return min(_INT32, round(period_s * 1e6)) if period_s else -1

    def set_rate(self, name: str, hz: float | None) -> None:
        """Set a rate before scaling, brought into 0 (off) to 50 Hz; None is that of the beginning. KeyError."""
        at = self._index[name]
        self._rates[at] = self._defaults[at] if hz is None else min(MOST_HZ, max(0.0, hz))
        self._plan(at)

    def set_stream(self, stream: int, hz: float) -> bool:
        """Set the rates of the messages of a MAV_DATA_STREAM. False for a stream that has none here."""
        members = self._names if stream == ALL_STREAMS else STREAMS.get(stream, ())
        members = tuple(name for name in members if name in self._index and name != STEADY)
        for name in members:
            self.set_rate(name, hz)
        return bool(members)

    def scale(self, factor: float) -> None:
        """Send all but the heartbeat at a part (or a multiple) of the rates. ValueError if not above 0."""
        if not 0 < factor < math.inf:
            raise ValueError(f"{factor} is no scale")
        self._factor = factor
        for at in range(len(self._names)):
            self._plan(at)

    def _plan(self, at: int) -> None:
        """Give a message its period; the others keep their times. What was due sooner stays so.

        Else whoever sets rates without end would keep the message from ever being sent.
        """
        hz = self._rates[at] if self._names[at] == STEADY else min(MOST_HZ, self._rates[at] * self._factor)
        period_s = 1 / max(hz, _LEAST_HZ) if hz > 0 else 0.0
        self._periods_s[at] = period_s
        before = [due_s for due_s, other in self._heap if other == at]
        self._heap = [entry for entry in self._heap if entry[1] != at]
        if period_s:
            first_s = min(before[0], self._now_s + period_s) if before else self._now_s + period_s * _phase(at)
            self._heap.append((first_s, at))
        heapq.heapify(self._heap)


def _phase(at: int) -> float:
    """Return a part of 1 far from those of the other messages, however many there are."""
    return at * _GOLDEN % 1
