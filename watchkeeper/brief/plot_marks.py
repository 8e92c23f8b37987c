"""The marks of the reach plot, its hatches, and the key that explains them."""

from __future__ import annotations

import math
from html import escape
from typing import Final

from watchkeeper.brief.plot_labels import FONT
from watchkeeper.brief.plot_words import KINDS

HATCHES: Final = (
    '<pattern id="hatch-keep-out" width="7" height="7" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)">'
    '<path class="p-hatch" d="M0 0V7"/></pattern>'
    '<pattern id="hatch-people" width="7" height="7" patternUnits="userSpaceOnUse">'
    '<circle class="p-dot" cx="2" cy="2" r="1.1"/><circle class="p-dot" cx="5.5" cy="5.5" r="1.1"/></pattern>'
)
_WORDS: Final = {
    "plan": "plan, outward",
    "back": "straight way home",
    "outside": "point out of reach",
    "place": "landing place",
    "obstacle": "obstacle, top above home",
    **KINDS,
}
_ROW: Final = 17.0


def chevron(x0: float, y0: float, x1: float, y1: float) -> str:
    """Return an arrow head in the middle of a way; none on one too short for it."""
    far = math.hypot(x1 - x0, y1 - y0)
    if far < 18.0:
        return ""
    turn = math.degrees(math.atan2(y1 - y0, x1 - x0))
    at = f"translate({(x0 + x1) / 2:.1f} {(y0 + y1) / 2:.1f}) rotate({turn:.0f})"
    return f'<path class="p-plan" transform="{at}" d="M-4 -4L2 0L-4 4"/>'


def point_mark(x: float, y: float, *, inside: bool) -> str:
    """Return a point of the plan: a square, crossed out where it is beyond the reach."""
    if inside:
        return f'<path class="p-point" d="M{x - 4.5:.1f} {y - 4.5:.1f}h9v9h-9Z"/>'
    cross = f"M{x - 6:.1f} {y - 6:.1f}l12 12m0 -12l-12 12"
    return f'<path class="p-point p-outside" d="M{x - 6:.1f} {y - 6:.1f}h12v12h-12Z{cross}"/>'


def obstacle_mark(x: float, y: float, radius: float) -> str:
    """Return an obstacle: its radius to scale, and the peak with a dot of aeronautical charts (ICAO Annex 4)."""
    ring = f'<circle class="p-girth" cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}"/>' if radius >= 2.0 else ""
    return (
        f'{ring}<path class="p-peak" d="M{x - 5:.1f} {y + 5:.1f}L{x:.1f} {y - 7:.1f}L{x + 5:.1f} {y + 5:.1f}"/>'
        f'<circle class="p-dot" cx="{x:.1f}" cy="{y + 3:.1f}" r="1.6"/>'
    )


def place_mark(x: float, y: float) -> str:
    """Return a landing place: a foot coming down on a line."""
    line = f"M{x - 7:.1f} {y + 5:.1f}h14"
    foot = f"M{x:.1f} {y - 7:.1f}v9M{x - 4:.1f} {y - 2:.1f}l4 4l4 -4"
    return f'<path class="p-place" d="{line}{foot}"/>'


def arrow(x: float, y: float, from_deg: float) -> str:
    """Return an arrow that points where the wind goes."""
    at = f"translate({x:.0f} {y:.0f}) rotate({from_deg % 360:.0f})"
    return f'<path class="p-wind" transform="{at}" d="M0 -17V15M-5 7L0 16L5 7M-5 -17H5"/>'


def key(kinds: list[str], reach: str, top: float) -> tuple[list[str], float]:
    """Return the key to what is drawn, in two columns, and its height."""
    parts = []
    for n, kind in enumerate(kinds):
        x, y = 6.0 + 204.0 * (n % 2), top + _ROW * (n // 2) + 8.0
        words = reach if kind == "reach" else _WORDS[kind]
        parts += [
            _sample(kind, x, y),
            f'<text class="p-small" x="{x + 32:.0f}" y="{y + 4:.0f}">{escape(words)}</text>',
        ]
    return parts, _ROW * math.ceil(len(kinds) / 2) + (FONT / 2 if kinds else 0.0)


def _sample(kind: str, x: float, y: float) -> str:
    if kind == "place":
        return place_mark(x + 12, y)
    if kind == "obstacle":
        return obstacle_mark(x + 12, y, 0.0)
    if kind == "outside":
        return point_mark(x + 12, y, inside=False)
    if kind in KINDS:
        return f'<path class="p-area p-{kind.replace("_", "-")}" d="M{x:.0f} {y - 5:.0f}h24v10h-24Z"/>'
    line = f'<path class="p-{kind}" d="M{x:.0f} {y:.0f}h24"/>'
    return line + chevron(x, y, x + 24, y) if kind == "plan" else line
