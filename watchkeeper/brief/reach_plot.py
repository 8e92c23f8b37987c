"""The reach plot: a plan around home, north up, as SVG. Colours come from the page's style (`page_style`).

Everything is told apart by shape and words as well: the reach is a thick line, the plan a thin one with arrow
heads, areas are hatched by kind, and all that has a name carries it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from html import escape
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import CrewUnits
from watchkeeper.brief.findings import Brief
from watchkeeper.brief.plot_labels import FONT, Box, Label, Labels, shortened
from watchkeeper.brief.plot_marks import HATCHES, arrow, chevron, key, obstacle_mark, place_mark, point_mark
from watchkeeper.brief.plot_words import KINDS, area_words, told, wind_words
from watchkeeper.brief.wording import distance, height_least, known, up

SIZE: Final = 400.0
RADIUS: Final = 178.0
_MIDDLE: Final = SIZE / 2
_LEAST_VIEW_M: Final = 50.0
_FAR: Final = 40.0
"""Nothing is drawn further out than so many times the plot's radius; the plot is clipped anyway."""


class Spot(NamedTuple):
    """A place in the plot."""

    x: float
    y: float


def view_m(brief: Brief) -> float:
    """Return how far from home the plot shows, m.

    The whole reach, unless the plan would shrink to a quarter; the plan alone where the reach is more than three
    times as far all round (`reach_shows`); all that is named where there is neither.
    """
    reach = brief.reach
    reaches = [far for _, far in reach.bearings if known(far)] if reach is not None else []
    plan = [point.distance_m for point in reach.points if known(point.distance_m)] if reach is not None else []
    if plan and max(plan) > _LEAST_VIEW_M:
        whole = 0.0 if min(reaches, default=0.0) > 3.0 * max(plan) else 1.08 * max(reaches, default=0.0)
        far = max(1.12 * max(plan), min(whole, 4.0 * max(plan)))
    elif reaches:
        far = 1.08 * max(reaches)
    else:
        named = [place[1] for place in brief.places] + [obstacle[1] for obstacle in brief.obstacles]
        named += [far for _, _, corners in brief.areas for far, _ in corners]
        far = 1.12 * max((far for far in named if known(far)), default=0.0)
    return max(_LEAST_VIEW_M, far)


def reach_shows(brief: Brief, view: float) -> bool:
    """Return whether any of the reach lies within the plot."""
    reach = brief.reach
    return reach is not None and any(known(far) and far <= view for _, far in reach.bearings)


def ring_step_m(view: float) -> float:
    """Return the distance between range rings, 1, 2 or 5 times a power of ten: three to seven of them."""
    step = 10.0 ** math.floor(math.log10(view / 3.0))
    return max(factor * step for factor in (1.0, 2.0, 5.0) if factor * step <= view / 3.0)


def reach_plot(brief: Brief, units: CrewUnits) -> str:
    """Return the plot as one SVG element."""
    plot = _Plot(view_m(brief), brief, units)
    body = [
        '<g clip-path="url(#plot-clip)">',
        *plot.contour(),
        "</g>",
        *plot.rings(),
        '<g clip-path="url(#plot-clip)">',
        *plot.areas(),
        *plot.plan(),
        "</g>",
        *plot.marks(),
        *plot.corners(),
    ]
    legend, high = key(_kinds(brief, plot.view), f"reach, {_kept(brief)}", SIZE + 6.0)
    size = f"0 0 {SIZE:.0f} {SIZE + 6.0 + high:.0f}"
    clip = f'<circle cx="{_MIDDLE:.0f}" cy="{_MIDDLE:.0f}" r="{RADIUS:.0f}"/>'
    names = 'role="img" aria-labelledby="plot-title plot-desc"'
    return "\n".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="plot" viewBox="{size}" {names}>',
            '<title id="plot-title">Reach around home</title>',
            f'<desc id="plot-desc">{escape(told(brief, units, plot.view))}</desc>',
            f'<defs><clipPath id="plot-clip">{clip}</clipPath>{HATCHES}</defs>',
            *body,
            *legend,
            "</svg>",
        )
    )


def _kept(brief: Brief) -> str:
    return f"{up(brief.battery.required_pct, '%')} left at home" if brief.battery is not None else "reserve kept"


def _kinds(brief: Brief, view: float) -> list[str]:
    """Return what the key has to explain."""
    reach = brief.reach
    points = reach.points if reach is not None else ()
    shown = (
        ("reach", reach_shows(brief, view)),
        ("plan", bool(points)),
        ("back", bool(points)),
        ("outside", any(not point.inside for point in points)),
        ("place", bool(brief.places)),
        ("obstacle", bool(brief.obstacles)),
        *((kind, any(area[1] == kind for area in brief.areas)) for kind in KINDS),
    )
    return [kind for kind, there in shown if there]


def _path(spots: Iterable[Spot], *, closed: bool) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in spots) + ("Z" if closed else "")


def _text(label: Label, css: str) -> str:
    words = f'<text class="{css}" x="{label.x:.1f}" y="{label.y:.1f}">{escape(label.text)}</text>'
    if label.leader is None:
        return words
    x0, y0, x1, y1 = label.leader
    return f'<path class="p-leader" d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}"/>{words}'


class _Plot:
    """The parts of one plot."""

    def __init__(self, view: float, brief: Brief, units: CrewUnits) -> None:
        self.view, self._brief, self._units = view, brief, units
        self._labels = Labels(Box(2.0, 16.0, SIZE - 2.0, SIZE - 8.0))
        self._points = brief.reach.points if brief.reach is not None else ()
        self._labels.keep_free(_MIDDLE, _MIDDLE, 7.0)

    def _at(self, distance_m: float, bearing_deg: float) -> Spot | None:
        if not (known(distance_m) and known(bearing_deg)):
            return None
        far = min(max(distance_m, 0.0) / self.view, _FAR) * RADIUS
        angle = math.radians(bearing_deg)
        return Spot(_MIDDLE + far * math.sin(angle), _MIDDLE - far * math.cos(angle))

    def _spots(self, polar: Iterable[tuple[float, float]]) -> list[Spot]:
        return [spot for far, at in polar if (spot := self._at(far, at)) is not None]

    def rings(self) -> list[str]:
        """Draw range rings with their metres, on the bearing that has most room; the rim, and where north is."""
        step = ring_step_m(self.view)
        angle = self._free_bearing()
        parts = [f'<circle class="p-rim" cx="{_MIDDLE:.0f}" cy="{_MIDDLE:.0f}" r="{RADIUS:.0f}"/>']
        for k in range(1, int(self.view / step) + 1):
            spot = self._at(k * step, angle)
            assert spot is not None
            radius = k * step / self.view * RADIUS
            parts.append(f'<circle class="p-ring" cx="{_MIDDLE:.0f}" cy="{_MIDDLE:.0f}" r="{radius:.1f}"/>')
            if k * step < 0.94 * self.view:
                parts.append(_text(self._labels.place(distance(k * step), spot.x, spot.y, -3.0), "p-scale"))
        for at in range(0, 360, 30):
            sine, cosine = math.sin(math.radians(at)), math.cos(math.radians(at))
            long = 8.0 if at % 90 == 0 else 4.0
            parts.append(
                f'<path class="p-rim" d="M{_MIDDLE + RADIUS * sine:.1f} {_MIDDLE - RADIUS * cosine:.1f}'
                f'L{_MIDDLE + (RADIUS + long) * sine:.1f} {_MIDDLE - (RADIUS + long) * cosine:.1f}"/>'
            )
        for at, name, x, y in ((0, "N", -4.5, 11), (90, "E", 11, 4.5), (180, "S", -4, 20), (270, "W", -21, 4.5)):
            spot = Spot(_MIDDLE + RADIUS * round(math.sin(math.radians(at))) + x, 0)
            high = 0.0 if at == 0 else _MIDDLE - RADIUS * round(math.cos(math.radians(at)))
            parts.append(f'<text class="p-compass" x="{spot.x:.1f}" y="{high + y:.1f}">{name}</text>')
        return parts

    def _free_bearing(self) -> float:
        busy = [at for _, far, at, *_ in self._brief.obstacles if far <= self.view]
        busy += [at for _, far, at in self._brief.places if far <= self.view]
        busy += [point.bearing_deg for point in self._points]
        busy = [at for at in busy if known(at)]
        return max(
            (float(at) for at in range(45, 405, 15) if at % 90),
            key=lambda at: min((abs((at - other + 180) % 360 - 180) for other in busy), default=0.0),
        )

    def areas(self) -> list[str]:
        """Draw areas, hatched by kind."""
        parts = []
        for _, kind, corners in self._brief.areas:
            spots = self._spots(corners)
            if len(spots) >= 3:
                css = kind.replace("_", "-") if kind in KINDS else "other"
                parts.append(f'<path class="p-area p-{css}" d="{_path(spots, closed=True)}"/>')
        return parts

    def contour(self) -> list[str]:
        """Draw how far it can go."""
        reach = self._brief.reach
        spots = self._spots((far, at) for at, far in reach.bearings) if reach is not None else []
        return [f'<path class="p-reach" d="{_path(spots, closed=True)}"/>'] if len(spots) >= 3 else []

    def plan(self) -> list[str]:
        """Draw the way out from point to point, and the straight way back from the last."""
        home = Spot(_MIDDLE, _MIDDLE)
        spots = [home, *self._spots((point.distance_m, point.bearing_deg) for point in self._points)]
        if len(spots) == 1:
            return []
        arrows = [chevron(a.x, a.y, b.x, b.y) for a, b in itertools.pairwise(spots)]
        return [
            f'<path class="p-back" d="{_path((spots[-1], home), closed=False)}"/>',
            f'<path class="p-plan" d="{_path(spots, closed=False)}"/>',
            *filter(None, arrows),
        ]

    def marks(self) -> list[str]:
        """Draw home, points, landing places, obstacles and the names of all, areas last."""
        named: list[tuple[str, Spot, float, str]] = [("home", Spot(_MIDDLE, _MIDDLE), 6.0, "p-name")]
        parts = []
        for point in self._points:
            if (spot := self._at(point.distance_m, point.bearing_deg)) is not None:
                parts.append(point_mark(spot.x, spot.y, inside=point.inside))
                name = shortened(point.name) + ("" if point.inside else ", out of reach")
                named.append((name, spot, 6.0, "p-name"))
        for name, far_m, at, top_m, radius_m in self._brief.obstacles:
            if far_m <= self.view and (spot := self._at(far_m, at)) is not None:
                radius = max(radius_m, 0.0) / self.view * RADIUS if known(radius_m) else 0.0
                parts.append(obstacle_mark(spot.x, spot.y, min(radius, RADIUS)))
                top = height_least(top_m, self._units)
                named.append((f"{shortened(name)} {top}", spot, 7.0, "p-small"))
        for name, far_m, at in self._brief.places:
            if far_m <= self.view and (spot := self._at(far_m, at)) is not None:
                parts.append(place_mark(spot.x, spot.y))
                named.append((shortened(name), spot, 7.0, "p-small"))
        for _, spot, radius, _ in named:
            self._labels.keep_free(spot.x, spot.y, radius)
        parts.append(f'<path class="p-home" d="M{_MIDDLE} {_MIDDLE - 6}l6 6l-6 6l-6 -6Z"/>')
        parts += [_text(self._labels.place(name, s.x, s.y, radius), css) for name, s, radius, css in named]
        return parts + self._area_names()

    def _area_names(self) -> list[str]:
        parts = []
        for name, kind, corners in self._brief.areas:
            spots = [s for s in self._spots(corners) if math.dist(s, (_MIDDLE, _MIDDLE)) < RADIUS - 6]
            if spots:
                spot = _anchor(spots, boundary=kind == "boundary")
                parts.append(
                    _text(
                        self._labels.place(shortened(area_words(name, kind)), spot.x, spot.y, 1.0), "p-area-name"
                    )
                )
        return parts

    def corners(self) -> list[str]:
        """Draw the wind, in the corner."""
        wind = self._brief.wind
        if wind is None or not (known(wind[0]) and known(wind[1])):
            return []
        lines = wind_words(wind, self._units)
        return [
            arrow(24.0, 50.0, wind[1]),
            *(
                f'<text class="p-small" x="4" y="{12 + n * (FONT + 2):.0f}">{escape(line)}</text>'
                for n, line in enumerate(lines)
            ),
        ]


def _anchor(spots: Sequence[Spot], *, boundary: bool) -> Spot:
    """Where an area's name stands: at a corner of a boundary, in the middle of the others."""
    if boundary:
        return max(spots, key=lambda spot: spot.y)
    return Spot(sum(s.x for s in spots) / len(spots), sum(s.y for s in spots) / len(spots))
