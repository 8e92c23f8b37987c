"""The control link as the aircraft tells of it, and orders seen on their way up.

Two witnesses: SYS_STATUS has a bit for the receiver (MAV_SYS_STATUS_SENSOR_RC_RECEIVER: present, enabled,
healthy), RC_CHANNELS the number of channels it gets and how strongly. Either may be silent on it, or say nothing
but zeros on an aircraft that has no receiver; so neither counts before it has once shown control that works.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import US, Readings, Stream

LOST: Final = INDEX["control.lost"]
AGE: Final = INDEX["control.age"]
BY_STATION: Final = INDEX["control.by_station"]
RADIO_AGE: Final = INDEX["radio.age"]
STATION_AGE: Final = INDEX["station.age"]
TOLD: Final = (LOST, AGE, BY_STATION)
"""What a word about the control link writes."""
RECEIVER_BIT: Final = 65536
"""MAV_SYS_STATUS_SENSOR_RC_RECEIVER"""
UNKNOWN_STRENGTH: Final = 255
HEARD_US: Final = 12 * US
"""A witness that came once a second or less often counts for so long; then it says nothing any more."""
STICKS: Final = 10
"""So many orders of sticks, and a station flies by them; fewer may be a trial of somebody's."""


class Witness:
    """One message that tells of the control link: whether it once worked by it, whether it does, when it came."""

    __slots__ = ("good", "time_us", "worked")

    def __init__(self) -> None:
        self.worked = False
        self.good = False
        self.time_us = 0

    def tell(self, *, good: bool, now_us: int) -> None:
        """Take its word."""
        self.good = good
        self.worked |= good
        self.time_us = now_us

    def lost(self, now_us: int) -> bool | None:
        """Whether it says that control is lost; None where it says nothing."""
        if not self.worked or now_us - self.time_us > HEARD_US:
            return None
        return not self.good


class Control:
    """Of one power-up."""

    __slots__ = (
        "_channels", "_sticks", "_strong", "_system", "heard", "lost_us", "radio", "reporting", "state", "station",
        "told_by",
    )  # fmt: skip

    def __init__(self) -> None:
        self._system = Witness()
        self._channels = Witness()
        self._strong = False
        """A strength over zero was seen: on this aircraft it is measured."""
        self._sticks = 0
        self.lost_us = 0
        """When control was last told to be lost; 0: never."""
        self.heard = Stream()
        """Signs of a control link that works."""
        self.state = Stream()
        self.station = Stream()
        self.radio = Stream()
        self.reporting = ""
        """The source whose radio reported last."""
        self.told_by = ""
        """The source whose radio's report the readings are of: of several, the one that hears best."""

    def system_status(self, readings: Readings, present: int, enabled: int, health: int, now_us: int) -> None:
        """Take the three masks of SYS_STATUS."""
        if present & enabled & RECEIVER_BIT:
            self._system.tell(good=bool(health & RECEIVER_BIT), now_us=now_us)
            self._judge(readings, now_us)

    def channels(self, readings: Readings, count: int, strength: int, now_us: int) -> None:
        """Take RC_CHANNELS: channels received, and strength in units of the receiver's own."""
        self._strong |= 0 < strength < UNKNOWN_STRENGTH
        self._channels.tell(good=count > 0 and (strength > 0 or not self._strong), now_us=now_us)
        self._judge(readings, now_us)

    def sticks(self, readings: Readings, now_us: int) -> None:
        """Take that a station has sent the position of its sticks."""
        self._sticks += 1
        self.heard.mark(now_us)
        readings.put(AGE, 0.0, self.heard)
        by_receiver = self._system.good or self._channels.good
        readings.put(BY_STATION, self._sticks >= STICKS and not by_receiver, self.heard)

    def hear_radio(self, readings: Readings, source: str, now_us: int) -> None:
        """Take that the radio on a source over which the aircraft comes has reported."""
        self.reporting = source
        self.radio.mark(now_us)
        readings.put(RADIO_AGE, 0.0, self.radio)

    def hear_station(self, readings: Readings, now_us: int) -> None:
        """Take that the station in charge was heard."""
        self.station.mark(now_us)
        readings.put(STATION_AGE, 0.0, self.station)

    def alive(self, now_us: int) -> bool:
        """Whether all who tell of control say that it works, and somebody does."""
        told = [lost for w in (self._system, self._channels) if (lost := w.lost(now_us)) is not None]
        return bool(told) and not any(told)

    def sure_us(self, now_us: int) -> int:
        """Return up to when all who tell of control have told of it."""
        return min(w.time_us for w in (self._system, self._channels) if w.lost(now_us) is not None)

    def _judge(self, readings: Readings, now_us: int) -> None:
        told = [lost for w in (self._system, self._channels) if (lost := w.lost(now_us)) is not None]
        if not told:
            return
        lost = any(told)
        if lost:
            self.lost_us = now_us
        self.state.mark(now_us)
        readings.put(LOST, lost, self.state)
        if not self._sticks:
            readings.put(BY_STATION, False, self.state)
        if not lost:
            self.heard.mark(now_us)
            readings.put(AGE, 0.0, self.heard)
