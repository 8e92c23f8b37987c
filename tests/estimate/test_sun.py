"""The sun against UTC times computed with the DE421 ephemeris (facts section 11: skyfield; ephem within 5 s)."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from watchkeeper.aircraft.readings import Stream
from watchkeeper.estimate.surroundings.dusk import EVERY_US, TimeToDusk, to_dusk
from watchkeeper.estimate.surroundings.sun import CIVIL_DEG, RISE_DEG, crossing

GREENWICH = (51.4769, -0.0005)
OSLO = (59.9139, 10.7522)
QUITO = (-0.18, -78.47)


def unix(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("place", "altitude_deg", "side", "expected"),
    [
        (GREENWICH, CIVIL_DEG, -1, "2024-06-20 02:54:58"),
        (GREENWICH, RISE_DEG, -1, "2024-06-20 03:42:40"),
        (GREENWICH, RISE_DEG, 1, "2024-06-20 20:20:46"),
        (GREENWICH, CIVIL_DEG, -1, "2024-12-21 07:23:01"),
        (GREENWICH, RISE_DEG, -1, "2024-12-21 08:03:20"),
        (GREENWICH, RISE_DEG, 1, "2024-12-21 15:53:16"),
        (OSLO, CIVIL_DEG, -1, "2024-06-21 00:09:40"),
        (OSLO, RISE_DEG, -1, "2024-06-21 01:53:51"),
        (OSLO, RISE_DEG, 1, "2024-06-21 20:43:56"),
        (QUITO, RISE_DEG, -1, "2024-09-22 11:03:06"),
        (QUITO, RISE_DEG, 1, "2024-09-22 23:09:34"),
    ],
)
def test_crossings_within_a_minute(
    place: tuple[float, float], altitude_deg: float, side: int, expected: str
) -> None:
    noon = unix(expected[:11] + "12:00:00") - place[1] * 240
    found = crossing(noon, *place, altitude_deg, side)
    assert found == pytest.approx(unix(expected), abs=60)


def test_almanac_worked_case() -> None:
    # Almanac for Computers: 1990-06-25, 40.9 N 74.3 W rises at 09:26.5 UT (facts section 11).
    found = crossing(unix("1990-06-25 16:00:00"), 40.9, -74.3, RISE_DEG, -1)
    assert found == pytest.approx(unix("1990-06-25 09:26:30"), abs=60)


def test_dusk_counts_down_by_day_and_is_negative_at_night() -> None:
    noon, evening = unix("2024-12-21 12:00:00"), unix("2024-12-21 20:00:00")
    by_day, by_night = to_dusk(noon, *GREENWICH), to_dusk(evening, *GREENWICH)
    assert by_day is not None
    assert by_night is not None
    # Civil twilight lasts as long in the evening as in the morning, 40 min 19 s; the sun sets at 15:53:16.
    assert by_day == pytest.approx(unix("2024-12-21 16:33:35") - noon, abs=60)
    assert by_night == pytest.approx(by_day - 8 * 3600, abs=1)
    before_dawn = to_dusk(unix("2024-12-22 05:00:00"), *GREENWICH)
    assert before_dawn == pytest.approx(by_day - 17 * 3600, abs=60)


def test_no_dusk_where_the_sun_stays_up_or_down() -> None:
    assert to_dusk(unix("2024-06-21 12:00:00"), 69.6, 18.9) is None
    assert to_dusk(unix("2024-12-21 12:00:00"), 85.0, 18.9) is None


def test_reading_is_worked_out_anew_every_half_minute_only() -> None:
    now_us = round(unix("2024-12-21 12:00:00") * 1e6)
    part = TimeToDusk(lambda: GREENWICH, lambda us: us / 1e6)
    assert isinstance(part.stream, Stream)
    assert part.run(now_us) is not None
    assert part.run(now_us + EVERY_US - 1) is None
    assert part.run(now_us + EVERY_US) is not None


def test_a_clock_that_was_never_set_is_unknown() -> None:
    part = TimeToDusk(lambda: GREENWICH, lambda us: us / 1e6)
    assert part.run(5_000_000) == (None,)
    assert TimeToDusk(lambda: None, lambda us: us / 1e6).run(2_000_000_000_000_000) == (None,)
