"""RADIO_STATUS: a radio's own voice in the stream, once a second, whether or not the aircraft speaks."""

from __future__ import annotations

import math
from typing import Final

from simulators.radio.channel import Channel
from simulators.radio.modem import Modem
from simulators.wire.packing import Sender, kind

SYSTEM: Final = 51
COMPONENT: Final = 68
"""MAV_COMP_ID_TELEMETRY_RADIO."""
_STATUS: Final = kind("RADIO_STATUS")
_ROUNDING: Final = 1e-6


class RadioReport:
    """The report of one end: what its radio hears, and the room in front of it for what it shall send."""

    __slots__ = ("_channel", "_modem", "_second", "_sender")

    def __init__(self, modem: Modem, channel: Channel) -> None:
        self._modem = modem
        self._channel = channel
        self._sender = Sender(SYSTEM, COMPONENT)
        self._second: float = -math.inf

    def frames(self, now_s: float) -> list[bytes]:
        """Return the report if a new second has begun since the last call."""
        second = math.floor(now_s + _ROUNDING)
        if second <= self._second:
            return []
        self._second = second
        modem = self._modem
        return [
            self._sender.frame(
                _STATUS, modem.errors, modem.fixed, round(modem.rssi), round(modem.remote_rssi),
                self._channel.free_pct, round(modem.noise), round(modem.remote_noise),
            )
        ]  # fmt: skip
