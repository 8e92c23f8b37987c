"""Telemetry logs: before each frame its time, 8 bytes, big-endian microseconds since 1970.

Several frames may follow one time (they came in one datagram). Read as a stream. What it gives depends on the
bytes alone, not on how they were cut into calls:

- Where a record should begin, a time near the last one and the first byte of a frame are taken as they stand.
- A time of 0 or beyond 2112 is no time: the frame, if its checksum is right, has the last one's, or the next one's
  at the beginning of a log.
- A time more than a day from the last is a step of the clock (or a long silence) if the next time is near it;
  else it is wrong, and the frame has the last one's.
- Anything else is damage: the search goes on for a time before a frame with the right checksum.
"""

from __future__ import annotations

import re
import struct
from typing import Final

from watchkeeper.link.framing import GOOD, SIGNATURE, SIGNED, V1, V2, frame_length, read_frame

STAMP: Final = 8
LATEST_US: Final = 1 << 52
"""Times from 1970 to the year 2112 can be; none of them begins with a byte that could begin a frame."""
DAY_US: Final = 86_400_000_000
_MAGICS: Final = (V1, V2)
_MAGIC_BYTES: Final = (bytes([V1]), bytes([V2]))
_head: Final = struct.Struct(">QBBB").unpack_from  # time; magic, length, incompatibility flags
_HEAD: Final = 11
_find_record: Final = re.compile(b"\x00[\x00-\x0f].{6}[\xfd\xfe]", re.DOTALL).search


class RecordingReader:
    """Cuts a log into (time_us, raw frame). Undamaged records are cut by length; their checksum is seen later."""

    __slots__ = ("_buffer", "_in_step", "_time_us", "skipped_bytes", "wrong_times")

    def __init__(self) -> None:
        self._buffer = b""
        self._in_step = True
        """Whether the next record begins where the last one ended."""
        self._time_us = -1
        self.skipped_bytes = 0
        """Bytes of damage passed over."""
        self.wrong_times = 0
        """Frames whose own time was not used."""

    def feed(self, data: bytes) -> list[tuple[int, bytes]]:
        """Take the next bytes of the log, return the records that are now complete. Never raises."""
        data = self._buffer + data
        records: list[tuple[int, bytes]] = []
        at = 0
        end = len(data)
        time_us = self._time_us if self._in_step else -1
        while at + _HEAD <= end:
            stamp_us, magic, length, flags = _head(data, at)
            if magic == V1:
                stop = at + length + 16
            elif magic == V2:
                stop = at + length + (20 + SIGNATURE if flags & SIGNED else 20)
            else:
                stop = -1
            if stop > 0 and time_us >= 0 and -DAY_US < stamp_us - time_us < DAY_US and (stamp_us or not time_us):
                if stop > end:
                    break
                time_us = stamp_us
                records.append((stamp_us, data[at + 8 : stop]))
                at = stop
                continue
            if self._in_step:
                self._time_us = time_us
            following = self._odd(data, at, stop, records)
            time_us = self._time_us if self._in_step else -1
            if following < 0:
                break
            at = following
        if self._in_step:
            self._time_us = time_us
        self._buffer = data[at:]
        if 0 < len(self._buffer) < _HEAD:
            self._last_of_a_time(records)
        return records

    def end(self) -> int:
        """Return how many bytes at the end were no whole record (a log cut off) or had no time to trust."""
        return len(self._buffer)

    def _odd(self, data: bytes, at: int, stop: int, records: list[tuple[int, bytes]]) -> int:
        """Take what is not simply the next record; return where to go on, -1 if more must come first."""
        if self._in_step and data[at] in _MAGICS and self._time_us >= 0:  # a further frame of the same time
            length = frame_length(data, at)
            if length:
                if at + length > len(data):
                    return -1
                records.append((self._time_us, data[at : at + length]))
                return at + length
        elif stop > 0 and frame_length(data, at + STAMP):
            stamp_us = int.from_bytes(data[at : at + STAMP], "big")
            usable = self._usable(stamp_us)
            if usable or self._in_step:  # out of step only what the search would find
                if stop > len(data):
                    return -1
                raw = data[at + STAMP : stop]
                if (usable and self._in_step) or read_frame(raw)[6] == GOOD:
                    time_us = self._judge(stamp_us, data[stop : stop + STAMP])
                    if time_us < 0:
                        return -1
                    self._in_step = True
                    self._time_us = time_us
                    self.wrong_times += time_us != stamp_us
                    records.append((time_us, raw))
                    return stop
        found = _find_record(data, at + 1)
        following = max(at + 1, len(data) - _HEAD + 1) if found is None else found.start()
        self.skipped_bytes += following - at
        self._in_step = False
        return following

    def _usable(self, stamp_us: int) -> bool:
        """Whether it can be a time; 0 only in a log without a clock."""
        return 0 < stamp_us < LATEST_US or stamp_us == self._time_us

    def _judge(self, stamp_us: int, following: bytes) -> int:
        """Return the time to give a frame whose own is the first or odd; -1 if more must come first.

        `following` are the 8 bytes behind the frame, as far as they are there: the next time, unless a further
        frame of the same time follows.
        """
        usable = self._usable(stamp_us)
        first = self._time_us < 0
        if usable and (first or following[:1] in _MAGIC_BYTES or abs(stamp_us - self._time_us) < DAY_US):
            return stamp_us
        if not first and not usable:
            return self._time_us
        if len(following) < STAMP:
            return -1
        next_us = int.from_bytes(following, "big")
        if first:
            return next_us if next_us < LATEST_US else 0
        return stamp_us if abs(next_us - stamp_us) < DAY_US else self._time_us

    def _last_of_a_time(self, records: list[tuple[int, bytes]]) -> None:
        """Take a short further frame of the same time, for which the loop would wait for a longer head."""
        raw = self._buffer
        if self._in_step and self._time_us >= 0 and raw[0] in _MAGICS and frame_length(raw, 0) == len(raw):
            records.append((self._time_us, raw))
            self._buffer = b""


def record(time_us: int, raw: bytes) -> bytes:
    """Return one record. ValueError for a time before 1970 or beyond what a reader takes."""
    if not 0 <= time_us < LATEST_US:
        raise ValueError(f"time {time_us} us is out of range")
    return time_us.to_bytes(STAMP, "big") + raw
