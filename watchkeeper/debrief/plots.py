"""Panels over time as SVG: round numbers, flights shaded, alerts by their numbers, everything in words too."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from watchkeeper.debrief.findings import Curve, Entry, Figure, Flight, Limit, Panel, Point
from watchkeeper.debrief.flights import weighty
from watchkeeper.debrief.svg import Drawn, line, since, steps, text, times, width_of

WIDTH: Final = 440.0
LEFT, RIGHT = 46.0, 430.0
_PANEL: Final = 120.0
_KEY: Final = 15.0
_LEAST_SPAN: Final = {"": 4.0, "%": 5.0, "m": 5.0, "m/s": 2.0, "Wh": 0.5, "mΩ": 5.0, "dB": 5.0}
_NEAR: Final = 15.0
"""Numbers of alerts stand no closer."""


class Span(NamedTuple):
    """The time that is shown."""

    begin_s: float
    end_s: float

    def x(self, at_s: float) -> float:
        """Where a time stands."""
        return LEFT + (at_s - self.begin_s) / (self.end_s - self.begin_s) * (RIGHT - LEFT)


class Setting(NamedTuple):
    """What stands in all figures of one aircraft."""

    span: Span
    flights: Sequence[Flight]
    entries: Sequence[Entry]
    begins: str
    exercise: bool
    of: str
    most: int = 1400
    """Points a curve."""


def span_of(flights: Sequence[Flight], first_s: float, last_s: float) -> Span:
    """Return the time to show: the flights with a little before and after, else all."""
    begin, end = (flights[0].begins_s, max(f.ends_s for f in flights)) if flights else (first_s, last_s)
    room = max(2.0, 0.03 * (end - begin))
    begin, end = max(first_s, begin - room), min(last_s, end + room)
    return Span(begin, max(end, begin + 1.0))


def draw(figure: Figure, setting: Setting) -> Drawn | None:
    """Return a figure with the panels that have something to show; None if none has."""
    panels = [panel for panel in figure.panels if _shown(panel, setting.span)]
    if not panels:
        return None
    parts: list[str] = []
    y = 2.0
    for k, panel in enumerate(panels):
        y, drawn = _panel(panel, y, setting, first=k == 0)
        parts += drawn
    parts += _time_axis(y, setting)
    if setting.exercise:
        parts.append(text("EXERCISE", RIGHT, 13.0, "d-exercise"))
    words = f"{figure.title} of {setting.of}. " + " ".join(_told(panel, setting.span) for panel in panels)
    return Drawn(figure.name, figure.title, words.strip(), WIDTH, y + 34.0, "".join(parts))


def missing(figure: Figure, span: Span) -> list[str]:
    """Return why panels of a figure are not there."""
    return [
        panel.why_none or f"{panel.title}: nothing was known in flight."
        for panel in figure.panels
        if not _shown(panel, span)
    ]


def _shown(panel: Panel, span: Span) -> bool:
    return any(value is not None for curve in panel.curves for _, value in _within(curve.points, span))


def _within(points: Sequence[Point], span: Span) -> list[Point]:
    return [point for point in points if span.begin_s <= point[0] <= span.end_s]


def _values(panel: Panel, span: Span) -> list[float]:
    return [
        value
        for curve in panel.curves
        for points in (curve.points, curve.low)
        for _, value in _within(points, span)
        if value is not None
    ]


class _Scale(NamedTuple):
    """An axis: its ends, and the round values within."""

    low: float
    high: float
    ticks: Sequence[float]


def _scale(panel: Panel, span: Span) -> _Scale:
    values = [*_values(panel, span), *(one.value for one in panel.limits)]
    low, high = min(values), max(values)
    if panel.from_zero:
        low = min(0.0, low)
        high = max(low + _LEAST_SPAN.get(panel.unit, 0.0), high)
    ticks = steps(low, high)
    step = ticks[1] - ticks[0]
    if low - ticks[0] > 0.6 * step:  # hardly anything lies down there: no whole step for it
        return _Scale(low - 0.08 * step, ticks[-1], ticks[1:])
    return _Scale(ticks[0], ticks[-1], ticks)


def _panel(panel: Panel, top: float, setting: Setting, *, first: bool) -> tuple[float, list[str]]:
    """Draw one panel; return where the next begins."""
    span, scale = setting.span, _scale(panel, setting.span)
    named = panel.title + (f", {panel.unit}" if panel.unit else "")
    parts = [text(named, 2.0, top + 11.0, "d-title")]
    y = top + 17.0
    shown = [c for c in panel.curves if any(v is not None for _, v in _within(c.points, span))]
    for curve in shown:
        parts += [
            line([(4.0, y + 5.0), (32.0, y + 5.0)], f"d-{curve.line}"),
            text(curve.words, 38.0, y + 9.0, "d-soft"),
        ]
        y += _KEY
    marks = _numbers(setting, y + 11.0) if first else []
    y += 16.0 if marks else 4.0
    bottom = y + _PANEL
    low, high = scale.low, scale.high

    def at(value: float) -> float:
        return bottom - (min(max(value, low), high) - low) / (high - low) * _PANEL

    parts += _ground(setting, y, bottom)
    decimals = _decimals(scale.ticks)
    for value in scale.ticks:
        parts += [
            line([(LEFT, at(value)), (RIGHT, at(value))], "d-grid"),
            text(f"{value + 0.0:.{decimals}f}", LEFT - 5.0, at(value) + 4.0, "d-soft d-end"),
        ]
    parts += [*marks, line([(LEFT, y), (LEFT, bottom), (RIGHT, bottom)], "d-axis")]
    for curve in shown:
        parts += _curve(curve, span, at, setting.most)
    for limit in panel.limits:
        first_v, last_v = (next(v for _, v in some if v is not None) for some in _ends(shown[0], span))
        parts += _limit(limit, at, left=abs(first_v - limit.value) > abs(last_v - limit.value))
    return bottom + 14.0, parts


def _curve(curve: Curve, span: Span, at: Callable[[float], float], most: int) -> list[str]:
    parts = _band(curve, span, at, most) if curve.low else []
    for stretch in _stretches(thinned(_within(curve.points, span), most)):
        xy = [(span.x(t), at(v)) for t, v in stretch]
        if len(xy) == 1:
            xy.append((xy[0][0] + 1.0, xy[0][1]))
        parts.append(line(xy, f"d-{curve.line}"))
    return parts


def _band(curve: Curve, span: Span, at: Callable[[float], float], most: int) -> list[str]:
    parts = []
    lows = _stretches(thinned(_within(curve.low, span), most))
    for stretch in _stretches(thinned(_within(curve.points, span), most)):
        begin_s, end_s = stretch[0][0], stretch[-1][0]
        under = [(t, v) for low in lows for t, v in low if begin_s - 1.0 <= t <= end_s + 1.0]
        if len(under) > 1 and len(stretch) > 1:
            ring = [(span.x(t), at(v)) for t, v in stretch] + [(span.x(t), at(v)) for t, v in reversed(under)]
            parts.append(line(ring, "d-band", closed=True))
    return parts


def thinned(points: Sequence[Point], most: int) -> list[Point]:
    """Return at most so many points: of equal parts the least, the greatest and a gap, if there was one."""
    if len(points) <= most:
        return [*points]
    each = math.ceil(len(points) / (most / 3))
    kept: list[Point] = []
    for k in range(0, len(points), each):
        some = points[k : k + each]
        known = [(at_s, value) for at_s, value in some if value is not None]
        ends: list[Point] = []
        if known:
            ends = [*{min(known, key=lambda p: p[1]), max(known, key=lambda p: p[1])}]
        if len(known) < len(some):
            ends.append(next(point for point in some if point[1] is None))
        kept += sorted(ends, key=lambda p: p[0])
    return kept


def _stretches(points: Sequence[Point]) -> list[list[tuple[float, float]]]:
    found: list[list[tuple[float, float]]] = [[]]
    for at_s, value in points:
        if value is None:
            found.append([])
        else:
            found[-1].append((at_s, value))
    return [one for one in found if one]


def _ends(curve: Curve, span: Span) -> tuple[list[Point], list[Point]]:
    points = _within(curve.points, span)
    return points, points[::-1]


def _limit(limit: Limit, at: Callable[[float], float], *, left: bool) -> list[str]:
    """Draw a limit; its name stands at the end at which the curve is farther away."""
    y = at(limit.value)
    x, css = (LEFT + 4.0, "d-soft") if left else (RIGHT - 2.0, "d-soft d-end")
    return [line([(LEFT, y), (RIGHT, y)], "d-limit"), text(limit.words, x, y - 4.0, css)]


def _ground(setting: Setting, top: float, bottom: float) -> list[str]:
    """Draw the flights as shaded time, and where it turned back."""
    span, parts = setting.span, []
    for flight in setting.flights:
        left, right = max(LEFT, span.x(flight.begins_s)), min(RIGHT, span.x(flight.ends_s))
        parts.append(f'<path class="d-flight" d="M{left:.1f},{top:.1f}H{right:.1f}V{bottom:.1f}H{left:.1f}Z"/>')
        for way in flight.ways_home:
            if way.begun == "return":
                x = span.x(way.forecast.at_s)
                parts.append(line([(x, top), (x, bottom)], "d-turn"))
    return parts


def _numbers(setting: Setting, base: float) -> list[str]:
    """Draw the numbers of alerts above their times; those that stand too close share one, as "3-5"."""
    found = [
        one for one in setting.entries if weighty(one) and setting.span.begin_s <= one.at_s <= setting.span.end_s
    ]
    groups: list[tuple[float, list[int]]] = []
    for one in sorted(found, key=lambda one: one.at_s):
        x = setting.span.x(one.at_s)
        if groups and x - groups[-1][0] < max(_NEAR, width_of(_range(groups[-1][1])) + 6.0):
            groups[-1][1].append(one.number)
        else:
            groups.append((x, [one.number]))
    parts = []
    for x, numbers in groups:
        words = _range(numbers)
        half = width_of(words) / 2
        parts += [
            text(words, min(max(x, LEFT + half), RIGHT - half), base, "d-number d-mid"),
            line([(x, base + 2.0), (x, base + 7.0)], "d-tick"),
        ]
    return parts


def _range(numbers: Sequence[int]) -> str:
    return str(numbers[0]) if len(numbers) == 1 else f"{numbers[0]}\N{EN DASH}{numbers[-1]}"


def _time_axis(y: float, setting: Setting) -> list[str]:
    base = y - 14.0
    parts = []
    for at_s in times(*setting.span):
        x = setting.span.x(at_s)
        half = width_of(since(at_s)) / 2
        parts += [
            line([(x, base), (x, base + 4.0)], "d-tick"),
            text(since(at_s), min(x, RIGHT - half + 8.0), base + 16.0, "d-soft d-mid"),
        ]
    unit = "h:min:s" if setting.span.end_s >= 7200 else "min:s"
    turned = any(way.begun == "return" for flight in setting.flights for way in flight.ways_home)
    told = ("shaded: flight" if setting.flights else "") + (", dotted: turned back" if turned else "")
    parts.append(text(f"{unit} since {setting.begins[11:19]} UTC", 2.0, base + 33.0, "d-soft"))
    if told:
        parts.append(text(told, RIGHT, base + 33.0, "d-soft d-end"))
    return parts


def _decimals(ticks: Sequence[float]) -> int:
    """Return how many decimals tell round values apart."""
    return next(
        n for n in range(7) if n == 6 or all(abs(round(one, n) - one) < 1e-9 * max(1.0, abs(one)) for one in ticks)
    )


def _told(panel: Panel, span: Span) -> str:
    """Return what a panel shows in words."""
    parts = []
    for curve in panel.curves:
        known = [(t, v) for t, v in _within(curve.points, span) if v is not None]
        if not known:
            continue
        least, most = min(known, key=lambda p: p[1]), max(known, key=lambda p: p[1])
        unit = f" {panel.unit}" if panel.unit else ""
        ends = (("first", known[0]), ("least", least), ("most", most), ("last", known[-1]))
        said = ", ".join(f"{name} {_short(value)}{unit} at {since(at_s)}" for name, (at_s, value) in ends)
        parts.append(f"{curve.words}: {said}")
    limits = "".join(f" Limit drawn: {one.words}, {_short(one.value)} {panel.unit}." for one in panel.limits)
    return f"{panel.title}: {'; '.join(parts)}.{limits}"


def _short(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.1f}" if abs(value) >= 10 else f"{value:.2f}"
