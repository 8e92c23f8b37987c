"""Telemetry logs: before each frame its time, 8 bytes, big-endian microseconds since 1970.

Several frames may follow one time (they came in one datagram). Read as a stream, resynchronising through
damage: a record begins where a plausible time is followed by the first byte of a frame.
"""

from __future__ import annotations

from typing import Final

from watchkeeper.link.framing import V1, V2

STAMP: Final = 8
_SIGNED: Final = 0x01
_LATEST_US: Final = 1 << 52
"""Times from 1970 to the year 2112 are plausible; none begins with a byte that could begin a frame."""


class RecordingReader:
    """Cuts a log into (time_us, raw frame). Frames are cut by their length only; whether they are good is seen later."""

    __slots__ = ("_buffer", "_time_us", "skipped_bytes")

    def __init__(self) -> None:
        self._buffer = b""
        self._time_us: int | None = None
        self.skipped_bytes = 0

    def feed(self, data: bytes) -> list[tuple[int, bytes]]:
        """Take the next bytes of the log, return the records that are now complete."""
        data = self._buffer + data
        records: list[tuple[int, bytes]] = []
        at = 0
        end = len(data)
        time_us = self._time_us
        while True:
            start = at
            if time_us is None or at >= end or data[at] not in {V1, V2}:
                if at + STAMP + 3 > end:
                    break
                stamp_us = int.from_bytes(data[at : at + STAMP], "big")
                if stamp_us >= _LATEST_US or data[at + STAMP] not in {V1, V2}:
                    at = self._resync(data, at + 1)
                    time_us = None
                    continue
                time_us = stamp_us
                start = at + STAMP
            if start + 3 > end:
                break
            length = data[start + 1] + 8
            if data[start] == V2:
                length += 17 if data[start + 2] & _SIGNED else 4
            if start + length > end:
                break
            records.append((time_us, data[start : start + length]))
            at = start + length
        self._buffer = data[at:]
        self._time_us = time_us
        return records

    def _resync(self, data: bytes, at: int) -> int:
        """Return the next place a record may begin at, or so near the end that more must come."""
        begin = at - 1
        end = len(data)
        while at + STAMP + 3 <= end:
            if data[at] == 0 and data[at + STAMP] in {V1, V2}:
                break
            at += 1
        self.skipped_bytes += at - begin
        return at

    def end(self) -> int:
        """Return how many bytes at the end were no whole record (a log cut off)."""
        return len(self._buffer)


def record(time_us: int, raw: bytes) -> bytes:
    """Return one record. ValueError for a time before 1970 or beyond what a reader takes."""
    if not 0 <= time_us < _LATEST_US:
        raise ValueError(f"time {time_us} us is out of range")
    return time_us.to_bytes(STAMP, "big") + raw
