"""What a picture keeps of the past: an aircraft's track and the last minutes of its readings, both bounded."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.geodesy import Around

MOST_TRACK: Final = 300
MOST_POINTS: Final = 240
SPAN_S: Final = 600.0
"""How far back a history goes."""
RECENT: Final = 30
"""Newest samples of a history that are all kept."""
BUCKET_S: Final = 6.0
"""Of older ones the lowest and the highest of so many seconds: 30 + 2 x (600 / 6 + 1) points at most."""
GAP_S: Final = 3.0
"""Without a sample for longer, something is missing between two."""
FRESH_TRACK: Final = 60
"""Newest points of a track that are all kept."""
STIR_M: Final = 0.5
"""Moved by less it has not moved: what a receiver drifts within a second (common practice)."""

Flat = tuple[float, float]


class Row(NamedTuple):
    """One sample: engine seconds since the first frame, the value and its lower bound; None: unknown."""

    time_s: float
    value: float | None
    low: float | None = None


class Series:
    """The last ten minutes of one reading in at most MOST_POINTS points.

    What is thinned keeps what a limit is held against: of each bucket the lowest and the highest, in their order,
    and whether anything was missing in it.
    """

    __slots__ = ("_bucket", "_old", "_recent")

    def __init__(self) -> None:
        self._recent: deque[Row] = deque()
        self._bucket: list[Row] = []
        self._old: deque[Row] = deque()

    def add(self, row: Row) -> None:
        """Take the next sample; one that is not later than the last is left out."""
        recent = self._recent
        if recent:
            before_s = recent[-1].time_s
            if row.time_s <= before_s:
                return
            if row.time_s - before_s > GAP_S and recent[-1].value is not None and row.value is not None:
                recent.append(Row((before_s + row.time_s) / 2.0, None))
        recent.append(row)
        while len(recent) > RECENT:
            self._age(recent.popleft())
        first_s = row.time_s - SPAN_S
        for kept in (self._old, recent):
            while kept and kept[0].time_s < first_s:
                kept.popleft()
        if self._bucket and self._bucket[0].time_s < first_s:
            self._bucket = [kept for kept in self._bucket if kept.time_s >= first_s]

    def _age(self, row: Row) -> None:
        bucket = self._bucket
        if bucket and row.time_s // BUCKET_S != bucket[0].time_s // BUCKET_S:
            self._old.extend(_thinned(bucket))
            bucket.clear()
        bucket.append(row)

    def rows(self) -> list[Row]:
        """Return what is kept, oldest first."""
        return [*self._old, *_thinned(self._bucket), *self._recent]

    @property
    def empty(self) -> bool:
        """Whether nothing of it was ever known in this time."""
        return all(row.value is None for row in self.rows())


def _thinned(bucket: Sequence[Row]) -> list[Row]:
    """Return at most two rows that stand for all: lowest and highest, or lowest and a gap."""
    known = [row for row in bucket if row.value is not None]
    kept = [min(known, key=_value)] if known else []
    if len(known) < len(bucket):
        kept.append(next(row for row in bucket if row.value is None))
    elif known:
        kept.append(max(known, key=_value))
    return sorted(set(kept), key=lambda row: row.time_s)


def _value(row: Row) -> float:
    assert row.value is not None
    return row.value


class Track:
    """Where it has been, as latitude and longitude: a home that is moved moves no track."""

    __slots__ = ("_around", "_flats", "_places")

    def __init__(self) -> None:
        self._around: Around | None = None
        self._places: list[Flat] = []
        self._flats: list[Flat] = []

    def add(self, place: Flat) -> None:
        """Take where it is now, degrees."""
        if self._around is None:
            self._around = Around(*place)
        flat = self._around.flat(*place)
        if self._flats and math.dist(flat, self._flats[-1]) < STIR_M:
            return
        self._places.append(place)
        self._flats.append(flat)
        gone = thin(self._flats)
        if gone is not None:
            del self._places[gone], self._flats[gone]

    def around(self, home: Around) -> list[Flat]:
        """Return the track in metres north and east of home, oldest first."""
        return [home.flat(*place) for place in self._places]


def thin(points: Sequence[Flat], most: int = MOST_TRACK, fresh: int = FRESH_TRACK) -> int | None:
    """Return which point of a track can go: the one that changes its shape least; None while it is short enough.

    Area of the triangle with its neighbours (Visvalingam and Whyatt, The Cartographic Journal 30, 1993), the first
    point and the newest `fresh` left alone.
    """
    if len(points) <= most:
        return None
    least, found = float("inf"), 1
    for i in range(1, max(2, len(points) - fresh)):
        (a, b), (c, d), (e, f) = points[i - 1], points[i], points[i + 1]
        area = abs((c - a) * (f - b) - (e - a) * (d - b))
        if area < least:
            least, found = area, i
    return found
