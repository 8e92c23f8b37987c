"""Message tables: pymavlink's dialect `all`, and what it lacks of the standard.

Fields are in wire order: the base fields by size, then the extensions in the order of their definition
(https://mavlink.io/en/guide/serialization.html).
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fastcrc import crc16
from pymavlink.dialects.v20 import all as dialect

_CODES = {
    "char": "c", "uint8_t": "B", "int8_t": "b", "uint16_t": "H", "int16_t": "h", "uint32_t": "I", "int32_t": "i",
    "uint64_t": "Q", "int64_t": "q", "float": "f", "double": "d",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Field:
    """One field: its name, C type, and length if it is an array (0: a single value)."""

    name: str
    type: str
    array: int = 0

    @property
    def code(self) -> str:
        """The struct code; text is read as one string of bytes."""
        if self.type == "char":
            return f"{self.array or 1}s"
        return f"{self.array or ''}{_CODES[self.type]}"

    @property
    def size(self) -> int:
        """Bytes on the wire."""
        return struct.calcsize("<" + self.code)

    @property
    def values(self) -> int:
        """How many values `unpack` gives for it."""
        return 1 if self.type == "char" else self.array or 1


@dataclass(frozen=True, slots=True)
class MessageType:
    """One message of the standard. Lengths in bytes; `struct` reads a payload of the full length."""

    id: int
    name: str
    crc_extra: int
    base_length: int
    full_length: int
    struct: struct.Struct
    fields: tuple[Field, ...]


def crc_extra(name: str, base_fields: Sequence[Field]) -> int:
    """Return CRC_EXTRA of a message: the folded checksum of its name, types and field names.

    Source: https://mavlink.io/en/guide/serialization.html#crc_extra
    """
    crc = crc16.mcrf4xx(f"{name} ".encode())
    for field in base_fields:
        crc = crc16.mcrf4xx(f"{field.type} {field.name} ".encode(), crc)
        if field.array:
            crc = crc16.mcrf4xx(bytes([field.array]), crc)
    return (crc & 0xFF) ^ (crc >> 8)


def _message(number: int, name: str, extra: int, fields: Sequence[Field], base: int) -> MessageType:
    layout = struct.Struct("<" + "".join(field.code for field in fields))
    return MessageType(
        number, name, extra, sum(field.size for field in fields[:base]), layout.size, layout, tuple(fields)
    )


def _from_dialect(definition: Any) -> MessageType:
    types = dict(zip(definition.fieldnames, definition.fieldtypes, strict=True))
    fields = [
        Field(name, types[name], length)
        for name, length in zip(definition.ordered_fieldnames, definition.array_lengths, strict=True)
    ]
    # The dialect does not say where the extensions begin; CRC_EXTRA covers the base fields only. Where more than
    # one beginning fits, the longest base is the true one (tests compare all with the XML definitions).
    base = len(fields)
    while base > 1 and crc_extra(definition.msgname, fields[:base]) != definition.crc_extra:
        base -= 1
    return _message(definition.id, definition.msgname, definition.crc_extra, fields, base)


_F = Field
_OWN = (
    # common.xml, de1e078a: what the dialect cuts short or lacks
    _message(
        42,
        "MISSION_CURRENT",
        28,
        [
            _F("seq", "uint16_t"),
            _F("total", "uint16_t"),
            _F("mission_state", "uint8_t"),
            _F("mission_mode", "uint8_t"),
            _F("mission_id", "uint32_t"),
            _F("fence_id", "uint32_t"),
            _F("rally_points_id", "uint32_t"),
        ],
        1,
    ),
    _message(
        290,
        "ESC_INFO",
        251,
        [
            _F("time_usec", "uint64_t"),
            _F("error_count", "uint32_t", 4),
            _F("counter", "uint16_t"),
            _F("failure_flags", "uint16_t", 4),
            _F("temperature", "int16_t", 4),
            _F("index", "uint8_t"),
            _F("count", "uint8_t"),
            _F("connection_type", "uint8_t"),
            _F("info", "uint8_t"),
        ],
        9,
    ),
    _message(
        291,
        "ESC_STATUS",
        10,
        [
            _F("time_usec", "uint64_t"),
            _F("rpm", "int32_t", 4),
            _F("voltage", "float", 4),
            _F("current", "float", 4),
            _F("index", "uint8_t"),
        ],
        5,
    ),
)

MESSAGES: dict[int, MessageType] = {
    **{number: _from_dialect(definition) for number, definition in dialect.mavlink_map.items()},
    **{message.id: message for message in _OWN},
}
_BY_NAME = {message.name: message for message in MESSAGES.values()}


def by_name(name: str) -> MessageType:
    """Return the message of that name. KeyError if the standard has none."""
    return _BY_NAME[name]
