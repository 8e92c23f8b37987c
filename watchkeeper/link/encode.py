"""Values to frames, for simulated aircraft and tests. The watch itself never sends."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

from fastcrc import crc16

from watchkeeper.link.framing import V1, V2
from watchkeeper.link.tables import MESSAGES, MessageType, by_name

_LARGEST_V1_ID = 255


@dataclass(slots=True)
class Signing:
    """Message signing: a key of 32 bytes, a link id, and the time of the next frame in 10 µs since 2015-01-01."""

    key: bytes
    link: int = 0
    timestamp: int = 1


class Encoder:
    """Encodes for one component, counting its sequence."""

    def __init__(self, system: int, component: int, version: int = 2, signing: Signing | None = None) -> None:
        self.system = system
        self.component = component
        self.sequence = 0
        self._version = version
        self._signing = signing

    def encode(self, message: str | int, **fields: Any) -> bytes:
        """Return one frame. Fields not given are zero.

        KeyError for a message or field that the tables lack; struct.error for a value that does not fit;
        ValueError for a message that version 1 cannot carry.
        """
        definition = by_name(message) if isinstance(message, str) else MESSAGES[message]
        payload = pack(definition, fields)
        frame = self._frame_v2(definition, payload) if self._version == 2 else self._frame_v1(definition, payload)
        self.sequence = (self.sequence + 1) & 0xFF
        return frame

    def _frame_v1(self, message: MessageType, payload: bytes) -> bytes:
        if message.id > _LARGEST_V1_ID:
            raise ValueError(f"{message.name} has an id that MAVLink 1 cannot carry")
        payload = payload[: message.base_length]
        body = bytes([len(payload), self.sequence, self.system, self.component, message.id]) + payload
        crc = crc16.mcrf4xx(body + bytes([message.crc_extra]))
        return bytes([V1]) + body + crc.to_bytes(2, "little")

    def _frame_v2(self, message: MessageType, payload: bytes) -> bytes:
        payload = payload[:1] + payload[1:].rstrip(b"\0")
        flags = 0 if self._signing is None else 1
        head = bytes([len(payload), flags, 0, self.sequence, self.system, self.component])
        body = head + message.id.to_bytes(3, "little") + payload
        crc = crc16.mcrf4xx(body + bytes([message.crc_extra]))
        frame = bytes([V2]) + body + crc.to_bytes(2, "little")
        return frame if self._signing is None else frame + self._signature(self._signing, frame)

    @staticmethod
    def _signature(signing: Signing, frame: bytes) -> bytes:
        """Return the 13 bytes of https://mavlink.io/en/guide/message_signing.html."""
        stamp = bytes([signing.link]) + signing.timestamp.to_bytes(6, "little")
        signing.timestamp += 1
        return stamp + hashlib.sha256(signing.key + frame + stamp).digest()[:6]


def pack(message: MessageType, fields: dict[str, Any]) -> bytes:
    """Return the full payload of a message. KeyError for a field that it does not have."""
    left = dict(fields)
    values: list[Any] = []
    for field in message.fields:
        value = left.pop(field.name, None)
        if field.type == "char":
            values.append(b"" if value is None else value.encode() if isinstance(value, str) else value)
        elif field.array:
            given = [] if value is None else list(value)
            values.extend(given + [0] * (field.array - len(given)))
        else:
            values.append(0 if value is None else value)
    if left:
        raise KeyError(f"{message.name} has no field {', '.join(left)}")
    return message.struct.pack(*values)
