"""Bytes to frames: MAVLink 1 and 2, through garbage, cut frames and interleaved systems.

What comes out depends on the bytes alone, never on how they were cut into calls. A frame whose checksum does
not fit (or whose message nobody knows) is given out as a whole frame only if the byte after it begins another
frame, for then its length was true; it is held until that byte has come. Otherwise its first byte was no
beginning, and the search goes on one byte further. Layout: https://mavlink.io/en/guide/serialization.html
"""

from __future__ import annotations

from typing import Final, TypeAlias

from fastcrc import crc16

from watchkeeper.link.tables import MESSAGES

V1: Final = 0xFE
V2: Final = 0xFD
GOOD: Final = 0
BAD_CHECKSUM: Final = 1
UNKNOWN: Final = 2

Frame: TypeAlias = tuple[int, int, int, int, bytes, bytes, int]
"""(system, component, sequence, message id, payload, raw bytes, status). A plain tuple: one is made a message."""

LONGEST: Final = 280  # version 2, 255 bytes of payload, signed
MAX_FEED: Final = 1 << 20
"""The most bytes taken in one call; a datagram holds 64 KiB at most."""
_SIGNED: Final = 0x01
_EXTRA: Final = {number: bytes([message.crc_extra]) for number, message in MESSAGES.items()}
_crc = crc16.mcrf4xx


class Framer:
    """Cuts one stream of bytes into frames. Counts what it could not use."""

    __slots__ = ("_buffer", "bad_checksum", "garbage_bytes", "good", "unknown")

    def __init__(self) -> None:
        self._buffer = b""
        self.good = 0
        self.bad_checksum = 0
        self.unknown = 0
        self.garbage_bytes = 0

    def feed(self, data: bytes) -> list[Frame]:
        """Take bytes, return the frames that are now complete. Never raises, whatever the bytes."""
        if not self._buffer:
            # By far the commonest call: exactly one good frame. Anything else takes the long way.
            size = len(data)
            if size >= 12 and data[0] == V2 and data[1] + 12 == size and not data[2]:
                number = data[7] | data[8] << 8 | data[9] << 16
                extra = _EXTRA.get(number)
                if extra is not None and _crc(data[1:-2] + extra) == data[-2] | data[-1] << 8:
                    self.good += 1
                    return [(data[5], data[6], data[4], number, data[10:-2], data, GOOD)]
            elif size >= 8 and data[0] == V1 and data[1] + 8 == size:
                extra = _EXTRA.get(data[5])
                if extra is not None and _crc(data[1:-2] + extra) == data[-2] | data[-1] << 8:
                    self.good += 1
                    return [(data[3], data[4], data[2], data[5], data[6:-2], data, GOOD)]
        return self._search(self._buffer + data[:MAX_FEED])

    def _search(self, data: bytes) -> list[Frame]:
        frames: list[Frame] = []
        at = 0
        end = len(data)
        while at < end:
            magic = data[at]
            if magic != V2 and magic != V1:
                at = self._skip(data, at)
                continue
            length = _frame_length(data, at, end)
            if length == 0:
                self.garbage_bytes += 1
                at += 1
                continue
            if at + length > end:
                break  # not yet complete
            frame = _read(data, at, length)
            if frame[6] == GOOD:
                self.good += 1
            elif at + length == end:
                break  # the next byte will tell whether this was a frame
            elif data[at + length] in {V1, V2}:
                if frame[6] == UNKNOWN:
                    self.unknown += 1
                else:
                    self.bad_checksum += 1
            else:
                self.garbage_bytes += 1
                at += 1
                continue
            frames.append(frame)
            at += length
        self._buffer = data[at:]
        return frames

    def _skip(self, data: bytes, at: int) -> int:
        """Return where the next beginning of a frame may be."""
        candidates = [found for magic in (b"\xfd", b"\xfe") if (found := data.find(magic, at)) >= 0]
        here = min(candidates, default=len(data))
        self.garbage_bytes += here - at
        return here


def _frame_length(data: bytes, at: int, end: int) -> int:
    """Return the length of the frame beginning at `at`, 0 if it cannot be one; too little data: more than is there."""
    if data[at] == V1:
        return data[at + 1] + 8 if at + 1 < end else LONGEST
    if at + 2 >= end:
        return LONGEST
    flags = data[at + 2]
    if flags & ~_SIGNED:
        return 0  # an incompatibility flag nobody knows: discard (serialization guide)
    return data[at + 1] + 12 + (13 if flags & _SIGNED else 0)


def _read(data: bytes, at: int, length: int) -> Frame:
    raw = data[at : at + length]
    if raw[0] == V1:
        number, body_end = raw[5], length - 2
        system, component, sequence, payload = raw[3], raw[4], raw[2], raw[6:body_end]
    else:
        number = raw[7] | raw[8] << 8 | raw[9] << 16
        body_end = raw[1] + 10
        system, component, sequence, payload = raw[5], raw[6], raw[4], raw[10:body_end]
    extra = _EXTRA.get(number)
    if extra is None:
        status = UNKNOWN
    elif _crc(raw[1:body_end] + extra) == raw[body_end] | raw[body_end + 1] << 8:
        status = GOOD
    else:
        status = BAD_CHECKSUM
    return (system, component, sequence, number, payload, raw, status)
