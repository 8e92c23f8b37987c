"""The navigation filter's own health, and whether the aircraft knows where it is."""

from __future__ import annotations

import math
from typing import Any, Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.filterhealth import (
    ESTIMATOR_REJECTS,
    PLACED,
    REPORT_NEVER_HEALTHY,
    REPORT_REJECTS,
    STANDS_STILL,
)
from watchkeeper.aircraft.handlers import folds
from watchkeeper.aircraft.state import Aircraft

VALID: Final = INDEX["position.valid"]
ACCURACY: Final = INDEX["position.accuracy"]
FILTER_PLACED: Final = INDEX["filter.placed"]
REJECTS: Final = INDEX["filter.rejects"]
SPEED_RATIO: Final = INDEX["filter.velocity_ratio"]
PLACE_RATIO: Final = INDEX["filter.position_ratio"]
HEIGHT_RATIO: Final = INDEX["filter.height_ratio"]
HEADING_RATIO: Final = INDEX["filter.heading_ratio"]
_RATIOS: Final = (SPEED_RATIO, PLACE_RATIO, HEIGHT_RATIO, HEADING_RATIO)
_ALL: Final = frozenset({VALID, FILTER_PLACED, REJECTS, *_RATIOS})
ESTIMATOR: Final = 230
REPORT: Final = 193


def judge_position(aircraft: Aircraft, now_us: int) -> None:
    """Write whether it knows where it is: a receiver gives a position, and the filter, where heard, has one.

    A filter that never had a receiver with a position (it finds its place by other means) is believed by itself.
    A filter alone is believed, too, where receivers are not heard: silence is not a lost position.
    """
    receivers, health = aircraft.receivers, aircraft.filter
    first, second = receivers.first, receivers.second
    placed = health.placed if health.is_live(now_us) else None
    heard = first.is_live(now_us) or second.is_live(now_us)
    fixed = first.gives_place(now_us) or second.gives_place(now_us)
    had_fix = first.had_fix or second.had_fix
    valid: bool | None
    if placed is None:
        valid = fixed if heard and (first.fixed is not None or second.fixed is not None) else None
    elif heard and had_fix:
        valid = placed and fixed
    else:
        valid = placed
    stream = health.validity
    stream.mark(now_us)
    aircraft.readings.put(VALID, valid, stream)


def _put(aircraft: Aircraft, ratios: tuple[float, ...], *, placed: bool, rejects: bool, now_us: int) -> None:
    health = aircraft.filter
    health.placed = placed
    stream = health.stream
    stream.mark(now_us)
    put = aircraft.readings.put
    put(FILTER_PLACED, placed, stream)
    put(REJECTS, rejects, stream)
    for index, ratio in zip(_RATIOS, ratios, strict=True):
        put(index, ratio if 0 <= ratio < math.inf else None, stream)  # not a number: not worked out
    judge_position(aircraft, now_us)


@folds(ESTIMATOR, ACCURACY, also=_ALL)
def _estimator(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    _, speed, place, height, heading, _, _, accuracy_m, _, flags = values
    placed = bool(flags & PLACED) and not flags & STANDS_STILL
    _put(
        aircraft, (speed, place, height, heading), placed=placed, rejects=bool(flags & ESTIMATOR_REJECTS),
        now_us=now_us,
    )  # fmt: skip
    known = 0 < accuracy_m < math.inf
    aircraft.readings.put(ACCURACY, accuracy_m if known else None, aircraft.filter.stream)


@folds(REPORT, also=_ALL)
def _report(aircraft: Aircraft, values: tuple[Any, ...], now_us: int) -> None:
    speed, place, height, heading, _, flags = values[:6]
    placed = bool(flags & PLACED) and not flags & (STANDS_STILL | REPORT_NEVER_HEALTHY)
    _put(
        aircraft, (speed, place, height, heading), placed=placed, rejects=bool(flags & REPORT_REJECTS),
        now_us=now_us,
    )  # fmt: skip
