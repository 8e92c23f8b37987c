"""Kinds of values on the command line."""

from __future__ import annotations

import argparse
import math


def speed(text: str) -> float:
    """Return times real time; `max` is infinite."""
    if text == "max":
        return math.inf
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not 0 < number <= 1000:
        raise argparse.ArgumentTypeError(f"'{text}' is no speed: give a number above 0 and up to 1000, or max")
    return number


def seconds(text: str) -> float:
    """Return a number of seconds, not negative."""
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not 0 <= number < math.inf:
        raise argparse.ArgumentTypeError(f"'{text}' is no time: give seconds from the start")
    return number
