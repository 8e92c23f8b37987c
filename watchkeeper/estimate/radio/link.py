"""Frames lost, over each source's own baseline, and how surely; silences; how many sources hear the aircraft.

A mirror of the telemetry may itself leave messages out by design; such standing loss is the least that was ever
seen of that source in the last minutes, and only what comes on top counts. A share out of few frames proves
little: the lower end of its interval is what a rule should look at (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927),
209).
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from typing import Final, Protocol

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import US, Stream

LOSS_WINDOW_US: Final = 10 * US
BASELINE_BLOCKS: Final = 30  # of 10 s each: five minutes
LEAST_FRAMES: Final = 10  # fewer say nothing of a share in per cent
CONFIDENCE_Z: Final = 1.959964  # two-sided 95 % of the normal distribution
GAP_US: Final = 2 * US
"""A silence worth counting: two heartbeats (MAVLink heartbeat protocol, one a second)."""
GAP_WINDOW_US: Final = 60 * US
MOST_GAPS: Final = 64
HEARD_US: Final = 5 * US
"""A source over which nothing came for longer does not hear the aircraft: five missed heartbeats."""
FEWER: Final = 0.5
"""Between two looks that lie far apart it was silent if fewer than this share of the usual frames came."""
_SMOOTH: Final = 8
SILENCE_US: Final = 4 * US
"""What was missed in a silence as long as this is told as a silence, and is no share that is being lost."""


class Tracker(Protocol):
    """Counters of frames of one component over one source."""

    @property
    def received(self) -> int:
        """Frames that came."""

    @property
    def lost(self) -> int:
        """Frames that by their numbers should have come."""


Trackers = Mapping[tuple[str, int], Tracker]


def wilson_low(hits: int, of: int) -> float:
    """Return the lower end of Wilson's 95 % interval for a share of `hits` in `of` (> 0)."""
    if not hits:
        return 0.0
    share, square = hits / of, CONFIDENCE_Z * CONFIDENCE_Z
    middle = share + square / (2 * of)
    half = CONFIDENCE_Z * math.sqrt(share * (1 - share) / of + square / (4 * of * of))
    return max(0.0, (middle - half) / (1 + square / of))


class SourceLoss:
    """Loss over one source: the last ten seconds against the source's own baseline."""

    def __init__(self) -> None:
        self._marks: deque[tuple[int, int, int]] = deque(maxlen=64)
        self._blocks: deque[float] = deque(maxlen=BASELINE_BLOCKS)
        self._block_us = 0
        self._received = 0
        self._heard_us = 0

    def update(self, received: int, lost: int, now_us: int) -> tuple[float, float] | None:
        """Take the counters in; return the loss over the baseline and its least, %; None with too few frames."""
        marks = self._marks
        if received != self._received:
            if now_us - self._heard_us > SILENCE_US:
                marks.clear()
            self._received, self._heard_us = received, now_us
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
        least = wilson_low(gone, came + gone)
        return 100 * max(0.0, share - base) / (1 - base), 100 * max(0.0, least - base) / (1 - base)


class LinkLoss:
    """`link.loss…`: of the source that loses least, since any one that hears the aircraft is enough."""

    indexes = (INDEX["link.loss"], INDEX["link.loss_least"])

    def __init__(self, trackers: Trackers) -> None:
        self._trackers = trackers
        self._sources: dict[str, SourceLoss] = {}
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None, float | None]:
        """Return the loss and its least in %; None inside when too few frames came to tell."""
        sums: dict[str, tuple[int, int]] = {}
        for (source, _), tracker in self._trackers.items():
            received, lost = sums.get(source, (0, 0))
            sums[source] = (received + tracker.received, lost + tracker.lost)
        best: tuple[float, float] | None = None
        for source, (received, lost) in sums.items():
            known = self._sources.get(source)
            if known is None:
                known = self._sources[source] = SourceLoss()
            loss = known.update(received, lost, now_us)
            if loss is not None and (best is None or loss < best):
                best = loss
        return best or (None, None)


class LinkGaps:
    """`link.gap`, `link.gaps`, `link.paths…`: silences over all sources, and sources that hear it."""

    indexes = tuple(INDEX[f"link.{name}"] for name in ("gap", "gaps", "paths", "paths_most"))

    def __init__(self, trackers: Trackers) -> None:
        self._trackers = trackers
        self._received: dict[str, int] = {}
        self._heard_us: dict[str, int] = {}
        """When each source last had something new."""
        self._last_us: int | None = None
        """When any had."""
        self._gaps: deque[tuple[int, float]] = deque(maxlen=MOST_GAPS)
        self._usual = 0.0
        """Frames a second, smoothed."""
        self._most = 0
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float, int, int, int] | None:
        """Return the longest silence in s, how many, how many sources now and at most; None when nothing came."""
        sums: dict[str, int] = {}
        for (source, _), tracker in self._trackers.items():
            sums[source] = sums.get(source, 0) + tracker.received
        came = 0
        for source, received in sums.items():
            new = received - self._received.get(source, 0)
            if new > 0:
                came += new
                self._received[source] = received
                self._heard_us[source] = now_us
        if not came:
            return None
        gaps, last_us = self._gaps, self._last_us
        self._last_us = now_us
        if last_us is not None and now_us > last_us:
            spent_s = (now_us - last_us) / US
            if spent_s >= GAP_US / US and came < FEWER * self._usual * spent_s:
                gaps.append((now_us, spent_s))
            else:
                rate = came / spent_s
                self._usual += (rate - self._usual) / _SMOOTH if self._usual else rate
        while gaps and gaps[0][0] <= now_us - GAP_WINDOW_US:
            gaps.popleft()
        paths = sum(now_us - heard_us <= HEARD_US for heard_us in self._heard_us.values())
        self._most = max(self._most, paths)
        return max((gap_s for _, gap_s in gaps), default=0.0), len(gaps), paths, self._most
