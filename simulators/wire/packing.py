"""Values to frames at the pace of a simulation: what can be made ready once a message is made ready once."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any, Final

from watchkeeper.link.encode import Signing, frame_v2
from watchkeeper.link.tables import MessageType, by_name


class Kind:
    """One message made ready for sending: its packer, and its fixed parts of the frame as bytes."""

    __slots__ = ("extra", "full_length", "id", "message", "name", "number", "pack")

    def __init__(self, message: MessageType) -> None:
        self.message: Final = message
        self.name: Final = message.name
        self.id: Final = message.id
        self.full_length: Final = message.full_length
        self.pack: Final[Callable[..., bytes]] = message.struct.pack
        self.number: Final = message.id.to_bytes(3, "little")
        self.extra: Final = bytes([message.crc_extra])

    def __repr__(self) -> str:
        return f"Kind({self.name})"


@cache
def kind(name: str) -> Kind:
    """Return the message of that name, ready for sending. KeyError if the standard has none."""
    return Kind(by_name(name))


class Sender:
    """Sends for one component in MAVLink 2, counting its sequence, with a signature if it has a key."""

    __slots__ = ("component", "sequence", "signing", "system")

    def __init__(self, system: int, component: int, *, signing: Signing | None = None) -> None:
        self.system = system
        self.component = component
        self.sequence = 0
        self.signing = signing

    def frame(self, of: Kind, *values: Any) -> bytes:
        """Return one frame of the values in wire order (arrays flattened, text as bytes).

        struct.error for values that do not fit; no sequence number is used up then.
        """
        payload = of.pack(*values)
        sequence = self.sequence
        self.sequence = (sequence + 1) & 0xFF
        return frame_v2(payload, sequence, self.system, self.component, of.number, of.extra, self.signing)
