"""Plain values for the models: no number that is none, no more digits than anybody reads, times as text."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from watchkeeper.aircraft.catalogue import CATALOGUE
from watchkeeper.aircraft.readings import BLIND, FAULT, Readings
from watchkeeper.picture.models import Value

_BEGIN: Final = datetime(1970, 1, 1, tzinfo=UTC)
_LAST_US: Final = 253_402_300_799_999_999
"""The end of the year 9999."""


def utc_text(time_us: int) -> str:
    """Return `2026-05-04T09:30:00.123456Z` for microseconds since 1970; years outside 1970 to 9999 are bounded."""
    when = _BEGIN + timedelta(microseconds=min(max(time_us, 0), _LAST_US))
    return f"{when:%Y-%m-%dT%H:%M:%S}.{when.microsecond:06d}Z"


def finite(value: Any, digits: int = 3) -> float | None:
    """Return a number rounded to decimals; None for what is no number, or not a finite one."""
    if isinstance(value, bool) or not isinstance(value, float | int) or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0  # a negative zero becomes zero


def known(readings: Readings, now_us: int) -> dict[str, Value]:
    """Return the readings that are usable at `now_us`, by name; floats with six significant digits."""
    found: dict[str, Value] = {}
    read = readings.read
    for i, held in enumerate(readings.values):
        if held is None:
            continue
        value = read(i, now_us)
        if value is BLIND or value is FAULT:
            continue
        if value.__class__ is float:
            if not math.isfinite(value):
                continue
            value = float(f"{value:.6g}") + 0.0
        found[CATALOGUE[i].name] = value
    return found


def plain(values: Mapping[str, Any]) -> dict[str, Value]:
    """Return values by name; floats with six significant digits, None for what is no finite number."""
    found: dict[str, Value] = {}
    for name, value in values.items():
        found[name] = _six_digits(value) if isinstance(value, float) else value
    return found


def _six_digits(value: float) -> float | None:
    return float(f"{value:.6g}") + 0.0 if math.isfinite(value) else None
