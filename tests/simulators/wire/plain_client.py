"""A plain client: pymavlink encodes what it sends and reads what comes back."""

from __future__ import annotations

from typing import Any

from pymavlink.dialects.v20 import all as dialect

from simulators.wire.received import Received, receive
from watchkeeper.link.framing import Framer

SYSTEM = 143
"""Of the aircraft."""


class PlainClient:
    """`client.encode("param_set", 143, 1, b"NAME", 2.0, 9)` is a frame; `client.read(frames)` reads messages."""

    def __init__(self, system: int = 255, component: int = 190) -> None:
        self.mav = dialect.MAVLink(None, srcSystem=system, srcComponent=component)
        self.mav.robust_parsing = False

    def encode(self, message: str, *values: Any, **more: Any) -> bytes:
        """Return a frame by pymavlink's own encoder."""
        packed = bytes(getattr(self.mav, f"{message}_encode")(*values, **more).pack(self.mav))
        self.mav.seq = (self.mav.seq + 1) % 256
        return packed

    def received(self, message: str, *values: Any, at_s: float = 0.0, **more: Any) -> Received:
        """Return the same as the aircraft's protocols get it."""
        [(system, component, _, number, payload, _, _)] = Framer().feed(self.encode(message, *values, **more))
        return receive(number, payload, system, component, at_s)

    def read(self, frames: list[bytes] | bytes) -> list[Any]:
        """Return the messages in frames. pymavlink raises for a frame that is not one."""
        data = frames if isinstance(frames, bytes) else b"".join(frames)
        return list(self.mav.parse_buffer(data) or []) if data else []
