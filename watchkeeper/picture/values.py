"""Plain values for the models: no number that is none, no more digits than anybody reads, times as text."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, Final

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


def plain(values: Mapping[str, Any]) -> dict[str, Value]:
    """Return values by name, those left out that are unknown; floats with six significant digits."""
    found: dict[str, Value] = {}
    for name, value in values.items():
        if value.__class__ is float:
            if math.isfinite(value):
                found[name] = float(f"{value:.6g}") + 0.0
        elif value is not None:
            found[name] = value
    return found
