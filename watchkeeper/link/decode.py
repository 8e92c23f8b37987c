"""Payloads to values, by precompiled structs."""

from __future__ import annotations

from typing import Any, Final

from watchkeeper.link.tables import MESSAGES

_UNPACKERS: Final = {number: (message.struct.unpack, message.full_length) for number, message in MESSAGES.items()}


def unpack(message_id: int, payload: bytes) -> tuple[Any, ...]:
    """Return the values of a payload in wire order, arrays flattened, text as bytes.

    Zeros cut off by version 2 (or extensions that version 1 does not carry) are filled in; bytes of newer
    extensions are left out. KeyError for a message that no table has.
    """
    read, length = _UNPACKERS[message_id]
    size = len(payload)
    if size == length:
        return read(payload)
    if size < length:
        return read(payload.ljust(length, b"\0"))
    return read(payload[:length])


def named(message_id: int, payload: bytes) -> dict[str, Any]:
    """Return the values by name: arrays as lists, text as str up to its NUL. For tests and tools."""
    values = unpack(message_id, payload)
    result: dict[str, Any] = {}
    at = 0
    for field in MESSAGES[message_id].fields:
        taken = values[at : at + field.values]
        at += field.values
        if field.type == "char":
            result[field.name] = text(taken[0])
        else:
            result[field.name] = list(taken) if field.array else taken[0]
    return result


def text(raw: bytes) -> str:
    """Return wire text up to its NUL; bytes that are not UTF-8 are replaced."""
    return raw.split(b"\0", 1)[0].decode("utf-8", "replace")
