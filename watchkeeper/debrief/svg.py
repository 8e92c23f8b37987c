"""What all plots share: escaping, paths, scales, and the same plot as a file to save."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape
from typing import Final, NamedTuple
from urllib.parse import quote

from watchkeeper.brief.wording import plain
from watchkeeper.debrief.look import plot_style

SPACE: Final = "http://www.w3.org/2000/svg"
FONT: Final = 12.0
ADVANCE: Final = 0.56
_STEPS_S: Final = (1, 2, 5, 10, 15, 30, 60, 120, 180, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400)


class Drawn(NamedTuple):
    """A plot: its name for a file, title and words, size in units, and what is drawn."""

    name: str
    title: str
    words: str
    width: float
    height: float
    inside: str


def text(words: str, x: float, y: float, css: str = "") -> str:
    """Return text with the left end of its base line."""
    kind = f' class="{css}"' if css else ""
    return f'<text{kind} x="{x:.1f}" y="{y:.1f}">{escape(plain(words))}</text>'


def line(points: Iterable[tuple[float, float]], css: str, *, closed: bool = False) -> str:
    """Return a path; nothing for fewer than two points."""
    listed = [f"{x:.1f},{y:.1f}" for x, y in points]
    return f'<path class="{css}" d="M{"L".join(listed)}{"Z" if closed else ""}"/>' if len(listed) > 1 else ""


def width_of(words: str) -> float:
    """Return about how wide words are."""
    return len(words) * FONT * ADVANCE


def in_page(drawn: Drawn, number: int) -> str:
    """Return the plot as it stands in the page; `number` makes its ids its own."""
    return (
        f'<svg class="plot" role="img" aria-labelledby="plot-{number}-t plot-{number}-d" '
        f'viewBox="0 0 {drawn.width:.0f} {drawn.height:.0f}">'
        f'<title id="plot-{number}-t">{escape(plain(drawn.title))}</title>'
        f'<desc id="plot-{number}-d">{escape(plain(drawn.words))}</desc>{drawn.inside}</svg>'
    )


def save_link(drawn: Drawn, prefix: str, defs: str = "") -> str:
    """Return a link that saves the plot as a file; it works without script and fetches nothing."""
    alone = (
        f'<svg xmlns="{SPACE}" class="plot" viewBox="0 0 {drawn.width:.0f} {drawn.height:.0f}" '
        f'width="{2 * drawn.width:.0f}" height="{2 * drawn.height:.0f}">'
        f"<title>{escape(plain(drawn.title))}</title><desc>{escape(plain(drawn.words))}</desc>"
        f"<style>{plot_style(defs + drawn.inside)}</style>{defs}"
        f'<path fill="#ffffff" d="M0,0H{drawn.width:.0f}V{drawn.height:.0f}H0Z"/>{drawn.inside}</svg>'
    )
    data = quote(alone, safe="/:;=,@!$()*+?-._~")
    name = "".join(c if c.isalnum() and c.isascii() else "-" for c in f"{prefix}-{drawn.name}".lower())
    return (
        f'<a class="save" download="{name}.svg" href="data:image/svg+xml;charset=utf-8,{data}">Save as SVG'
        f'<span class="away"> ({escape(plain(drawn.title))})</span></a>'
    )


def steps(low: float, high: float, most: int = 5) -> Sequence[float]:
    """Return round values from at or under `low` to at or over `high`, about `most` of them."""
    span = high - low
    if span <= 0.0:
        span = abs(high) * 0.1 or 1.0
    raw = span / most
    scale = 10.0 ** math.floor(math.log10(raw))
    step = next(k * scale for k in (1.0, 2.0, 2.5, 5.0, 10.0) if k * scale >= raw * 0.999)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [k * step for k in range(first, max(last, first + 1) + 1)]


def times(begin_s: float, end_s: float, most: int = 7) -> list[float]:
    """Return round times within."""
    step = next((one for one in _STEPS_S if (end_s - begin_s) / one <= most), 86400 * 7)
    first = math.ceil(begin_s / step)
    return [k * float(step) for k in range(first, math.floor(end_s / step) + 1)]


def since(at_s: float) -> str:
    """Return a time since the first frame, as minutes and seconds, from two hours on with hours."""
    whole = round(abs(at_s))
    sign = "-" if at_s < 0 and whole else ""
    if whole >= 7200:
        return f"{sign}{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    return f"{sign}{whole // 60}:{whole % 60:02d}"
