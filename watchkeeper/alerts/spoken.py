"""Numerals of a callout as words: digit by digit, as aviators speak them, or as plain numbers.

Digit by digit is ICAO Annex 10 Volume II, 5.2.1.4.1: every number by its digits, but heights and distances in
whole hundreds and thousands by those words. Which number is one of those is told by the unit that follows it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

_TEENS: Final = (
    "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS: Final = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")


@dataclass(frozen=True, slots=True)
class Numerals:
    """The words of a language for numbers."""

    digits: tuple[str, ...]
    """0 to 9, digit by digit."""
    below_hundred: tuple[str, ...]
    """0 to 99, as everybody says them."""
    hundreds: tuple[str, ...]
    """100, 200, to 900."""
    decimal: str
    """Between the digits, digit by digit."""
    point: str
    """The same in plain numbers."""
    minus: str
    hundred: str
    """After digits: 8 of them."""
    thousand: str
    groups: tuple[tuple[int, str, str], ...]
    """(size, one of them, several of them with {} for how many), the largest first."""
    longest: int
    """Digits before the decimal point up to which a number is spoken as one; a longer one is no quantity."""
    lengths: frozenset[str]
    """Units, in lower case, of which heights and distances are told."""
    sign: str = "."
    """The decimal sign as it is written."""


_ONES: Final = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
ENGLISH_NUMERALS: Final = Numerals(
    digits=(*_ONES[:9], "niner"),  # NIN-er: Annex 10, so that it is not taken for five
    below_hundred=(*_ONES, *_TEENS, *(f"{ten} {one}".strip() for ten in _TENS for one in ("", *_ONES[1:]))),
    hundreds=tuple(f"{one} hundred" for one in _ONES[1:]),
    decimal="decimal",
    point="point",
    minus="minus",
    hundred="hundred",
    thousand="thousand",
    groups=((1_000_000, "one million", "{} million"), (1000, "one thousand", "{} thousand")),
    longest=9,
    lengths=frozenset({"m", "metre", "metres", "meter", "meters", "ft", "foot", "feet"}),
)

# A minus counts only where a word could begin, so that "pack-2" has none; digits inside a word are left alone.
_NUMERAL = {
    sign: re.compile(
        rf"(?<![\w.])(?<!\d,)(?P<minus>(?:(?<=\s)|(?<![^\s]))-)?(?P<number>\d+(?:{re.escape(sign)}\d+)?)(?!\w|[.,]\d)"
    )
    for sign in ".,"
}
_NEXT_WORD = re.compile(r"\s+([^\W\d_]+)")


class NumberStyle(StrEnum):
    """How numbers are spoken: one choice of the crew for all callouts."""

    DIGITS = "digits"
    """Digit by digit, ICAO Annex 10."""
    PLAIN = "plain"
    """As in everyday speech: "sixty two", "three point three"."""


def digit_by_digit(number: str, numerals: Numerals = ENGLISH_NUMERALS) -> str:
    """Return every digit as a word: "3.3" -> "three decimal three" (Annex 10 5.2.1.4.1.1 and .1.4)."""
    return " ".join(
        numerals.decimal if character == numerals.sign else numerals.digits[int(character)] for character in number
    )


def whole_hundreds(number: str, numerals: Numerals = ENGLISH_NUMERALS) -> str:
    """Return a height or distance: "3400" -> "three thousand four hundred" (Annex 10 5.2.1.4.1.2).

    Without whole hundreds or thousands, digit by digit.
    """
    if not number.isdigit() or number.startswith("0") or len(number) < 3 or not number.endswith("00"):
        return digit_by_digit(number, numerals)
    thousands, hundreds = number[:-3], number[-3:-2]
    words = [f"{digit_by_digit(thousands, numerals)} {numerals.thousand}"] if thousands else []
    if hundreds != "0":
        words.append(f"{digit_by_digit(hundreds, numerals)} {numerals.hundred}")
    return " ".join(words)


def plain_number(number: str, numerals: Numerals = ENGLISH_NUMERALS) -> str:
    """Return a number as in everyday speech: "62" -> "sixty two", "3.3" -> "three point three"."""
    whole, _, fraction = number.partition(numerals.sign)
    fits = len(whole) <= numerals.longest
    words = _plain_whole(int(whole), numerals) if fits else _one_by_one(whole, numerals)
    return f"{words} {numerals.point} {_one_by_one(fraction, numerals)}" if fraction else words


def spell_numbers(
    text: str, style: NumberStyle = NumberStyle.DIGITS, numerals: Numerals = ENGLISH_NUMERALS
) -> str:
    """Return `text` with every numeral that stands by itself put into words."""

    def words(found: re.Match[str]) -> str:
        spell: Callable[[str, Numerals], str] = plain_number
        if style is NumberStyle.DIGITS:
            unit = _NEXT_WORD.match(text, found.end())
            spell = whole_hundreds if unit and unit[1].lower() in numerals.lengths else digit_by_digit
        return (f"{numerals.minus} " if found["minus"] else "") + spell(found["number"], numerals)

    return _NUMERAL[numerals.sign].sub(words, text)


def _one_by_one(digits: str, numerals: Numerals) -> str:
    return " ".join(numerals.below_hundred[int(digit)] for digit in digits)


def _plain_whole(number: int, numerals: Numerals) -> str:
    if number < 100:
        return numerals.below_hundred[number]
    hundreds, rest = divmod(number, 100)
    words = numerals.hundreds[hundreds - 1] if hundreds < 10 else ""
    for size, one, several in numerals.groups:
        if number >= size:
            many, rest = divmod(number, size)
            words = one if many == 1 else several.replace("{}", _plain_whole(many, numerals))
            break
    return words + (f" {_plain_whole(rest, numerals)}" if rest else "")
