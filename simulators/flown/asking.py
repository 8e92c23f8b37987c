"""A ground station that asks for all parameters, and how they are coded, and again for what got lost."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from simulators.wire.packing import Sender, kind
from simulators.wire.received import AUTOPILOT
from watchkeeper.link.decode import named

STATION: Final = (255, 190)
"""System and component of a ground station."""
FIRST_S: Final = 1.0
_AGAIN_S: Final = 2.0
_LAST_S: Final = 60.0
"""Then it gives up: somebody who stands out of range does not go on asking."""
_SYSTEM_AT: Final = 5
_NUMBER_AT: Final = slice(7, 10)
_HEADER: Final = 10
_LIST: Final = kind("PARAM_REQUEST_LIST")
_READ: Final = kind("PARAM_REQUEST_READ")
_VALUE: Final = kind("PARAM_VALUE")
_VERSION: Final = kind("AUTOPILOT_VERSION")
_COMMAND: Final = kind("COMMAND_LONG")
_REQUEST_MESSAGE: Final = 512
"""MAV_CMD_REQUEST_MESSAGE"""


class Asking:
    """Asks one aircraft. `look` at whatever is heard, and send what comes of it."""

    def __init__(self, system: int) -> None:
        self.missing: set[int] | None = None
        """Indexes still to come; None while nothing has come."""
        self._told = False
        """Whether it has told how its parameters are coded."""
        self._system = system
        self._sender = Sender(*STATION)
        self._heard_s = FIRST_S - _AGAIN_S

    def look(self, now_s: float, frames: Iterable[bytes]) -> list[bytes]:
        """Take the frames that were heard and return those to send."""
        for frame in frames:
            if frame[_SYSTEM_AT] != self._system:
                continue
            self._told = self._told or frame[_NUMBER_AT] == _VERSION.number
            if frame[_NUMBER_AT] == _VALUE.number:
                value = named(_VALUE.id, frame[_HEADER : _HEADER + frame[1]])
                if self.missing is None:
                    self.missing = set(range(value["param_count"]))
                self.missing.discard(value["param_index"])
                self._heard_s = now_s
        if (self.missing == set() and self._told) or now_s > _LAST_S or now_s - self._heard_s < _AGAIN_S:
            return []
        self._heard_s = now_s
        pack, to = self._sender.frame, (self._system, AUTOPILOT)
        coded = pack(_COMMAND, float(_VERSION.id), *(0.0,) * 6, _REQUEST_MESSAGE, *to, 0)
        asked = [] if self._told else [coded]
        if self.missing is None:
            return [*asked, pack(_LIST, *to)]
        return asked + [pack(_READ, at, *to, b"") for at in sorted(self.missing)[:10]]
