"""Numbers as words, against the vectors of ICAO Annex 10 Vol II 5.2.1.4.1 (facts.md section 2)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.alerts.spoken import NumberStyle, digit_by_digit, plain_number, spell_numbers, whole_hundreds


@pytest.mark.parametrize(
    ("number", "words"),
    [
        ("080", "zero eight zero"),  # heading
        ("100", "one zero zero"),  # heading
        ("1010", "one zero one zero"),  # QNH
        ("2400", "two four zero zero"),  # squawk
        ("160", "one six zero"),  # wind
        ("18", "one eight"),
        ("30", "three zero"),
        ("3.3", "three decimal three"),
        ("122.1", "one two two decimal one"),  # CAP 413's frequency, in plain spelling
    ],
)
def test_digit_by_digit(number: str, words: str) -> None:
    assert digit_by_digit(number) == words


@pytest.mark.parametrize(
    ("number", "words"),
    [
        ("800", "eight hundred"),
        ("3400", "three thousand four hundred"),
        ("12000", "one two thousand"),
        ("2200", "two thousand two hundred"),
        ("150", "one five zero"),  # no whole hundreds: digits
        ("1050", "one zero five zero"),
        ("40", "four zero"),
        ("95", "niner five"),  # Annex 10 5.2.1.4.3.1: 9 is said NIN-er
        ("0", "zero"),
        ("800.5", "eight zero zero decimal five"),
    ],
)
def test_heights_in_whole_hundreds(number: str, words: str) -> None:
    assert whole_hundreds(number) == words


@pytest.mark.parametrize(
    ("number", "words"),
    [
        ("0", "zero"),
        ("7", "seven"),
        ("13", "thirteen"),
        ("20", "twenty"),
        ("62", "sixty two"),
        ("100", "one hundred"),
        ("3.3", "three point three"),
        ("12000", "twelve thousand"),
        ("3412", "three thousand four hundred twelve"),
        ("2000001", "two million one"),
        ("1234567890", "one two three four five six seven eight nine zero"),
    ],
)
def test_plain_numbers(number: str, words: str) -> None:
    """Common practice of American speech, without hyphens, for they are not spoken."""
    assert plain_number(number) == words


@pytest.mark.parametrize(
    ("text", "digits", "plain"),
    [
        (
            "Caution. Battery. Voltage sag. 3.3. Slow down.",
            "Caution. Battery. Voltage sag. three decimal three. Slow down.",
            "Caution. Battery. Voltage sag. three point three. Slow down.",
        ),
        ("Battery. Low, 40 percent.", "Battery. Low, four zero percent.", "Battery. Low, forty percent."),
        ("Turn to 100.", "Turn to one zero zero.", "Turn to one hundred."),
        ("Climb to 100 metres.", "Climb to one hundred metres.", "Climb to one hundred metres."),
        ("800 feet to home", "eight hundred feet to home", "eight hundred feet to home"),
        ("Margin -3 decibels.", "Margin minus three decibels.", "Margin minus three decibels."),
        ("-3", "minus three", "minus three"),
        ("Pack-2, cell 7", "Pack-two, cell seven", "Pack-two, cell seven"),
        ("GPS2 and 4S and 1.2.3", "GPS2 and 4S and 1.2.3", "GPS2 and 4S and 1.2.3"),
        ("No number here.", "No number here.", "No number here."),
    ],
)
def test_numerals_in_a_callout(text: str, digits: str, plain: str) -> None:
    assert spell_numbers(text) == digits
    assert spell_numbers(text, NumberStyle.PLAIN) == plain


@given(st.text(max_size=60), st.sampled_from(NumberStyle))
def test_any_text_can_be_spelled(text: str, style: NumberStyle) -> None:
    assert spell_numbers(spell_numbers(text, style), style) == spell_numbers(text, style)
