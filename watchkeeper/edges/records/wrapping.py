"""How a log keeps the bytes of a call, whatever they are.

A datagram of whole frames is written frame by frame. Anything else (a split frame, a damaged one, noise) matters
too: it decides when the frames around it are given out. Such bytes are wrapped into TUNNEL messages of system 0,
which other readers of logs pass over and ours unwraps: every byte of every call is kept, with its time.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from watchkeeper.link.decode import unpack
from watchkeeper.link.encode import Encoder
from watchkeeper.link.framing import V1, V2, Framer
from watchkeeper.link.recording import record
from watchkeeper.link.tables import MESSAGES, by_name

_TUNNEL: Final = by_name("TUNNEL").id
_WRAPPER_HEAD: Final = b"\0\0" + _TUNNEL.to_bytes(3, "little")
"""System 0, component 0, TUNNEL: bytes 5 to 9 of a MAVLink 2 frame. No aircraft is system 0."""
WRAPPED: Final = 0xFA57
"""Payload type of our TUNNEL messages; values above 32767 are for local use (MAVLink common.xml). They never leave
the log. One without bytes says that the stream was cut there."""
_WRAP_BYTES = 128


def whole_frames(data: bytes) -> list[bytes] | None:
    """Cut data into whole frames. None if it holds anything beside good frames and frames of unknown messages."""
    frames: list[bytes] = []
    at = 0
    while at < len(data):
        head = data[at : at + 10]
        if head[0] == V2 and len(head) == 10:
            if _is_wrapper(head):
                return None  # looks like one of our own, so it is wrapped itself
            length = head[1] + 12 + (13 if head[2] & 1 else 0)
            number = head[7] | head[8] << 8 | head[9] << 16
        elif head[0] == V1 and len(head) >= 8:
            length, number = head[1] + 8, head[5]
        else:
            return None
        frame = data[at : at + length]
        if len(frame) < length or (number in MESSAGES and not Framer().feed(frame)):
            return None
        frames.append(frame)
        at += length
    return frames


def log_records(data: bytes, time_us: int, wrapper: Encoder) -> Iterator[bytes]:
    """Yield what a log holds for the bytes of one call."""
    frames = whole_frames(data) if data else None
    if frames is None:
        for at in range(0, len(data) or 1, _WRAP_BYTES):
            part = data[at : at + _WRAP_BYTES]
            frame = wrapper.encode("TUNNEL", payload_type=WRAPPED, payload_length=len(part), payload=[*part])
            yield record(time_us, frame)
    else:
        for frame in frames:
            yield record(time_us, frame)


def unwrapped(raw: bytes) -> bytes:
    """Return what the recorder wrapped into a TUNNEL message of system 0, and any other frame as it is."""
    if not _is_wrapper(raw):
        return raw
    frames = Framer().feed(raw)
    if not frames:
        return raw
    _, _, _, number, payload, _, _ = frames[0]
    # Order on the wire: type, target system and component, length, bytes.
    kind, _, _, length, *data = unpack(number, payload)
    return bytes(data[:length]) if kind == WRAPPED else raw


def _is_wrapper(head: bytes) -> bool:
    return head[0] == V2 and head[5:10] == _WRAPPER_HEAD
