"""Dusk against times computed with DE421 (facts section 11: skyfield; ephem within 5 s); rules in section 3."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.brief.groundwork import said
from watchkeeper.brief.dusk import dark_s, dusk_today, light
from watchkeeper.brief.findings import DuskToday

GREENWICH = (51.4769, -0.0005)
OSLO = (59.9139, 10.7522)
QUITO = (-0.18, -78.47)
TROMSO_LIKE = (69.6, 18.9)
WINTER = "2024-12-21"  # at Greenwich: dawn 07:23:01, rise 08:03:20, set 15:53:16


def unix(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def dusk(
    start: str | None, minutes: float, home: tuple[float, float] = GREENWICH, *, now: str = f"{WINTER} 10:00:00"
) -> DuskToday:
    start_s = None if start is None else unix(start)
    return dusk_today(home, start_s=start_s, now_s=unix(now), lands_after_s=minutes * 60)


@pytest.mark.parametrize(
    ("home", "start", "sunset"),
    [
        (GREENWICH, "2024-06-20 12:00:00", "2024-06-20 20:20:46"),
        (GREENWICH, "2024-12-21 12:00:00", "2024-12-21 15:53:16"),
        (OSLO, "2024-06-21 12:00:00", "2024-06-21 20:43:56"),
        (QUITO, "2024-09-22 18:00:00", "2024-09-22 23:09:34"),
        (QUITO, "2024-09-23 01:00:00", "2024-09-22 23:09:34"),  # past midnight UTC, still that evening there
    ],
)
def test_sunset_within_a_minute(home: tuple[float, float], start: str, sunset: str) -> None:
    found = dusk(start, 10, home).sunset
    assert found is not None
    assert found.endswith("Z")
    assert datetime.fromisoformat(found).timestamp() == pytest.approx(unix(sunset), abs=60)


def test_twilight_lasts_in_the_evening_as_in_the_morning() -> None:
    # 2024-12-21 at Greenwich: 07:23:01 to 08:03:20 is 40 min 19 s, so the evening's ends 16:33:35.
    found = dusk(f"{WINTER} 12:00:00", 10).twilight_ends
    assert found is not None
    assert datetime.fromisoformat(found).timestamp() == pytest.approx(unix(f"{WINTER} 16:33:35"), abs=60)


def test_both_twilights_are_shown_and_the_earlier_is_kept_to() -> None:
    # 14 CFR 107.29: 30 min after sunset, 16:23:16; the sun at -6 degrees ten minutes later.
    remark = said(dusk(f"{WINTER} 12:00:00", 10).remarks, "advisory", "Civil twilight ends 16:33Z by the sun")
    assert "16:23Z by the clock (30 min after sunset, as 14 CFR 107.29)" in remark.what
    assert "local rules" in remark.do
    ends_s = dark_s(light(unix(f"{WINTER} 12:00:00"), GREENWICH))
    assert ends_s == pytest.approx(unix(f"{WINTER} 16:23:16"), abs=60)
    # At the equator -6 degrees comes before the half hour is over: 5.17 deg at 15 deg/h take 21 min.
    ends_s = dark_s(light(unix("2024-09-22 18:00:00"), QUITO))
    assert ends_s == pytest.approx(unix("2024-09-22 23:09:34") + 5.17 / 15 * 3600, abs=90)


@pytest.mark.parametrize(
    ("start", "minutes", "words"),
    [
        (f"{WINTER} 15:00:00", 60, "It lands 16:00Z, after sunset, 15:5"),
        (f"{WINTER} 15:00:00", 84, "It lands 16:24Z, after twilight, which ends 16:2"),  # by the clock, 16:23:16
        (f"{WINTER} 15:00:00", 82, "It lands 16:22Z, after sunset"),
        (f"{WINTER} 15:00:00", 48, "It lands 5 min before sunset, 15:5"),
        (f"{WINTER} 16:00:00", 5, "Take-off is after sunset, 15:5"),
        (f"{WINTER} 07:30:00", 20, "Take-off is before the morning's twilight"),  # by the clock from 07:33:20
        (f"{WINTER} 07:40:00", 20, "Take-off is in the morning's twilight; sunrise is 08:0"),
        (f"{WINTER} 02:00:00", 20, "Take-off is before the morning's twilight"),
    ],
)
def test_flight_against_the_light(start: str, minutes: float, words: str) -> None:
    remark = said(dusk(start, minutes).remarks, "caution", words)
    assert "local rules" in remark.do


@pytest.mark.parametrize(("start", "minutes"), [(f"{WINTER} 08:05:00", 20), (f"{WINTER} 15:00:00", 42)])
def test_flight_in_daylight_needs_no_caution(start: str, minutes: float) -> None:
    # Sunrise 08:03:20; 15:42 and 10 min to spare is 15:52, sunset 15:53:16.
    found = dusk(start, minutes)
    assert not [one for one in found.remarks if one.weight == "caution"]
    assert found.take_off == start.replace(" ", "T") + "Z"


def test_landing_is_told() -> None:
    assert dusk(f"{WINTER} 15:00:00", 42).lands_at == f"{WINTER}T15:42:00Z"


def test_without_a_start_the_latest_take_off_is_told() -> None:
    # 15:53:16 less 30 min of flight and 10 min to spare: 15:13:16.
    found = dusk(None, 30)
    assert (found.take_off, found.lands_at) == (None, None)
    assert found.latest_take_off is not None
    latest_s = datetime.fromisoformat(found.latest_take_off).timestamp()
    assert latest_s == pytest.approx(unix(f"{WINTER} 15:13:16"), abs=60)
    said(found.remarks, "advisory", "For a flight of 30 min the latest take-off is 15:1")


def test_too_late_today_and_tomorrow_after_dark() -> None:
    said(dusk(None, 30, now=f"{WINTER} 15:30:00").remarks, "caution", "too late to land before sunset, 15:5")
    found = dusk(None, 30, now=f"{WINTER} 20:00:00")
    assert found.sunset is not None
    assert found.sunset.startswith("2024-12-22T15:5")
    said(found.remarks, "advisory", "the latest take-off is 15:1")


def test_polar_day_and_night() -> None:
    day = dusk("2024-06-21 12:00:00", 30, TROMSO_LIKE)
    assert (day.sunset, day.twilight_ends, day.latest_take_off) == (None, None, None)
    assert [one.what for one in day.remarks] == ["The sun does not set today"]
    # 69.6 N at the solstice: at noon the sun stands at 90 - 69.6 - 23.44 = -3.0 degrees.
    dim = dusk("2024-12-21 12:00:00", 30, TROMSO_LIKE)
    assert dim.sunset is None
    assert dim.twilight_ends is not None
    said(dim.remarks, "caution", "The sun does not rise today; civil twilight is from")
    dark = dusk("2024-12-21 12:00:00", 30, (85.0, 18.9))
    assert (dark.sunset, dark.twilight_ends) == (None, None)
    said(dark.remarks, "caution", "nor is there civil twilight")
    for pole in (90.0, -90.0):
        assert dusk(None, 30, (pole, 0.0)).sunset is None


def test_white_night_has_a_sunset_and_no_end_of_twilight() -> None:
    # At 62 N in June the sun sets, and stands at 62 - 90 + 23.44 = -4.6 degrees at midnight.
    found = dusk("2024-06-21 12:00:00", 30, (62.0, 10.0))
    assert found.sunset is not None
    assert found.twilight_ends is None
    said(found.remarks, "advisory", "Civil twilight ends not before morning")
