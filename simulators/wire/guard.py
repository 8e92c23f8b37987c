"""Refuses frames that are not signed with the key, or are signed frames played again.

https://mavlink.io/en/guide/message_signing.html
"""

from __future__ import annotations

import hmac
from typing import Final

from watchkeeper.link.encode import Signing, signature_proof
from watchkeeper.link.framing import SIGNATURE, SIGNED, V2

RADIO_STATUS: Final = 109
"""Made by the radio, which has no key; customarily taken unsigned."""
MOST_LATE: Final = 6_000_000
"""A stream not yet heard may be this far behind our time: one minute in 10 µs."""
MOST_STREAMS: Final = 256


class Guard:
    """Checks frames against the key and the time of one `Signing`, which the sender goes on using."""

    def __init__(self, signing: Signing) -> None:
        self._signing = signing
        self._last: Final[dict[tuple[int, int, int], int]] = {}

    def allows(self, system: int, component: int, message_id: int, raw: bytes) -> bool:
        """Tell whether a whole frame may be taken. A good one is remembered, so that it cannot come again."""
        if raw[0] != V2 or not raw[2] & SIGNED:
            return message_id == RADIO_STATUS
        frame, stamp, proof = raw[:-SIGNATURE], raw[-SIGNATURE:-6], raw[-6:]
        if not hmac.compare_digest(proof, signature_proof(self._signing.key, frame, stamp)):
            return False
        stream = (system, component, stamp[0])
        time = int.from_bytes(stamp[1:], "little")
        last = self._last.get(stream)
        if last is None:
            if len(self._last) >= MOST_STREAMS or time < self._signing.timestamp - MOST_LATE:
                return False
        elif time <= last:
            return False
        self._last[stream] = time
        self._signing.timestamp = max(self._signing.timestamp, time)
        return True
