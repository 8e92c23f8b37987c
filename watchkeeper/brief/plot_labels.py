"""Where the names in a plot stand, so that none covers another or a mark."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from watchkeeper.brief.wording import columns, plain

FONT: Final = 12.0
_ADVANCE: Final = 0.56
"""Width of a character over its height, for the common sans-serif faces."""
_FURTHER: Final = (0.0, 10.0, 20.0, 35.0, 50.0, 70.0)
"""How much further from its mark than beside it a name may stand."""
_ANOTHERS: Final = 400.0
"""What it costs to stand nearer to another mark, in square units of a name covered."""
MOST: Final = 26
"""Columns of a name; what is longer ends in an ellipsis, the tables have it whole."""


class Box(NamedTuple):
    """A rectangle: left, top, right, bottom."""

    left: float
    top: float
    right: float
    bottom: float

    def overlap(self, other: Box) -> float:
        """Return the area that two boxes share."""
        wide = min(self.right, other.right) - max(self.left, other.left)
        high = min(self.bottom, other.bottom) - max(self.top, other.top)
        return max(0.0, wide) * max(0.0, high)

    def away(self, x: float, y: float) -> float:
        """Return how far a point lies outside."""
        return math.hypot(max(self.left - x, x - self.right, 0.0), max(self.top - y, y - self.bottom, 0.0))


class Label(NamedTuple):
    """A name with the left end of its base line; `leader` leads to it from a mark that is not beside it."""

    text: str
    x: float
    y: float
    leader: tuple[float, float, float, float] | None = None


def shortened(text: str) -> str:
    """Return a name as it stands in the plot."""
    text = plain(text)
    if columns(text) <= MOST:
        return text
    while columns(text) > MOST - 1:
        text = text[:-1]
    return text.rstrip() + "\N{HORIZONTAL ELLIPSIS}"


@dataclass
class Labels:
    """Places names one by one beside their marks, within a frame."""

    frame: Box
    _taken: list[Box] = field(default_factory=list)
    _marks: list[tuple[float, float]] = field(default_factory=list)

    def keep_free(self, x: float, y: float, radius: float) -> None:
        """Keep a mark free of names, and names that are not its own away from it."""
        self._taken.append(Box(x - radius, y - radius, x + radius, y + radius))
        self._marks.append((x, y))

    def place(self, text: str, x: float, y: float, radius: float) -> Label:
        """Return a name beside its mark of that radius, where it covers least and is taken for no other's."""
        width = columns(text) * FONT * _ADVANCE
        best, cost, away = Box(x, y, x, y), math.inf, 0.0
        for further in _FURTHER:
            for box in _around(x, y, radius + 3.0 + further, width):
                found = self._cost(box, x, y) + further
                if found < cost - 1e-9:
                    best, cost, away = box, found, further
        self._taken.append(best)
        return Label(text, best.left, best.bottom - 0.2 * FONT, _leader(best, x, y, radius) if away else None)

    def _cost(self, box: Box, x: float, y: float) -> float:
        """Return what a name would cover, and three times what of it would lie outside; square units."""
        outside = (box.right - box.left) * (box.bottom - box.top) - box.overlap(self.frame)
        own = box.away(x, y)
        nearer = any(box.away(*mark) <= own + 1.0 for mark in self._marks if mark != (x, y))
        return 3.0 * outside + sum(box.overlap(taken) for taken in self._taken) + _ANOTHERS * nearer


def _around(x: float, y: float, near: float, width: float) -> Iterator[Box]:
    """Return the places for a name about a mark, right and left first, its edge at `near` from the middle."""
    for angle in sorted(range(0, 360, 30), key=lambda angle: abs(math.sin(math.radians(angle)))):
        right, down = math.cos(math.radians(angle)), math.sin(math.radians(angle))
        middle_x = x + right * near + max(-1.0, min(1.0, 2.0 * right)) * width / 2
        middle_y = y + down * near + max(-1.0, min(1.0, 2.0 * down)) * FONT / 2
        yield Box(middle_x - width / 2, middle_y - FONT / 2, middle_x + width / 2, middle_y + FONT / 2)


def _leader(box: Box, x: float, y: float, radius: float) -> tuple[float, float, float, float]:
    """Return a line from the edge of a mark to its name."""
    to_x, to_y = min(max(x, box.left), box.right), min(max(y, box.top), box.bottom)
    share = radius / max(radius, math.hypot(to_x - x, to_y - y))
    return (x + share * (to_x - x), y + share * (to_y - y), to_x, to_y)
