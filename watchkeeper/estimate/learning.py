"""What estimates learn in flight, kept as plain values so that a watch that is started again can go on with it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final, Protocol, TypeAlias, runtime_checkable

JSON: TypeAlias = "bool | int | float | str | Sequence[JSON] | Mapping[str, JSON] | None"

MAX_DEPTH: Final = 8
MAX_VALUES: Final = 1000
"""Values in all of what one part keeps; a pack needs a dozen, an aircraft has eight at most."""
MAX_TEXT: Final = 200
MAX_WHOLE: Final = 1 << 53
"""Whole numbers beyond this are not the same in every reader of JSON (RFC 8259, section 6)."""


@runtime_checkable
class Learns(Protocol):
    """A part that learns. Times in what it keeps are engine time, whole microseconds."""

    def learned(self) -> Mapping[str, JSON]:
        """Return what was learned so far; called at any time, and changes nothing."""

    def resume(self, kept: Mapping[str, JSON]) -> None:
        """Take up what `learned` returned before, as a part that has not run yet.

        It comes from a file: check types and ranges, and raise ValueError (or whatever comes of it) to refuse.
        """


def plain(value: Any, most: int = MAX_VALUES) -> JSON:
    """Return a copy of a value that is plain JSON of at most so many values. ValueError for anything else."""
    left = [most]
    return _plain(value, MAX_DEPTH, left)


def _plain(value: Any, depth: int, left: list[int]) -> JSON:
    left[0] -= 1
    if left[0] < 0 or depth < 0:
        raise ValueError("too much, or nested too deeply")
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return str(_name(value))
    if isinstance(value, int) and -MAX_WHOLE <= value <= MAX_WHOLE:
        return int(value)
    if isinstance(value, float) and math.isfinite(value):
        return float(value)
    if isinstance(value, Mapping):
        return {_name(name): _plain(one, depth - 1, left) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one, depth - 1, left) for one in value]
    raise ValueError(f"no plain value: {type(value).__name__}")


def _name(value: Any) -> str:
    if isinstance(value, str) and len(value) <= MAX_TEXT and not any("\ud800" <= c <= "\udfff" for c in value):
        return value
    raise ValueError("no text, or too long")
