"""Values to frames, for simulated aircraft and tests. The watch itself never sends."""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass
from typing import Any, Final

from fastcrc import crc16

from watchkeeper.link.framing import SIGNED, V1, V2
from watchkeeper.link.tables import MESSAGES, MessageType, by_name

_LARGEST_V1_ID: Final = 255
_HEAD: Final = struct.Struct("<6B3s").pack
_V2: Final = bytes([V2])


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
        if self._version == 2:
            number, extra = definition.id.to_bytes(3, "little"), bytes([definition.crc_extra])
            frame = frame_v2(payload, self.sequence, self.system, self.component, number, extra, self._signing)
        else:
            frame = self._frame_v1(definition, payload)
        self.sequence = (self.sequence + 1) & 0xFF
        return frame

    def _frame_v1(self, message: MessageType, payload: bytes) -> bytes:
        if message.id > _LARGEST_V1_ID:
            raise ValueError(f"{message.name} has an id that MAVLink 1 cannot carry")
        payload = payload[: message.base_length]
        body = bytes([len(payload), self.sequence, self.system, self.component, message.id]) + payload
        crc = crc16.mcrf4xx(body + bytes([message.crc_extra]))
        return bytes([V1]) + body + crc.to_bytes(2, "little")


def frame_v2(
    payload: bytes,
    sequence: int,
    system: int,
    component: int,
    number: bytes,
    extra: bytes,
    signing: Signing | None = None,
) -> bytes:
    """Return a frame of version 2 around a payload of full length, whose zeros at the end are cut off.

    `number` is the message id as its three bytes on the wire, `extra` CRC_EXTRA as a byte: callers that send the
    same message often make them once.
    """
    payload = payload.rstrip(b"\0") or payload[:1]
    body = _HEAD(len(payload), 0 if signing is None else SIGNED, 0, sequence, system, component, number) + payload
    frame = _V2 + body + crc16.mcrf4xx(body + extra).to_bytes(2, "little")
    return frame if signing is None else frame + _signature(signing, frame)


def _signature(signing: Signing, frame: bytes) -> bytes:
    """Return the link, the time and the proof of a frame; the next one is 10 µs later."""
    stamp = bytes([signing.link]) + signing.timestamp.to_bytes(6, "little")
    signing.timestamp += 1
    return stamp + signature_proof(signing.key, frame, stamp)


def signature_proof(key: bytes, frame: bytes, stamp: bytes) -> bytes:
    """Return the 6 bytes that prove a frame (without its signature) and its stamp of link and time.

    Source: https://mavlink.io/en/guide/message_signing.html
    """
    return hashlib.sha256(key + frame + stamp).digest()[:6]


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
