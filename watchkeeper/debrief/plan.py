"""The plan of a flight: its track around home, north up, with the places of alerts and what the sortie names."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

from watchkeeper.aircraft.geodesy import Around as Plane
from watchkeeper.alerts.events import Level
from watchkeeper.brief.plot_labels import Box, Label, Labels, shortened
from watchkeeper.brief.plot_marks import arrow, chevron, obstacle_mark, place_mark
from watchkeeper.brief.plot_words import KINDS, area_words
from watchkeeper.brief.wording import bearing, distance
from watchkeeper.debrief.findings import Around, Entry, Fix, Flight
from watchkeeper.debrief.flights import weighty
from watchkeeper.debrief.svg import Drawn, line, text

SIZE: Final = 400.0
RADIUS: Final = 178.0
_MIDDLE: Final = SIZE / 2
_LEAST_M: Final = 10.0
_FAR: Final = 40.0
_TOGETHER: Final = 12.0
"""Alerts whose places are nearer share one mark."""


def draw_plan(
    flight: Flight, entries: Sequence[Entry], around: Around, *, of: str, exercise: bool, most: int = 1400
) -> Drawn | None:
    """Return the plan of a flight; None without a track."""
    if len(flight.track) < 2:
        return None
    plan = _Plan(flight, [one for one in entries if weighty(one) and one.place is not None], around, most)
    inside, height = plan.draw(exercise=exercise)
    title = f"Flight {flight.number}: plan"
    return Drawn(f"plan-{flight.number}", title, f"{title} of {of}. {plan.words()}", SIZE, height, inside)


class _Plan:
    def __init__(self, flight: Flight, entries: Sequence[Entry], around: Around, most: int) -> None:
        self._most = most
        self._flight, self._entries, self._around = flight, entries, around
        self._known_home = flight.home is not None
        self._plane = Plane(*flight.home) if flight.home is not None else None
        far = max(math.hypot(fix.north_m, fix.east_m) for fix in flight.track)
        self.view_m = max(_LEAST_M, 1.12 * far)
        self._labels = Labels(Box(2.0, 16.0, SIZE - 2.0, SIZE - 8.0))
        self._labels.keep_free(_MIDDLE, _MIDDLE, 7.0)

    def _at(self, north_m: float, east_m: float) -> tuple[float, float]:
        scale = RADIUS / self.view_m
        far = math.hypot(north_m, east_m)
        if far > _FAR * self.view_m:
            scale *= _FAR * self.view_m / far
        return _MIDDLE + east_m * scale, _MIDDLE - north_m * scale

    def _spot(self, place: tuple[float, float]) -> tuple[float, float]:
        assert self._plane is not None
        return self._at(*self._plane.flat(*place))

    def draw(self, *, exercise: bool) -> tuple[str, float]:
        parts = self._areas() + self._rings() + self._track() + self._marks() + self._wind()
        if exercise:
            parts.append(text("EXERCISE", SIZE - 4.0, 13.0, "d-exercise"))
        keys = self._key(SIZE + 6.0)
        return "".join(parts + keys), SIZE + 6.0 + 17.0 * math.ceil(len(self._kinds()) / 2)

    def _rings(self) -> list[str]:
        step = _ring_m(self.view_m)
        parts = [f'<circle class="p-rim" cx="{_MIDDLE:.0f}" cy="{_MIDDLE:.0f}" r="{RADIUS:.0f}"/>']
        angle = math.radians(self._free_bearing())
        for k in range(1, int(self.view_m / step) + 1):
            radius = k * step / self.view_m * RADIUS
            parts.append(f'<circle class="p-ring" cx="{_MIDDLE:.0f}" cy="{_MIDDLE:.0f}" r="{radius:.1f}"/>')
            if k * step < 0.94 * self.view_m:
                x, y = _MIDDLE + radius * math.sin(angle), _MIDDLE - radius * math.cos(angle)
                parts.append(_label(self._labels.place(distance(k * step), x, y, -3.0), "p-scale"))
        for name, x, y in (("N", 195.5, 11.0), ("E", 389.0, 204.5), ("S", 196.0, 398.0), ("W", 1.0, 204.5)):
            parts.append(text(name, x, y, "p-compass"))
        return parts

    def _free_bearing(self) -> float:
        busy = [
            math.degrees(math.atan2(f.east_m, f.north_m))
            for f in self._flight.track[:: max(1, len(self._flight.track) // 60)]
        ]
        return max(
            (float(at) for at in range(45, 405, 15) if at % 90),
            key=lambda at: min((abs((at - other + 180) % 360 - 180) for other in busy), default=0.0),
        )

    def _areas(self) -> list[str]:
        if self._plane is None:
            return []
        parts = []
        for _, kind, corners in self._around.areas:
            css = kind.replace("_", "-") if kind in KINDS else "other"
            parts.append(line([self._spot(at) for at in corners], f"p-area p-{css}", closed=True))
        return parts

    def _track(self) -> list[str]:
        spots = _thinned([self._at(fix.north_m, fix.east_m) for fix in self._flight.track], self._most)
        parts = [line(spots, "d-track")]
        if self._plane is not None and self._around.plan:
            spots_of_plan = [(_MIDDLE, _MIDDLE), *(self._spot(at) for at in self._around.plan)]
            parts.append(line(spots_of_plan, "p-back"))
        for a, b in _arrows(spots):
            parts.append(chevron(*a, *b))
        for way in self._flight.ways_home:
            fix = _nearest(self._flight.track, way.forecast.at_s)
            x, y = self._at(fix.north_m, fix.east_m)
            parts.append(f'<path class="p-point" d="M{x:.1f},{y - 6:.1f}l6,6l-6,6l-6,-6Z"/>')
        return parts

    def _marks(self) -> list[str]:
        parts: list[str] = []
        named: list[tuple[str, float, float, float, str]] = []
        if self._plane is not None:
            named.append(("home", _MIDDLE, _MIDDLE, 6.0, "p-name"))
            parts += self._surroundings(named)
        for numbers, level, x, y in _grouped(self._entries, self._at):
            mark = (
                f'<path class="d-warning" d="M{x - 5:.1f},{y - 5:.1f}h10v10h-10Z"/>'
                if level is Level.WARNING
                else f'<circle class="d-caution" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
            )
            parts.append(mark)
            named.append((numbers, x, y, 6.0, "d-number"))
        for _, x, y, radius, _ in named:
            self._labels.keep_free(x, y, radius)
        if self._plane is not None:
            parts.append(f'<path class="p-home" d="M{_MIDDLE} {_MIDDLE - 6}l6 6l-6 6l-6 -6Z"/>')
        parts += [_label(self._labels.place(name, x, y, radius), css) for name, x, y, radius, css in named]
        return parts + self._area_names()

    def _surroundings(self, named: list[tuple[str, float, float, float, str]]) -> list[str]:
        parts = []
        for name, place, top_m, radius_m in self._around.obstacles:
            x, y = self._spot(place)
            if math.dist((x, y), (_MIDDLE, _MIDDLE)) < RADIUS:
                parts.append(obstacle_mark(x, y, min(RADIUS, radius_m / self.view_m * RADIUS)))
                named.append((f"{shortened(name)} {top_m:.0f} m", x, y, 7.0, "p-small"))
        for name, place in self._around.places:
            x, y = self._spot(place)
            if math.dist((x, y), (_MIDDLE, _MIDDLE)) < RADIUS:
                parts.append(place_mark(x, y))
                named.append((shortened(name), x, y, 7.0, "p-small"))
        return parts

    def _area_names(self) -> list[str]:
        parts = []
        for name, kind, corners in self._around.areas if self._plane is not None else ():
            spots = [s for at in corners if math.dist(s := self._spot(at), (_MIDDLE, _MIDDLE)) < RADIUS - 6]
            if spots:
                x, y = max(spots, key=lambda spot: spot[1])
                label = self._labels.place(shortened(area_words(name, kind)), x, y, 1.0)
                parts.append(_label(label, "p-area-name"))
        return parts

    def _wind(self) -> list[str]:
        flight = self._flight
        if flight.wind_m_s is None or flight.wind_from_deg is None:
            return []
        return [
            arrow(24.0, 50.0, flight.wind_from_deg),
            text(f"wind {flight.wind_m_s:.0f} m/s", 4.0, 12.0, "p-small"),
            text(f"from {bearing(flight.wind_from_deg)}", 4.0, 26.0, "p-small"),
        ]

    def _kinds(self) -> list[tuple[str, str]]:
        shown = [("track", "track")]
        if self._flight.ways_home:
            begun = self._flight.ways_home[0].begun
            shown.append(("turn", "turned back" if begun == "return" else "farthest place"))
        levels = {level for _, level, _, _ in _grouped(self._entries, self._at)}
        shown += [("warning", "warning, by its number")] if Level.WARNING in levels else []
        shown += [("caution", "caution, by its number")] if levels - {Level.WARNING} else []
        if self._plane is not None:
            shown += [("plan", "as planned")] if self._around.plan else []
            shown += [("obstacle", "obstacle, top above home")] if self._around.obstacles else []
            shown += [("place", "landing place")] if self._around.places else []
            shown += [
                (kind, words) for kind, words in KINDS.items() if any(a[1] == kind for a in self._around.areas)
            ]
        return shown

    def _key(self, top: float) -> list[str]:
        parts = []
        for n, (kind, words) in enumerate(self._kinds()):
            x, y = 6.0 + 204.0 * (n % 2), top + 17.0 * (n // 2) + 6.0
            parts += [_sample(kind, x, y), text(words, x + 32.0, y + 4.0, "p-small")]
        return parts

    def words(self) -> str:
        """Return the plan in words."""
        flight = self._flight
        far = max(flight.track, key=lambda fix: math.hypot(fix.north_m, fix.east_m))
        middle = "home" if self._known_home else "its first place; home is not known"
        parts = [f"Track around {middle}, north up, out to {distance(self.view_m)}"]
        parts += [f"Farthest {_polar(far)}", f"Ends {_polar(flight.track[-1])}"]
        parts += [f"Alert {one.number} at {_polar(one.place)}" for one in self._entries if one.place is not None]
        parts += [f"Obstacle {name}" for name, *_ in self._around.obstacles]
        parts += [f"Landing place {name}" for name, _ in self._around.places]
        parts += [f"Area, {area_words(name, kind)}" for name, kind, _ in self._around.areas]
        return ". ".join(parts) + "."


def _polar(fix: Fix) -> str:
    far = math.hypot(fix.north_m, fix.east_m)
    return f"{distance(far)} at {bearing(math.degrees(math.atan2(fix.east_m, fix.north_m)) % 360)}"


def _ring_m(view_m: float) -> float:
    raw = view_m / 3.5
    scale = 10.0 ** math.floor(math.log10(raw))
    return next(k * scale for k in (1.0, 2.0, 5.0, 10.0) if k * scale >= raw * 0.7)


def _label(label: Label, css: str) -> str:
    words = text(label.text, label.x, label.y, css)
    if label.leader is None:
        return words
    x0, y0, x1, y1 = label.leader
    return line([(x0, y0), (x1, y1)], "p-leader") + words


def _sample(kind: str, x: float, y: float) -> str:
    match kind:
        case "track":
            return line([(x, y), (x + 24, y)], "d-track")
        case "plan":
            return line([(x, y), (x + 24, y)], "p-back")
        case "turn":
            return f'<path class="p-point" d="M{x + 12:.1f},{y - 6:.1f}l6,6l-6,6l-6,-6Z"/>'
        case "warning":
            return f'<path class="d-warning" d="M{x + 7:.1f},{y - 5:.1f}h10v10h-10Z"/>'
        case "caution":
            return f'<circle class="d-caution" cx="{x + 12:.1f}" cy="{y:.1f}" r="5"/>'
        case "obstacle":
            return obstacle_mark(x + 12, y, 0.0)
        case "place":
            return place_mark(x + 12, y)
        case _:
            return f'<path class="p-area p-{kind.replace("_", "-")}" d="M{x:.0f},{y - 5:.0f}h24v10h-24Z"/>'


def _thinned(spots: Sequence[tuple[float, float]], most: int) -> list[tuple[float, float]]:
    """Leave out places that would not be seen to differ from the last one, more where there are too many."""
    apart = 0.8
    while True:
        kept = [spots[0]]
        for spot in spots[1:-1]:
            if math.dist(spot, kept[-1]) >= apart:
                kept.append(spot)
        if len(kept) < max(most, 20):
            return [*kept, spots[-1]]
        apart *= 1.5


def _arrows(spots: Sequence[tuple[float, float]]) -> Iterable[tuple[tuple[float, float], tuple[float, float]]]:
    """Yield short ways along the track, now and then, for arrow heads."""
    gone = 30.0
    last = spots[0]
    begin = spots[0]
    for spot in spots[1:]:
        gone += math.dist(last, spot)
        last = spot
        if gone > 70.0 and math.dist(begin, spot) >= 20.0:
            yield begin, spot
            gone, begin = 0.0, spot
        elif gone < 45.0:
            begin = spot


def _nearest(track: Sequence[Fix], at_s: float) -> Fix:
    return min(track, key=lambda fix: abs(fix.at_s - at_s))


def _grouped(entries: Sequence[Entry], at: object) -> list[tuple[str, Level, float, float]]:
    """Return alerts by their places: numbers, the most urgent level, and where."""
    assert callable(at)
    groups: list[tuple[list[Entry], float, float]] = []
    for one in entries:
        assert one.place is not None
        x, y = at(one.place.north_m, one.place.east_m)
        near = next((group for group in groups if math.dist((x, y), group[1:]) < _TOGETHER), None)
        if near is None:
            groups.append(([one], x, y))
        else:
            near[0].append(one)
    return [
        (
            _numbers([one.number for one in group]),
            max((one.level for one in group), key=lambda level: level.urgency),
            x,
            y,
        )
        for group, x, y in groups
    ]


def _numbers(numbers: Sequence[int]) -> str:
    """Return numbers with runs drawn together: "1, 3\u20135"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    shown = [
        str(run[0]) if len(run) == 1 else f"{run[0]}{chr(0x2013) if len(run) > 2 else ', '}{run[-1]}"
        for run in runs
    ]
    return ", ".join(shown[:4]) + (" \N{HORIZONTAL ELLIPSIS}" if len(shown) > 4 else "")
