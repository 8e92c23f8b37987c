"""Whether the radio link fades, how long it lasts, whether something is in the way, whether something disturbs it.

The margin falls with distance by 20 dB a decade (ITU-R P.525), and goes on to fall as long as the distance grows.
What is left after distance is looked at by itself: a robust slope over the last minute, of pairs in which home lay
in the same sector around the aircraft, so that turning an antenna's null to the station is no fade. Whether
antennas stand upright nobody says; a fall counts only if it is one with that explanation and without.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import BLIND, FAULT, US, Readings, Stream
from watchkeeper.estimate.radio.track import Bin, Place, Track, sector_of
from watchkeeper.estimate.slope import Slope, median, robust_slope

TREND_BINS: Final = 20  # one minute
LEAST_BINS: Final = 8
LEAST_PAIRS: Final = 10
RANGE_BINS: Final = 5
MARGIN_FLOOR_DB: Final = 6.0  # below about this a frequency-shift radio loses most frames (common practice)
NOT_FADING_S: Final = 3600.0  # stands for "not within an hour"
GROWING_M_S: Final = 0.5
"""Slower growth of distance is wander of the position."""
NOW_BINS: Final = 3
FRESH_BINS: Final = 4
"""The newest are what is compared, and no part of what they are compared with."""
LEAST_BEFORE: Final = 10
LEAST_IN_SECTOR: Final = 5
LEAST_RANGE_M: Final = 50.0
BODY_DB: Final = 10.0
"""What a body between antenna and station takes (common practice: 5 to 15); allowed in a sector not flown yet."""
MOST_TRACKS: Final = 8
_DECIBEL: Final = 20 / math.log(10)
_TO_DEVIATION: Final = 1.4826
"""A standard deviation over a median absolute deviation, normal distribution."""
_MARGIN, _SIGNAL = INDEX["link.margin"], INDEX["radio.signal"]
_NOISE, _FAR_NOISE = INDEX["radio.noise"], INDEX["radio.noise_far"]
_DISTANCE, _BEARING = INDEX["position.home_distance"], INDEX["position.home_bearing"]
_HEIGHT: Final = INDEX["position.height"]
_HEADING_US: Final = 5 * US


def fades_in_s(left_db: float, fall_db_s: float) -> float:
    """Return how long a margin lasts that now falls by `fall_db_s`, where nothing is known of the distance.

    Taken for flight outward at a steady speed: M(t) = M - 20 log10(1 + t / T) with T = 20 / ln 10 / fall. A
    straight line would cry wolf near the antenna, where any flight outward loses much in a short time; close to
    the floor both agree.
    """
    return (10 ** (max(0.0, left_db) / 20) - 1) * _DECIBEL / fall_db_s


def lasts_s(left_db: float, away: float, fall_db_s: float) -> float:
    """Return when `left_db` is used up, s, at most NOT_FADING_S.

    `away`: growth of the distance over the distance, 1/s; `fall_db_s`: what is lost beside it. Both from zero up.
    Root of 20 log10(1 + away t) + fall t = left, which rises in t: by halving.
    """
    if left_db <= 0:
        return 0.0 if away > 0 or fall_db_s > 0 else NOT_FADING_S

    def used_db(t_s: float) -> float:
        return 20 * math.log10(1 + away * t_s) + fall_db_s * t_s

    low_s, high_s = 0.0, NOT_FADING_S
    if used_db(high_s) <= left_db:
        return NOT_FADING_S
    while high_s - low_s > 0.1:
        middle_s = (low_s + high_s) / 2
        if used_db(middle_s) < left_db:
            low_s = middle_s
        else:
            high_s = middle_s
    return high_s


class RadioTrend:
    """`link.margin_trend`, `fades_in`, `shortfall`, `scatter`, `noise_rise`, `margin_steady`."""

    indexes = tuple(
        INDEX[f"link.{name}"]
        for name in ("margin_trend", "fades_in", "shortfall", "scatter", "noise_rise", "margin_steady")
    )

    def __init__(
        self, readings: Readings, heading: Callable[[], tuple[float, int]], told_by: Callable[[], str] = str
    ) -> None:
        """`heading` gives the last heading, rad, and when it came; `told_by` whose report the readings are of."""
        self._readings = readings
        self._heading = heading
        self._told_by = told_by
        self._tracks: dict[str, Track] = {}
        self._seen: tuple[Stream | None, int] = (None, 0)
        self.stream = Stream()

    def run(self, now_us: int) -> Sequence[float | None] | None:
        """Return what is new once every three seconds in which the radio has reported."""
        stream = self._readings.streams[_MARGIN]
        if stream is None:
            return None
        source = self._told_by()
        track = self._tracks.get(source)
        if track is None:
            if len(self._tracks) >= MOST_TRACKS:
                self._tracks.clear()
            track = self._tracks[source] = Track()
        closed = track.close(now_us)
        if self._seen != (stream, stream.count):
            self._seen = (stream, stream.count)
            values = self._readings.values
            told = values[_MARGIN], values[_SIGNAL], values[_NOISE], values[_FAR_NOISE]
            track.tell(*told, self._place(now_us), stream.time_us)
        if not closed:
            return None
        track.forget(now_us / US - 3 * (TREND_BINS + 1) * 3)
        recent = [b for b in track.bins if b.time_s >= now_us / US - 3 * (TREND_BINS + 1)]
        steady_db = _steady(recent)
        return (*_trend(recent, steady_db), *_shortfall(list(track.bins)), track.noise_rise_db(), steady_db)

    def _place(self, now_us: int) -> Place | None:
        read = self._readings.read
        distance_m, height_m = read(_DISTANCE, now_us), read(_HEIGHT, now_us)
        bearing_deg = read(_BEARING, now_us)
        if any(value is BLIND or value is FAULT for value in (distance_m, height_m, bearing_deg)):
            return None
        heading_rad, heading_us = self._heading()
        known = heading_us and now_us - heading_us <= _HEADING_US
        return Place(distance_m, max(0.0, height_m), sector_of(heading_rad, bearing_deg) if known else None)


def _steady(bins: Sequence[Bin]) -> float | None:
    """Return the median margin of the newest bins, dB."""
    newest = sorted(b.margin_db for b in bins[-NOW_BINS:] if b.margin_db is not None)
    return median(newest) if len(newest) == NOW_BINS else None


def _trend(bins: Sequence[Bin], now_db: float | None) -> tuple[float | None, float | None]:
    """Return the trend in dB/min and the time to the floor in s; `now_db` is the margin of the newest bins."""
    told = [(b, b.margin_db) for b in bins if b.margin_db is not None]
    if len(told) < LEAST_BINS or now_db is None:
        return None, None
    if any(b.place is None for b, _ in told):
        return _trend_by_time([b.time_s for b, _ in told], [margin_db for _, margin_db in told], now_db)
    times_s = [b.time_s for b, _ in told]
    sectors = [b.sector for b, _ in told]
    slope: Slope | None = None
    for upright in (False, True):
        left = [b.unexplained(margin_db, upright=upright) for b, margin_db in told]
        found = robust_slope(times_s, left, sectors, LEAST_PAIRS)
        if found is None:
            return None, None
        if slope is None or found.high > slope.high:
            slope = found
    assert slope is not None
    last = told[-RANGE_BINS:]
    ranges_m = [r for b, _ in last if (r := b.range_m) is not None]
    growth = robust_slope([b.time_s for b, _ in last], ranges_m)
    away_m_s = growth.middle if growth is not None else 0.0
    away = away_m_s / ranges_m[-1] if away_m_s > GROWING_M_S else 0.0
    fall_db_s = max(0.0, -slope.middle) if slope.high < 0 else 0.0
    trend_db_min = (slope.middle - _DECIBEL * away) * 60
    return trend_db_min, lasts_s(now_db - MARGIN_FLOOR_DB, away, fall_db_s)


def _trend_by_time(
    times_s: list[float], margins_db: list[float], now_db: float
) -> tuple[float | None, float | None]:
    slope = robust_slope(times_s, margins_db)
    if slope is None:
        return None, None
    if slope.high >= 0:
        return slope.middle * 60, NOT_FADING_S
    return slope.middle * 60, min(NOT_FADING_S, fades_in_s(now_db - MARGIN_FLOOR_DB, -slope.middle))


def _shortfall(bins: Sequence[Bin]) -> tuple[float | None, float | None]:
    """Return how far the signal is under what distance explains, and the scatter of it before; dB."""
    told = [
        (b, b.signal_db)
        for b in bins
        if b.signal_db is not None and (far_m := b.range_m) is not None and far_m >= LEAST_RANGE_M
    ]
    before, now = told[:-FRESH_BINS], told[-NOW_BINS:]
    if len(before) < LEAST_BEFORE:
        return None, None
    sector = now[-1][0].sector
    best: tuple[float, float] | None = None
    for upright in (False, True):
        levels = [(b.sector, b.unexplained(signal_db, upright=upright)) for b, signal_db in before]
        usual_db = median(sorted(level for _, level in levels))
        here = [level for s, level in levels if s == sector]
        if len(here) >= LEAST_IN_SECTOR:
            expected_db = median(sorted(here))
        else:
            expected_db = usual_db - (BODY_DB if sector is not None else 0.0)
        now_db = median(sorted(b.unexplained(signal_db, upright=upright) for b, signal_db in now))
        scatter_db = _TO_DEVIATION * median(sorted(abs(level - usual_db) for _, level in levels))
        found = (max(0.0, expected_db - now_db), scatter_db)
        best = found if best is None else min(best, found)
    return best if best is not None else (None, None)
