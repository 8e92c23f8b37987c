"""How close the crew's own aircraft come to each other, by their own telemetry."""

from __future__ import annotations

import math
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.aircraft.traffic import US, Whereabouts
from watchkeeper.estimate.traffic import boxes
from watchkeeper.estimate.traffic.approach import Plane, Relative, closest, distance_at, doubt_m
from watchkeeper.estimate.traffic.whereabouts import OLDEST_US, whereabouts

PLACE_M: Final = 5.0
"""Two receivers of one sky side by side, which share most of their errors (common practice)."""
HEIGHT_M: Final = 5.0
_SPEEDS_M_S: Final = 0.5
_NAMES: Final = ("other", "closest_in", "closest_least", "closest_height")
Values = tuple[float | None, ...]


class Separation:
    """Writes `separation.…`, of two aircraft at the one with the lower system id: it is told once."""

    indexes = tuple(INDEX[f"separation.{name}"] for name in _NAMES)

    def __init__(self, aircraft: Aircraft) -> None:
        self.stream = Stream()
        self._aircraft = aircraft
        self._had = False

    def run(self, now_us: int) -> Values | None:
        """Return the readings; unknown once when no other of the crew's flies, None after that."""
        fleet = self._aircraft.others.traffic.fleet
        if len(fleet) < 2:
            return None
        own = whereabouts(self._aircraft, now_us)
        others = [
            (system, other)
            for system, other in fleet.items()
            if system > self._aircraft.system and other.flying and now_us - other.time_us <= OLDEST_US
        ]
        if own is None or not own.flying or not others:
            had, self._had = self._had, False
            return (None,) * len(_NAMES) if had else None
        self._had = True
        plane = Plane(own.latitude_deg, own.longitude_deg)
        judged = [(float(system), *_judge(own, other, plane, now_us)) for system, other in others]
        return min(judged, key=lambda one: boxes.OWN.urgency(*one[1:]))


def _judge(own: Whereabouts, other: Whereabouts, plane: Plane, now_us: int) -> tuple[float, float, float]:
    """Return in how many s the two are closest, and how near and how far apart in height at least then."""
    seen = plane.see(other.latitude_deg, other.longitude_deg, other.north_m_s, other.east_m_s)
    age_s, own_age_s = (now_us - other.time_us) / US, (now_us - own.time_us) / US
    relative = Relative(
        seen.north_m + seen.north_m_s * age_s - own.north_m_s * own_age_s,
        seen.east_m + seen.east_m_s * age_s - own.east_m_s * own_age_s,
        seen.north_m_s - own.north_m_s,
        seen.east_m_s - own.east_m_s,
    )

    def least(after_s: float) -> float:
        return max(0.0, distance_at(relative, after_s) - doubt_m(PLACE_M, _SPEEDS_M_S, age_s, after_s))

    time_s, _ = closest(relative)
    if boxes.OWN.near_now(time_s, least(0.0)):
        time_s = 0.0
    if own.sea_m is None or other.sea_m is None:
        return time_s, least(time_s), 0.0
    climb_m_s = other.climb_m_s - own.climb_m_s
    height_m = other.sea_m - own.sea_m + climb_m_s * time_s
    doubt = math.hypot(HEIGHT_M, _SPEEDS_M_S * time_s)
    return time_s, least(time_s), max(0.0, abs(height_m) - doubt)
