"""Numbers in words: rounded to the careful side where a crew acts on them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief import wording
from watchkeeper.brief.wording import NOT_KNOWN, down, left_at_home

FEET = CrewUnits(height="ft", speed="km/h")
METRES = CrewUnits()


@given(st.floats(0, 1e5), st.integers(0, 2))
def test_up_never_shows_less_and_down_never_more(value: float, decimals: int) -> None:
    step = 10.0**-decimals
    assert value - 1e-5 <= float(wording.up(value, decimals=decimals)) < value + step + 1e-5
    assert value + 1e-5 >= float(wording.down(value, decimals=decimals)) > value - step - 1e-5


@given(st.floats(0, 1e6))
def test_reach_charge_and_time_are_never_shown_longer(value: float) -> None:
    shown, unit = wording.reach(value).split()
    assert float(shown) * (1000 if unit == "km" else 1) <= value + 0.01
    assert float(wording.charge_mah(value).split()[0]) <= value + 0.01


def test_whole_values_stay_what_they_are() -> None:
    assert wording.up(0.1 + 0.2, "V", 1) == "0.3 V"
    assert wording.height_least(40.0, METRES) == "40 m"
    assert wording.height_most(120.0, METRES) == "120 m"
    assert wording.reach(1110.0) == "1110 m"


def test_heights_and_speeds() -> None:
    """By the international foot (0.3048 m): 120 m is 393.7 ft, 400 ft is 121.92 m; 10 m/s is 36 km/h."""
    assert wording.height_most(120.0, FEET) == "393 ft"
    assert wording.height_least(120.0, FEET) == "394 ft"
    assert wording.height(121.92, FEET) == "400 ft"
    assert wording.height_as_set(45.75, METRES) == "45.8 m"
    assert wording.height_as_set(40.0, METRES) == "40 m"
    assert wording.speed(10.0, FEET) == "36 km/h"


@pytest.mark.parametrize(("value_deg", "shown"), [(0.0, "000°"), (7.4, "007°"), (359.6, "000°"), (-90.0, "270°")])
def test_bearings(value_deg: float, shown: str) -> None:
    assert wording.bearing(value_deg) == shown


@pytest.mark.parametrize(
    ("value_s", "shown"), [(0.0, "none"), (4.9, "none"), (59.0, "55 s"), (60.0, "1 min"), (391.0, "6 min 30 s")]
)
def test_time_that_may_be_used(value_s: float, shown: str) -> None:
    assert wording.lasting(value_s) == shown


def test_times() -> None:
    assert wording.minutes(59.6) == "1:00"
    assert wording.minutes(756) == "12:36"
    assert wording.moment("2031-03-04T19:02:00+02:00") == "2031-03-04 17:02 UTC"
    assert wording.clock("2031-03-04T17:02:00Z", "2031-03-04T10:00:00Z") == "17:02 UTC"
    assert wording.clock("2031-03-05T00:10:00Z", "2031-03-04T10:00:00Z") == "2031-03-05 00:10 UTC"
    assert wording.moment("after\x1b dinner") == "after\N{REPLACEMENT CHARACTER} dinner"
    assert wording.clock(None, "") == wording.moment("") == NOT_KNOWN


@pytest.mark.parametrize("value", [None, math.nan, math.inf, -math.inf])
def test_what_is_missing_or_no_number_is_said_to_be(value: float | None) -> None:
    for shown in (
        wording.number(value, "V"), wording.up(value), wording.down(value), wording.charge_mah(value),
        wording.minutes(value), wording.lasting(value), wording.distance(value), wording.reach(value),
        wording.bearing(value), wording.height(value, FEET), wording.height_least(value, FEET),
        wording.height_most(value, FEET), wording.height_as_set(value, FEET), wording.speed(value, FEET),
    ):  # fmt: skip
        assert shown == NOT_KNOWN


@given(st.text())
def test_plain_text_steers_nothing(text: str) -> None:
    shown = wording.plain(text)
    assert len(shown) == len(text)
    assert shown.isprintable()


def test_columns_of_a_terminal() -> None:
    """Wide and fullwidth characters take two columns (Unicode UAX 11), combining ones none."""
    assert wording.columns("ox") == 2
    assert wording.columns("牛") == 2
    assert wording.columns("\uff2f") == 2
    assert wording.columns("o\u0308x") == 2


def test_direction_of_reading_cannot_be_turned() -> None:
    """Bidirectional controls (Unicode UAX 9) would let one text show as another."""
    assert not any(c in wording.plain("\u202a\u202e\u2066\u2069\u200f") for c in "\u202a\u202e\u2066\u2069\u200f")


def test_sentences() -> None:
    assert wording.sentence("set it") == "Set it."
    assert wording.sentence("is it?") == "Is it?"
    assert wording.sentence("  ") == ""


def test_what_is_left_where_it_does_not_get_home_is_no_number() -> None:
    assert [left_at_home(pct, "%") for pct in (20.9, -3.2, -99.0, -100.0, -101.3, None)] == [
        down(20.9, "%"), down(-3.2, "%"), down(-99.0, "%"), "not home", "not home", NOT_KNOWN,
    ]  # fmt: skip
