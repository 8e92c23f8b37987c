"""Polygons on a plane: what is inside, how far outside, which part of a straight way is inside.

Any simple or crossing outline, closed by itself; inside is by the even-odd rule, and the border belongs to it (to
a centimetre). Places are pairs of metres.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

EDGE_M: Final = 0.01
"""So near the border is on it."""

Flat = tuple[float, float]
"""Metres north and east of some place."""
Corners = Sequence[Flat]
Span = tuple[float, float]
"""Of a way: the shares of it where something begins and ends."""


def edges(corners: Corners) -> Iterator[tuple[Flat, Flat]]:
    """Yield the sides, the closing one first."""
    last = corners[-1]
    for corner in corners:
        yield last, corner
        last = corner


def to_way_m(place: Flat, start: Flat, end: Flat) -> float:
    """Return the distance of a place from a straight way."""
    along, across = end[0] - start[0], end[1] - start[1]
    up, over = place[0] - start[0], place[1] - start[1]
    length2 = along * along + across * across
    share = min(1.0, max(0.0, (up * along + over * across) / length2)) if length2 > 0.0 else 0.0
    return math.hypot(up - share * along, over - share * across)


def border_m(corners: Corners, place: Flat) -> float:
    """Return the distance of a place from the border."""
    return min(to_way_m(place, one, other) for one, other in edges(corners))


def holds(corners: Corners, place: Flat) -> bool:
    """Whether a place is inside or on the border."""
    up, over = place
    inside = False
    for one, other in edges(corners):
        if to_way_m(place, one, other) <= EDGE_M:
            return True
        if (one[1] > over) != (other[1] > over):
            crossing = one[0] + (over - one[1]) / (other[1] - one[1]) * (other[0] - one[0])
            inside ^= up < crossing
    return inside


def spans(corners: Corners, start: Flat, end: Flat) -> list[Span]:
    """Return which parts of a straight way are inside, as shares of it, in order.

    Seen along the way, each two crossings of the border enclose a part of the inside; what runs along the border
    is inside as well.
    """
    length_m = math.dist(start, end)
    if length_m <= EDGE_M:
        return [(0.0, 1.0)] if holds(corners, start) else []
    north, east = (end[0] - start[0]) / length_m, (end[1] - start[1]) / length_m
    seen = [
        ((up - start[0]) * north + (over - start[1]) * east, (over - start[1]) * north - (up - start[0]) * east)
        for up, over in corners
    ]
    crossings: list[float] = []
    inside: list[Span] = []
    for one, other in edges(seen):
        if (one[1] > 0.0) != (other[1] > 0.0):
            crossings.append(one[0] + one[1] / (one[1] - other[1]) * (other[0] - one[0]))
        if abs(one[1]) <= EDGE_M and abs(other[1]) <= EDGE_M:
            inside.append((min(one[0], other[0]), max(one[0], other[0])))
    crossings.sort()
    inside += zip(crossings[0::2], crossings[1::2], strict=True)
    found: list[Span] = []
    for low_m, high_m in sorted(inside):
        low, high = max(0.0, low_m / length_m), min(1.0, high_m / length_m)
        if low >= high:
            continue
        if found and low <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], high)
        else:
            found.append((low, high))
    return found


def apart_m(corners: Corners, start: Flat, end: Flat) -> float:
    """Return how near a straight way comes to what is inside: 0 where it goes in."""
    if spans(corners, start, end):
        return 0.0
    return min(
        min(to_way_m(one, start, end), to_way_m(start, one, other), to_way_m(end, one, other))
        for one, other in edges(corners)
    )


def in_triangle(place: Flat, triangle: tuple[Flat, Flat, Flat]) -> bool:
    """Whether a place is inside a triangle, not on its sides."""
    sides = [(triangle[0], triangle[1]), (triangle[1], triangle[2]), (triangle[2], triangle[0])]
    turns = [(b[0] - a[0]) * (place[1] - a[1]) - (b[1] - a[1]) * (place[0] - a[0]) for a, b in sides]
    if not (all(turn > 0.0 for turn in turns) or all(turn < 0.0 for turn in turns)):
        return False
    return all(to_way_m(place, a, b) > EDGE_M for a, b in sides)


def crosses_itself(corners: Corners) -> bool:
    """Whether two sides cross; sides that only touch do not.

    Sides are compared where they overlap from south to north, so that an outline of many corners costs little.
    """
    sides = list(edges(corners))
    last = len(sides) - 1
    order = sorted(range(len(sides)), key=lambda i: min(sides[i][0][0], sides[i][1][0]))
    reach = [max(one[0], other[0]) for one, other in sides]
    for place, i in enumerate(order):
        for j in order[place + 1 :]:
            if min(sides[j][0][0], sides[j][1][0]) > reach[i]:
                break
            if abs(i - j) not in {1, last} and _cross(*sides[i], *sides[j]):
                return True
    return False


def _cross(a: Flat, b: Flat, c: Flat, d: Flat) -> bool:
    if max(a[1], b[1]) < min(c[1], d[1]) or max(c[1], d[1]) < min(a[1], b[1]):
        return False

    def side(p: Flat, q: Flat, r: Flat) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    if side(a, b, c) * side(a, b, d) >= 0.0 or side(c, d, a) * side(c, d, b) >= 0.0:
        return False
    return min(to_way_m(a, c, d), to_way_m(b, c, d), to_way_m(c, a, b), to_way_m(d, a, b)) > EDGE_M
