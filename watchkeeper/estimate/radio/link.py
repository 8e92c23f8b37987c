"""The link: loss over each source's own baseline, and whether the margin fades.

A mirror of the telemetry may itself leave messages out by design; such standing loss is the least that was ever
seen of that source in the last minutes, and only what comes on top counts.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from typing import Final, Protocol

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.slope import median, robust_slope

LOSS_WINDOW_US: Final = 10_000_000
BASELINE_BLOCKS: Final = 30  # of 10 s each: five minutes
LEAST_FRAMES: Final = 10  # fewer say nothing of a share in per cent
BIN_US: Final = 3_000_000
BINS: Final = 20  # one minute
LEAST_BINS: Final = 8
MARGIN_FLOOR_DB: Final = 6.0  # below about this a frequency-shift radio loses most frames (common practice)
NOT_FADING_S: Final = 3600.0  # stands for "not within an hour"
_DECIBEL: Final = 20 / math.log(10)
_MARGIN: Final = INDEX["link.margin"]


class Tracker(Protocol):
    """Counters of frames of one component over one source."""

    @property
    def received(self) -> int:
        """Frames that came."""

    @property
    def lost(self) -> int:
        """Frames that by their numbers should have come."""


Trackers = Mapping[tuple[str, int], Tracker]


class SourceLoss:
    """Loss over one source: the last ten seconds against the source's own baseline."""

    def __init__(self) -> None:
        self._marks: deque[tuple[int, int, int]] = deque(maxlen=64)
        self._blocks: deque[float] = deque(maxlen=BASELINE_BLOCKS)
        self._block_us = 0

    def update(self, received: int, lost: int, now_us: int) -> float | None:
        """Take the counters in; return the loss in % above the baseline, None with too few frames."""
        marks = self._marks
        marks.append((now_us, received, lost))
        while len(marks) > 1 and marks[1][0] <= now_us - LOSS_WINDOW_US:
            marks.popleft()
        came, gone = received - marks[0][1], max(0, lost - marks[0][2])
        if came <= 0 or came + gone < LEAST_FRAMES:
            return None
        share = gone / (came + gone)
        base = min(self._blocks, default=0.0)
        if now_us - marks[0][0] >= LOSS_WINDOW_US and now_us - self._block_us >= LOSS_WINDOW_US:
            self._blocks.append(share)
            self._block_us = now_us
        return 100 * max(0.0, share - base) / (1 - base)


class LinkLoss:
    """`link.loss`: of the source that loses least, since any one that hears the aircraft is enough."""

    indexes = (INDEX["link.loss"],)

    def __init__(self, trackers: Trackers) -> None:
        self._trackers = trackers
        self._sources: dict[str, SourceLoss] = {}
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None]:
        """Return the loss in %; None inside when too few frames came to tell."""
        sums: dict[str, tuple[int, int]] = {}
        for (source, _), tracker in self._trackers.items():
            received, lost = sums.get(source, (0, 0))
            sums[source] = (received + tracker.received, lost + tracker.lost)
        least: float | None = None
        for source, (received, lost) in sums.items():
            known = self._sources.get(source)
            if known is None:
                known = self._sources[source] = SourceLoss()
            loss = known.update(received, lost, now_us)
            if loss is not None and (least is None or loss < least):
                least = loss
        return (least,)


def fades_in_s(left_db: float, fall_db_s: float) -> float:
    """Return how long a margin lasts that now falls by `fall_db_s`, when the aircraft flies on at its speed.

    Free space, ITU-R P.525: 20 dB for ten times the distance, so M(t) = M - 20 log10(1 + t / T) with the time
    constant T = 20 / ln 10 / fall. A straight line would cry wolf near the antenna, where any flight outward
    loses much in a short time; close to the floor both agree.
    """
    return (10 ** (max(0.0, left_db) / 20) - 1) * _DECIBEL / fall_db_s


class MarginTrend:
    """`link.margin_trend` and `link.fades_in`, out of the medians of the margin over three seconds each."""

    indexes = (INDEX["link.margin_trend"], INDEX["link.fades_in"])

    def __init__(self, readings: Readings) -> None:
        self._readings = readings
        self._count = 0
        self._bin: list[float] = []
        self._bin_us = 0
        self._times_s: deque[float] = deque(maxlen=BINS)
        self._margins_db: deque[float] = deque(maxlen=BINS)
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None, float | None] | None:
        """Return trend in dB/min and time in s to the floor; None when no three seconds were completed."""
        stream = self._readings.streams[_MARGIN]
        if stream is None:
            return None
        finished = bool(self._bin) and now_us - self._bin_us >= BIN_US
        if finished:
            self._times_s.append((self._bin_us + BIN_US // 2) / 1e6)
            self._margins_db.append(median(sorted(self._bin)))
            self._bin.clear()
        if stream.count != self._count:
            self._count = stream.count
            margin_db = self._readings.values[_MARGIN]
            if margin_db is not None:
                if not self._bin:
                    self._bin_us = stream.time_us
                self._bin.append(margin_db)
        return self._trend(now_us) if finished else None

    def _trend(self, now_us: int) -> tuple[float | None, float | None]:
        oldest_s = now_us / 1e6 - BINS * BIN_US / 1e6 - BIN_US / 1e6
        while self._times_s and self._times_s[0] < oldest_s:
            self._times_s.popleft()
            self._margins_db.popleft()
        if len(self._times_s) < LEAST_BINS:
            return None, None
        slope = robust_slope(list(self._times_s), list(self._margins_db))
        if slope is None:
            return None, None
        if slope.high >= 0:
            return slope.middle * 60, NOT_FADING_S
        last_db = median(sorted(list(self._margins_db)[-3:]))
        return slope.middle * 60, min(NOT_FADING_S, fades_in_s(last_db - MARGIN_FLOOR_DB, -slope.middle))
