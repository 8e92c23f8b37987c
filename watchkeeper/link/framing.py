"""Bytes to frames: MAVLink 1 and 2, through garbage, cut frames and interleaved systems.

What comes out, and after which byte, depends on the bytes alone, never on how they were cut into calls:

- A frame with the right checksum is given out with its last byte.
- A candidate with a wrong checksum, or of a message nobody knows, is held until the byte after it has come. It
  was a whole frame if that byte begins another one (for then its length was true) and no good frame lies inside
  it. If a good frame lies inside, the search goes on there; else one byte further.
- A version 2 candidate with an incompatibility flag nobody knows is no frame.

There is no rule for the end of a datagram: the last candidate of one stays held until the next byte of its source.
Never more than one candidate (280 bytes) is held, so that a false beginning delays later frames by no more.
Layout: https://mavlink.io/en/guide/serialization.html
"""

from __future__ import annotations

import re
from typing import Final, TypeAlias

from fastcrc import crc16

from watchkeeper.link.tables import MESSAGES

V1: Final = 0xFE
V2: Final = 0xFD
_MAGICS: Final = (V1, V2)
GOOD: Final = 0
BAD_CHECKSUM: Final = 1
UNKNOWN: Final = 2

Frame: TypeAlias = tuple[int, int, int, int, bytes, bytes, int]
"""(system, component, sequence, message id, payload, raw bytes, status). A plain tuple: one is made a message."""

LONGEST: Final = 280
"""Bytes of the longest frame: version 2, 255 bytes of payload, signed."""
SIGNED: Final = 0x01
SIGNATURE: Final = 13
_V1_OVERHEAD: Final = 8
_V2_OVERHEAD: Final = 12
_EXTRA: Final = {number: bytes([message.crc_extra]) for number, message in MESSAGES.items()}
_find_magic: Final = re.compile(b"[\xfd\xfe]").search
_crc: Final = crc16.mcrf4xx


class Framer:
    """Cuts one stream of bytes into frames. Counts what it could not use."""

    __slots__ = ("_buffer", "bad_checksum", "garbage_bytes", "unknown")

    def __init__(self) -> None:
        self._buffer = b""
        self.bad_checksum = 0
        self.unknown = 0
        self.garbage_bytes = 0

    def feed(self, data: bytes) -> list[Frame]:
        """Take bytes, return the frames that are now complete. Never raises, whatever the bytes."""
        if not self._buffer:
            # By far the commonest call: exactly one good frame, unsigned. Anything else takes the long way.
            # Measured: plain indexing beats unpacking the head; one call over the body with CRC_EXTRA appended
            # beats a second call for CRC_EXTRA.
            size = len(data)
            if size >= 12 and data[0] == V2:
                if data[1] + 12 == size and not data[2]:
                    number = data[7] | data[8] << 8 | data[9] << 16
                    extra = _EXTRA.get(number)
                    if extra is not None and _crc(data[1:-2] + extra) == data[-2] | data[-1] << 8:
                        return [(data[5], data[6], data[4], number, data[10:-2], data, GOOD)]
            elif size >= 8 and data[1] + 8 == size and data[0] == V1:
                number = data[5]
                extra = _EXTRA.get(number)
                if extra is not None and _crc(data[1:-2] + extra) == data[-2] | data[-1] << 8:
                    return [(data[3], data[4], data[2], number, data[6:-2], data, GOOD)]
        return self._search(self._buffer + data)

    def cut(self) -> None:
        """Begin anew: what comes next does not continue what came last."""
        self.garbage_bytes += len(self._buffer)
        self._buffer = b""

    def _search(self, data: bytes) -> list[Frame]:
        frames: list[Frame] = []
        at = 0
        end = len(data)
        while at < end:
            magic = data[at]
            if magic not in _MAGICS:
                found = _find_magic(data, at)
                following = end if found is None else found.start()
                self.garbage_bytes += following - at
                at = following
                continue
            stop = at + frame_length(data, at)
            if stop == at:
                self.garbage_bytes += 1
                at += 1
                continue
            if stop > end:
                break  # not yet complete
            frame = read_frame(data[at:stop])
            status = frame[6]
            if status != GOOD:
                if stop == end:
                    break  # the next byte will tell whether this was a frame
                true_at = _true_beginning(data, at, stop)
                if true_at != at:
                    self.garbage_bytes += true_at - at
                    at = true_at
                    continue
                if status == UNKNOWN:
                    self.unknown += 1
                else:
                    self.bad_checksum += 1
            frames.append(frame)
            at = stop
        self._buffer = data[at:]
        return frames


def frame_length(data: bytes, at: int) -> int:
    """Return the length in bytes of the frame that begins at `at` (a magic byte), 0 if it cannot be one.

    LONGEST while too little of the head is there to tell.
    """
    head = data[at : at + 3]
    if len(head) < 3:
        return LONGEST
    if head[0] == V1:
        return head[1] + _V1_OVERHEAD
    if head[2] & ~SIGNED:
        return 0  # an incompatibility flag nobody knows: discard (serialization guide)
    return head[1] + _V2_OVERHEAD + (SIGNATURE if head[2] else 0)


def read_frame(raw: bytes) -> Frame:
    """Return the frame that `raw` is, with its status. Its length must be what `frame_length` says."""
    if raw[0] == V1:
        number, body_end = raw[5], len(raw) - 2
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


def _true_beginning(data: bytes, at: int, stop: int) -> int:
    """Return `at` if the candidate from `at` to `stop`, not good, is a whole frame; else where to search on.

    A length that was damaged or no length at all would otherwise swallow the good frames behind it.
    """
    if data[stop] not in _MAGICS:
        return at + 1
    inside = at
    while (found := _find_magic(data, inside + 1, stop)) is not None:
        inside = found.start()
        length = frame_length(data, inside)
        if 0 < length <= stop - inside and read_frame(data[inside : inside + length])[6] == GOOD:
            return inside
    return at
