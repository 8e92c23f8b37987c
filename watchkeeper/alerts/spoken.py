"""Numerals of a callout as words: digit by digit, as aviators speak them, or as plain numbers.

Digit by digit is ICAO Annex 10 Volume II, 5.2.1.4.1: every number by its digits, but heights and distances in
whole hundreds and thousands by those words. Which number is one of those is told by the unit that follows it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from enum import StrEnum
from typing import Final

_DIGITS: Final = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TEENS: Final = (
    "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS: Final = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_LENGTHS: Final = frozenset({"m", "metre", "metres", "meter", "meters", "ft", "foot", "feet"})
_LONGEST = 9
"""Digits before the decimal point up to which a number is spoken as one; a longer one is no quantity."""

# A minus counts only where a word could begin, so that "pack-2" has none; digits inside a word are left alone.
_NUMERAL = re.compile(r"(?<![\w.])(?P<minus>(?:(?<=\s)|(?<![^\s]))-)?(?P<number>\d+(?:\.\d+)?)(?!\w|\.\d)")
_NEXT_WORD = re.compile(r"\s+([A-Za-z]+)")


class NumberStyle(StrEnum):
    """How numbers are spoken: one choice of the crew for all callouts."""

    DIGITS = "digits"
    """Digit by digit, ICAO Annex 10."""
    PLAIN = "plain"
    """As in everyday speech: "sixty two", "three point three"."""


def digit_by_digit(number: str) -> str:
    """Return every digit as a word: "3.3" -> "three decimal three" (Annex 10 5.2.1.4.1.1 and .1.4)."""
    return " ".join("decimal" if character == "." else _DIGITS[int(character)] for character in number)


def whole_hundreds(number: str) -> str:
    """Return a height or distance: "3400" -> "three thousand four hundred" (Annex 10 5.2.1.4.1.2).

    Without whole hundreds or thousands, digit by digit.
    """
    if "." in number or number.startswith("0") or len(number) < 3 or not number.endswith("00"):
        return digit_by_digit(number)
    thousands, hundreds = number[:-3], number[-3:-2]
    words = [f"{digit_by_digit(thousands)} thousand"] if thousands else []
    if hundreds != "0":
        words.append(f"{digit_by_digit(hundreds)} hundred")
    return " ".join(words)


def plain_number(number: str) -> str:
    """Return a number as in everyday speech: "62" -> "sixty two", "3.3" -> "three point three"."""
    whole, _, fraction = number.partition(".")
    words = _plain_whole(int(whole)) if len(whole) <= _LONGEST else digit_by_digit(whole)
    return f"{words} point {digit_by_digit(fraction)}" if fraction else words


def spell_numbers(text: str, style: NumberStyle = NumberStyle.DIGITS) -> str:
    """Return `text` with every numeral that stands by itself put into words."""

    def words(found: re.Match[str]) -> str:
        spell: Callable[[str], str] = plain_number
        if style is NumberStyle.DIGITS:
            unit = _NEXT_WORD.match(text, found.end())
            spell = whole_hundreds if unit and unit[1].lower() in _LENGTHS else digit_by_digit
        return ("minus " if found["minus"] else "") + spell(found["number"])

    return _NUMERAL.sub(words, text)


def _plain_whole(number: int) -> str:
    if number < 10:
        return _DIGITS[number]
    if number < 20:
        return _TEENS[number - 10]
    if number < 100:
        tens, ones = divmod(number, 10)
        return _TENS[tens - 2] + (f" {_DIGITS[ones]}" if ones else "")
    for size, name in ((1_000_000, "million"), (1000, "thousand"), (100, "hundred")):
        if number >= size:
            many, rest = divmod(number, size)
            return f"{_plain_whole(many)} {name}" + (f" {_plain_whole(rest)}" if rest else "")
    raise AssertionError(number)
