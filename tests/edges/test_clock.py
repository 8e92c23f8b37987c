"""The watch's clock, and its texts against POSIX time as `datetime` computes it."""

from __future__ import annotations

import itertools
import time
from datetime import UTC, datetime

import pytest

from watchkeeper.edges.clock import Clock, utc_name, utc_text


def test_no_two_readings_are_the_same_and_none_runs_back() -> None:
    clock = Clock()
    readings = [clock.now_us() for _ in range(5000)]
    assert all(later > earlier for earlier, later in itertools.pairwise(readings))


def test_it_begins_at_wall_time_and_does_not_follow_a_clock_that_is_set(monkeypatch: pytest.MonkeyPatch) -> None:
    before_us = time.time_ns() // 1000
    clock = Clock()
    first_us = clock.now_us()
    assert before_us - 10_000 <= first_us <= time.time_ns() // 1000 + 10_000
    monkeypatch.setattr(time, "time_ns", lambda: 0)
    assert clock.now_us() > first_us


@pytest.mark.parametrize("time_us", [0, 1, 1_234_567_890_123_457, 1_777_777_777_777_777, 2_200_000_000_999_999])
def test_seconds_give_back_the_microsecond(time_us: int) -> None:
    assert round((time_us / 1e6) * 1e6) == time_us


@pytest.mark.parametrize("time_us", [0, 951_782_400_000_001, 1_777_887_000_123_456, 4_102_444_799_999_999])
def test_texts_are_utc(time_us: int) -> None:
    when = datetime.fromtimestamp(time_us // 1_000_000, UTC)
    assert utc_text(time_us) == f"{when:%Y-%m-%dT%H:%M:%S}.{time_us % 1_000_000:06d}Z"
    assert utc_name(time_us) == f"{when:%Y%m%dT%H%M%SZ}"


def test_a_time_no_calendar_has_is_bounded() -> None:
    assert utc_text(1 << 62) == "9999-12-31T23:59:59.999999Z"
    assert utc_text(-5) == "1970-01-01T00:00:00.000000Z"
