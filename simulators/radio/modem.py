"""What a radio's firmware keeps of its own hearing, and what the far end told it: the numbers of its report.

Levels are in the firmware's steps of 1/1.9 dB above -127 dBm, smoothed by packet: the signal keeps 7/8, the noise
3/4 of the old. The signal is measured with the noise in it. A radio that hears nothing keeps its last signal; what
the far end told stands too until it has been silent for some seconds, then it is zero (from memory).
"""

from __future__ import annotations

import math
from typing import Final

STEPS_PER_DB: Final = 1.9
ZERO_DBM: Final = -127.0
MOST_STEPS: Final = 254
"""255 stands for unknown (MAVLink, RADIO_STATUS)."""
FORGETS_S: Final = 3.0
_SIGNAL_KEPT: Final = 7.0 / 8.0
_NOISE_KEPT: Final = 3.0 / 4.0
_COUNTER: Final = 0xFFFF


def steps(dbm: float) -> float:
    """Return a level in the firmware's steps, 0 to 254 (approximate, says its guide)."""
    return min(max(STEPS_PER_DB * (dbm - ZERO_DBM), 0.0), float(MOST_STEPS))


class Modem:
    """One end's radio."""

    __slots__ = ("errors", "fixed", "heard_s", "noise", "remote_noise", "remote_rssi", "rssi")

    def __init__(self) -> None:
        self.rssi = self.noise = self.remote_rssi = self.remote_noise = 0.0
        self.errors = self.fixed = 0
        self.heard_s = -math.inf
        """When it last heard the other end, s."""

    def listen(self, noise_dbm: float) -> None:
        """Measure the noise between packets."""
        now = steps(noise_dbm)
        self.noise = now + _NOISE_KEPT * (self.noise - now) if self.noise else now

    def hear(self, now_s: float, signal_dbm: float, noise_dbm: float, far: Modem) -> None:
        """Take a packet of the other end, with its measurements in it."""
        total = 10.0 ** (0.1 * signal_dbm) + 10.0 ** (0.1 * noise_dbm)
        level = steps(10.0 * math.log10(total))
        self.rssi = level + _SIGNAL_KEPT * (self.rssi - level) if self.rssi else level
        self.remote_rssi, self.remote_noise = far.rssi, far.noise
        self.heard_s = now_s

    def miss(self, now_s: float, *, noticed: bool) -> None:
        """Get a packet spoiled, `noticed` or not, or none at all."""
        if noticed:
            self.errors = (self.errors + 1) & _COUNTER
        if now_s - self.heard_s > FORGETS_S:
            self.remote_rssi = self.remote_noise = 0.0

    def mend(self) -> None:
        """Count a packet that its code has put right."""
        self.fixed = (self.fixed + 1) & _COUNTER
