"""One message that came in, and whom it is for."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from watchkeeper.link import decode
from watchkeeper.link.tables import MESSAGES, MessageType

AUTOPILOT: Final = 1
"""MAV_COMP_ID_AUTOPILOT1."""


@dataclass(frozen=True, slots=True)
class Received:
    """A message with its values in wire order (`decode.unpack`), who sent it, and when it came."""

    number: int
    payload: bytes
    values: tuple[Any, ...]
    system: int
    component: int
    now_s: float

    def named(self) -> dict[str, Any]:
        """Return the values by name."""
        return decode.named(self.number, self.payload)

    def meant_for(self, system: int, component: int) -> bool:
        """Tell whether it is for that component: by name, or for all (0). A message without address is for all."""
        where_system, where_component = _ADDRESSES[self.number]
        if where_system is not None and self.values[where_system] not in (0, system):
            return False
        return where_component is None or self.values[where_component] in (0, component)


Handler: TypeAlias = Callable[[Received], Iterable[bytes]]
"""Takes a message, returns the frames that answer it."""


def receive(number: int, payload: bytes, system: int, component: int, now_s: float) -> Received:
    """Return a message whose id the tables have."""
    return Received(number, payload, decode.unpack(number, payload), system, component, now_s)


def text(raw: bytes) -> str:
    """Return a name off the wire: up to its NUL, ASCII or nothing."""
    try:
        return raw.split(b"\0", 1)[0].decode("ascii")
    except UnicodeDecodeError:
        return ""


def _address(message: MessageType) -> tuple[int | None, int | None]:
    """Return where among the values the target system and the target component stand."""
    system = component = None
    at = 0
    for field in message.fields:
        if field.name in ("target_system", "target"):
            system = at
        elif field.name == "target_component":
            component = at
        at += field.values
    return system, component


_ADDRESSES: Final = {number: _address(message) for number, message in MESSAGES.items()}
