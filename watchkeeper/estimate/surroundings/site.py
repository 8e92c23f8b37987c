"""The sortie's surroundings on a plane, and where the aircraft is and goes on it: one look a run for all parts.

The plane lies around a place of the sortie that never moves (`geodesy.Around`), metres north and east.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX, PHASE_GROUPS
from watchkeeper.aircraft.files import SortieFile
from watchkeeper.aircraft.geodesy import Around
from watchkeeper.aircraft.polygon import Corners, Flat, apart_m, border_m, holds
from watchkeeper.aircraft.readings import US
from watchkeeper.aircraft.state import Aircraft, is_live
from watchkeeper.estimate.packs.pack import number

FAR_S: Final = 600.0
"""Times are not looked at further ahead, and are this where nothing comes nearer."""
FAR_M: Final = 10_000.0
"""Distances, likewise."""
STILL_M_S: Final = 0.5
"""Slower it has no track: position noise and swing (common practice)."""
_FRESH_US: Final = 3 * US
_REUSED: Final = 0.05
"""Of a distance to a border: moved by less, it is not measured anew."""
_HEIGHT: Final = INDEX["position.height"]
_CLIMB: Final = INDEX["position.climb_rate"]
_PHASE: Final = INDEX["flight.phase"]
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]


class Look(NamedTuple):
    """Where it is (m north and east), its height above home, how it moves, what it does. None is unknown."""

    place: Flat
    height_m: float | None
    velocity: Flat | None
    climb_m_s: float
    phase: str
    home: Flat | None
    seen: int
    """Counts positions: the same count, the same position."""

    @property
    def speed_m_s(self) -> float:
        """Over ground; 0 where unknown."""
        return math.hypot(*self.velocity) if self.velocity is not None else 0.0


class Zone:
    """An area of the sortie. How far its border is, is worked out anew only as far as that may have changed."""

    __slots__ = ("_at", "_border_m", "_inside", "corners", "kind", "middle", "name", "radius_m")

    def __init__(self, name: str, kind: str, corners: Corners) -> None:
        self.name = name
        self.kind = kind
        self.corners = tuple(corners)
        north, east = [corner[0] for corner in corners], [corner[1] for corner in corners]
        self.middle = (min(north) + max(north)) / 2, (min(east) + max(east)) / 2
        self.radius_m = max(math.dist(self.middle, corner) for corner in corners)
        self._at: Flat | None = None
        self._border_m = 0.0
        self._inside = False

    def away_m(self, place: Flat) -> float:
        """Return a distance that the area is not nearer than, at next to no cost."""
        return math.dist(place, self.middle) - self.radius_m

    def depth_m(self, place: Flat) -> float:
        """Return the distance to the border, positive inside, negative outside; up to 5 % less than it is."""
        if self._at is not None:
            moved_m = math.dist(place, self._at)
            if moved_m <= _REUSED * self._border_m:
                near_m = self._border_m - moved_m
                return near_m if self._inside else -near_m
        self._at, self._border_m, self._inside = place, border_m(self.corners, place), holds(self.corners, place)
        return self._border_m if self._inside else -self._border_m

    def apart_m(self, start: Flat, end: Flat, within_m: float) -> float:
        """Return the distance of a straight way: 0 where it leads in; a lower bound, if over `within_m`."""
        middle = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
        least_m = self.away_m(middle) - math.dist(start, end) / 2
        return least_m if least_m > within_m else apart_m(self.corners, start, end)


class Post(NamedTuple):
    """Something that stands up: where, its top above home, its radius, m."""

    place: Flat
    top_m: float
    radius_m: float


class Site:
    """What is around one flight, and what the aircraft does in it."""

    def __init__(self, aircraft: Aircraft) -> None:
        self._aircraft = aircraft
        sortie = self.sortie = aircraft.sortie if aircraft.sortie is not None else SortieFile()
        around = _origin(sortie)
        flat = around.flat if around is not None else (lambda *_: (0.0, 0.0))
        self._around = around
        self.line_m = sortie.payload.line_m
        self.posts = [Post(flat(*one.at), one.height_m, one.radius_m) for one in sortie.obstacles]
        self.ground = [Post(flat(*one.at), one.height_m, 0.0) for one in sortie.ground]
        zones = [Zone(one.name, one.kind, [flat(*at) for at in one.points]) for one in sortie.areas]
        self.boundaries = [zone for zone in zones if zone.kind == "boundary"]
        self.keep_out = [zone for zone in zones if zone.kind == "keep_out"]
        self.people = [zone for zone in zones if zone.kind == "people"]
        self._looked: tuple[int, Look | None] = (-1, None)

    def look(self, now_us: int) -> Look | None:
        """Return what it does at `now_us`; None on the ground, or without a position of now."""
        if self._looked[0] != now_us:
            self._looked = now_us, self._look(now_us)
        return self._looked[1]

    def _look(self, now_us: int) -> Look | None:
        aircraft = self._aircraft
        readings, streams, motion = aircraft.readings, aircraft.streams, aircraft.motion
        phase = readings.values[_PHASE]
        if phase not in _IN_FLIGHT or aircraft.position is None:
            return None
        if not (is_live(streams.position, now_us) or is_live(streams.high_latency, now_us)):
            return None
        around = self._around
        if around is None:  # nothing of the sortie has a place: home will do, or where it is
            around = Around(*(aircraft.home or aircraft.position))
        velocity = None
        north_m_s, east_m_s = motion.north_m_s, motion.east_m_s
        if north_m_s is not None and east_m_s is not None and now_us - motion.velocity_us <= _FRESH_US:
            velocity = north_m_s, east_m_s
        return Look(
            around.flat(*aircraft.position),
            number(readings, _HEIGHT, now_us),
            velocity,
            number(readings, _CLIMB, now_us) or 0.0,
            str(phase),
            around.flat(*aircraft.home) if aircraft.home is not None else None,
            streams.position.count + streams.high_latency.count,
        )


def _origin(sortie: SortieFile) -> Around | None:
    """Return the plane: around the sortie's home, else around the first place that it names."""
    if sortie.home is not None:
        return Around(*sortie.home)
    places: Sequence[tuple[float, float]] = [
        *(place for area in sortie.areas for place in area.points[:1]),
        *(one.at for one in sortie.obstacles),
        *(one.at for one in sortie.ground),
    ]
    return Around(*places[0]) if places else None


def stop_in_s(distance_m: float, speed_m_s: float, braking_m_s2: float) -> float:
    """Return the time left until braking stops it just before what is `distance_m` ahead: d/v less v/(2a)."""
    return min(FAR_S, distance_m / speed_m_s - speed_m_s / (2.0 * braking_m_s2))
