"""Which of those in the air comes closest to the aircraft, when, how near, and where the crew should look."""

from __future__ import annotations

import math
from collections import deque
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.catalogues.traffic import OCTANTS
from watchkeeper.aircraft.fold_traffic import ADDRESS_PARAMETERS
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.aircraft.traffic import BEAT_LOST_US, US, Key, Track, Whereabouts
from watchkeeper.estimate.traffic import boxes
from watchkeeper.estimate.traffic.approach import Plane, Relative, closest, closing_m_s, distance_at, doubt_m
from watchkeeper.estimate.traffic.heights import Above, above, after, level_word
from watchkeeper.estimate.traffic.likeness import CLAIM_M, Likeness, nearest_m
from watchkeeper.estimate.traffic.whereabouts import whereabouts

_NAMES: Final = (
    "count", "kind", "distance", "height", "closest_in", "closest_distance", "closest_least", "closest_height",
    "octant", "crew_distance", "motion", "level", "advice",
)  # fmt: skip
LIVE_US: Final = 20 * US
"""One that was not told of for longer may be anywhere: a circle of 600 m by a turn alone."""
LIVE_DRONE_US: Final = 30 * US
"""Drones fly slower and their radios are heard worse."""
_HOLD_US: Final = 10 * US
_HISTORY_S: Final = 8
_WITHIN_DEG: Final = 0.3
"""33 km of latitude: a minute at the fastest speed that is believed, and more."""
_OWN_PLACE_M: Final = 5.0
_OWN_SPEED_M_S: Final = 0.5
_STRANGE_M_S: Final = {False: 30.0, True: 10.0}
"""Doubt of a speed that is not told, of an aircraft and of a drone."""
_CONVERGING_M_S: Final = 1.0
_LEAVING: Final = 2.0
"""Comes after everything within a box that does not leave."""
_KILOMETRE_M: Final = 1000.0

Values = tuple[float | str | bool | None, ...]


class _Found(NamedTuple):
    urgency: float
    track: Track
    relative: Relative
    time_s: float
    expected_m: float
    least_m: float
    height: Above | None
    height_then_m: float


class TrafficWatch:
    """Writes `traffic.…` of one aircraft, and where it is for the others of the fleet."""

    indexes = tuple(INDEX[f"traffic.{name}"] for name in _NAMES)

    def __init__(self, aircraft: Aircraft) -> None:
        self.stream = Stream()
        self._aircraft = aircraft
        self._traffic = aircraft.others.traffic
        self._history: deque[Whereabouts] = deque(maxlen=4 * _HISTORY_S)
        self._flown_m = 0.0
        self._likeness: dict[Key, Likeness] = {}
        self._parameters = 0
        self._told_nothing = False

    def run(self, now_us: int) -> Values | None:
        """Return the readings: unknown if a receiver is silent and nobody told of; None before one was heard."""
        traffic = self._traffic
        own = self._note_own(now_us)
        watched = traffic.watched(now_us)
        if watched is None:
            return None
        traffic.forget_old(now_us)
        self._read_address()
        for key in [key for key in self._likeness if key not in traffic.tracks]:
            del self._likeness[key]
        others = []
        for track in traffic.tracks.values():
            self._look(track, own, now_us)
            live_us = LIVE_DRONE_US if track.report.drone else LIVE_US
            if track.own_until_us <= now_us and now_us - track.report.time_us <= live_us and _near(track, own):
                others.append(track)
        if not watched:  # what is still told of is judged, whichever receiver has gone silent
            others = [track for track in others if now_us - track.heard_us <= BEAT_LOST_US]
        if not watched and not others:
            quiet, self._told_nothing = self._told_nothing, True
            return None if quiet else (None,) * len(_NAMES)
        self._told_nothing = False
        count = float(len(others))
        if own is None or not others:
            return count, *(None,) * (len(_NAMES) - 1)
        plane = Plane(own.latitude_deg, own.longitude_deg)
        judged = (self._judge(track, own, plane, now_us) for track in others)
        return self._told(count, min(judged, key=lambda one: one.urgency), own, now_us)

    def _note_own(self, now_us: int) -> Whereabouts | None:
        own = whereabouts(self._aircraft, now_us)
        if own is None:
            return None
        last = self._history[-1] if self._history else None
        if last is None or own.time_us > last.time_us:
            if last is not None:
                self._flown_m += math.hypot(own.north_m_s, own.east_m_s) * (own.time_us - last.time_us) / US
            self._history.append(own)
            self._traffic.fleet[self._aircraft.system] = own
        return own

    def _read_address(self) -> None:
        parameters = self._aircraft.parameters
        if parameters.changes == self._parameters:
            return
        self._parameters = parameters.changes
        value = parameters.values.get(ADDRESS_PARAMETERS.get(self._aircraft.autopilot, ""))
        if value is not None:
            self._traffic.note_address(self._aircraft.system, int(value))

    def _look(self, track: Track, own: Whereabouts | None, now_us: int) -> None:
        """Find out whether a track is this aircraft itself."""
        likeness = self._likeness.get(track.key)
        if likeness is None:
            likeness = self._likeness[track.key] = Likeness(now_us)
        if own is not None and track.fresh != likeness.fresh:
            likeness.fresh = track.fresh
            away_m, alike = nearest_m(track.report, self._history)
            if math.isfinite(away_m):
                likeness.look(away_m, alike, self._flown_m, now_us)
                if self._traffic.claims_own(track) and away_m <= CLAIM_M:
                    track.own_until_us = now_us + _HOLD_US
        if likeness.own(now_us):
            track.own_until_us = now_us + _HOLD_US

    def _judge(self, track: Track, own: Whereabouts, plane: Plane, now_us: int) -> _Found:
        report = track.report
        known = report.north_m_s is not None and report.east_m_s is not None
        seen = plane.see(
            report.latitude_deg, report.longitude_deg, report.north_m_s or 0.0, report.east_m_s or 0.0
        )
        age_s, own_age_s = (now_us - report.time_us) / US, (now_us - own.time_us) / US
        relative = Relative(
            seen.north_m + seen.north_m_s * age_s - own.north_m_s * own_age_s,
            seen.east_m + seen.east_m_s * age_s - own.east_m_s * own_age_s,
            seen.north_m_s - own.north_m_s,
            seen.east_m_s - own.east_m_s,
        )
        speeds_m_s = math.hypot(report.speed_m_s if known else _STRANGE_M_S[report.drone], _OWN_SPEED_M_S)
        places_m = math.hypot(report.place_m, _OWN_PLACE_M)

        def least(time_s: float) -> float:
            return max(0.0, distance_at(relative, time_s) - doubt_m(places_m, speeds_m_s, age_s, time_s))

        kind = boxes.DRONE if report.drone else boxes.AIRCRAFT
        time_s, expected_m = closest(relative)
        if kind.near_now(time_s, least(0.0)):
            time_s, expected_m = 0.0, distance_at(relative, 0.0)
        least_m = least(time_s)
        height = above(own, report)
        then_m = 0.0 if height is None else after(height, own, report, age_s, time_s).least_m
        urgency = kind.urgency(time_s, least_m, then_m)
        if _motion(relative) == "leaving":
            urgency += _LEAVING
        return _Found(urgency, track, relative, time_s, expected_m, least_m, height, then_m)

    def _told(self, count: float, worst: _Found, own: Whereabouts, now_us: int) -> Values:
        r, report = worst.relative, worst.track.report
        age_s = (now_us - report.time_us) / US
        height = None if worst.height is None else after(worst.height, own, report, age_s, 0.0)
        level = level_word(height)
        advice = "descend"
        if level == "below":
            advice = "hold"
        elif level == "level" and report.drone:
            advice = "avoid"
        octant, away_m = self._from_crew(r, own, (now_us - own.time_us) / US)
        return (
            count, "drone" if report.drone else "aircraft", math.hypot(r.north_m, r.east_m),
            None if height is None else height.expected_m, worst.time_s, worst.expected_m, worst.least_m,
            worst.height_then_m, octant, spoken_m(away_m), _motion(r), level, advice,
        )  # fmt: skip

    def _from_crew(self, r: Relative, own: Whereabouts, age_s: float) -> tuple[str, float]:
        """Return the octant and the distance from the crew, or from the aircraft while its place is unknown."""
        sortie = self._aircraft.sortie
        crew = sortie.crew.at if sortie is not None else None
        place = crew if crew is not None else self._aircraft.home
        north_m, east_m = r.north_m, r.east_m
        if place is not None:
            seen = Plane(own.latitude_deg, own.longitude_deg).see(*place, 0.0, 0.0)
            north_m += own.north_m_s * age_s - seen.north_m
            east_m += own.east_m_s * age_s - seen.east_m
        return octant_of(north_m, east_m), math.hypot(north_m, east_m)


def _motion(relative: Relative) -> str:
    closing = closing_m_s(relative)
    if abs(closing) <= _CONVERGING_M_S:
        return "passing"
    return "converging" if closing > 0 else "leaving"


def _near(track: Track, own: Whereabouts | None) -> bool:
    return own is None or abs(track.report.latitude_deg - own.latitude_deg) <= _WITHIN_DEG


def octant_of(north_m: float, east_m: float) -> str:
    """Return the word for a direction: 45 degrees each, north from 337.5 to 22.5."""
    return OCTANTS[round(math.degrees(math.atan2(east_m, north_m)) / 45) % 8]


def spoken_m(distance_m: float) -> float:
    """Return a distance in the steps of speech: 100 m from a kilometre on, 50 m from 100 m, else 10 m."""
    step_m = 100 if distance_m >= _KILOMETRE_M else 50 if distance_m >= 100 else 10
    return float(round(distance_m / step_m) * step_m)
