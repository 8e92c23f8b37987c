"""Ceiling, boundary, keep-out areas, obstacles, sight: how much is left, and how long until it is used up.

Times are along the present track. "Stop" times leave room to brake: distance over speed, less speed over twice the
braking (a steady stop takes v^2/2a).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.polygon import Flat, spans
from watchkeeper.aircraft.readings import Readings
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.packs.pack import number
from watchkeeper.estimate.surroundings.looking import Looking, Row
from watchkeeper.estimate.surroundings.site import FAR_M, FAR_S, STILL_M_S, Look, Post, Site, Zone, stop_in_s

AHEAD_S: Final = 60.0
"""So far ahead a track is held to be straight."""
ASTRAY_M: Final = 5.0
"""Around an obstacle: errors of its place and of the aircraft's (common practice)."""
OVER_M: Final = 3.0
"""Over an obstacle: errors of both heights (common practice)."""
GROUND_WITHIN_M: Final = 150.0
"""So far a named spot of ground tells of the ground around it; home the same (common practice)."""
_CLIMBS_M_S: Final = 0.3
_OVER_GROUND: Final = INDEX["position.over_ground"]


class Ceiling(Looking):
    """`ceiling.left`, `ceiling.reached_in` and `sight.left`; unknown where the sortie names no such limit."""

    indexes = (INDEX["ceiling.left"], INDEX["ceiling.reached_in"], INDEX["sight.left"])

    def __init__(self, site: Site, readings: Readings) -> None:
        super().__init__(site)
        self._readings = readings

    def _see(self, look: Look, now_us: int) -> Row | None:
        sortie = self._site.sortie
        left_m = reached_s = sight_m = None
        if sortie.ceiling_m is not None and look.height_m is not None:
            left_m = sortie.ceiling_m - max(look.height_m, self._over_ground_m(look, look.height_m, now_us))
            reached_s = FAR_S
            if look.climb_m_s > _CLIMBS_M_S:
                reached_s = min(FAR_S, max(0.0, left_m) / look.climb_m_s)
        if sortie.sight_m is not None and look.home is not None:
            sight_m = sortie.sight_m - math.dist(look.place, look.home)
        return left_m, reached_s, sight_m

    def _over_ground_m(self, look: Look, height_m: float, now_us: int) -> float:
        """Return the height over the ground below: as it tells, else over the nearest ground that is known."""
        told_m = number(self._readings, _OVER_GROUND, now_us)
        if told_m is not None:
            return told_m
        near = min(self._site.ground, key=lambda one: math.dist(one.place, look.place), default=None)
        if near is None:
            return height_m
        away_m = math.dist(near.place, look.place)
        home_m = math.dist(look.home, look.place) if look.home is not None else math.inf
        return height_m - near.top_m if away_m < min(home_m, GROUND_WITHIN_M) else height_m


class Borders(Looking):
    """`boundary.…` and `keep_out.…`; unknown where the sortie has no such area."""

    indexes = tuple(
        INDEX[name] for name in ("boundary.distance", "boundary.stop_in", "keep_out.distance", "keep_out.stop_in")
    )

    def __init__(self, site: Site, plan: Callable[[], ReturnPlan]) -> None:
        """`plan` tells how hard it brakes."""
        super().__init__(site)
        self._plan = plan

    def _see(self, look: Look, now_us: int) -> Row | None:  # noqa: ARG002 - as all parts are asked
        site = self._site
        within_m = stop_s = away_m = entry_s = None
        braking_m_s2 = self._plan().acceleration_m_s2
        if site.boundaries:
            within_m = max(zone.depth_m(look.place) for zone in site.boundaries)
            if within_m > 0.0 and look.velocity is not None:
                stop_s = self._leaves_in_s(look, within_m, braking_m_s2)
        if site.keep_out:
            away_m = max(0.0, min(-zone.depth_m(look.place) for zone in site.keep_out))
            if away_m > 0.0 and look.velocity is not None:
                entry_s = self._enters_in_s(look, away_m, braking_m_s2)
        return within_m, stop_s, away_m, entry_s

    def _leaves_in_s(self, look: Look, within_m: float, braking_m_s2: float) -> float:
        end, length_m, speed_m_s = _ahead(look)
        if speed_m_s < STILL_M_S or within_m > length_m:
            return FAR_S
        inside = sorted(span for zone in self._site.boundaries for span in spans(zone.corners, look.place, end))
        reached = 0.0
        for start, stop in inside:
            if start > reached + 1e-9:
                break
            reached = max(reached, stop)
        return FAR_S if reached >= 1.0 else stop_in_s(reached * length_m, speed_m_s, braking_m_s2)

    def _enters_in_s(self, look: Look, away_m: float, braking_m_s2: float) -> float:
        end, length_m, speed_m_s = _ahead(look)
        if speed_m_s < STILL_M_S or away_m > length_m:
            return FAR_S
        entries = [
            found[0][0]
            for zone in self._site.keep_out
            if zone.away_m(look.place) <= length_m and (found := spans(zone.corners, look.place, end))
        ]
        return stop_in_s(min(entries) * length_m, speed_m_s, braking_m_s2) if entries else FAR_S


def _ahead(look: Look) -> tuple[Flat, float, float]:
    """Return where a straight track leads, how long it is, and the speed."""
    north_m_s, east_m_s = look.velocity or (0.0, 0.0)
    end = look.place[0] + AHEAD_S * north_m_s, look.place[1] + AHEAD_S * east_m_s
    speed_m_s = math.hypot(north_m_s, east_m_s)
    return end, AHEAD_S * speed_m_s, speed_m_s


class Obstacles(Looking):
    """`obstacle.…`; unknown where the sortie names none."""

    indexes = tuple(INDEX[name] for name in ("obstacle.distance", "obstacle.reached_in", "obstacle.stop_in"))

    def __init__(self, site: Site, plan: Callable[[], ReturnPlan]) -> None:
        """`plan` tells how hard it brakes."""
        super().__init__(site)
        self._plan = plan

    def _see(self, look: Look, now_us: int) -> Row | None:  # noqa: ARG002 - as all parts are asked
        posts = self._site.posts
        if not posts or look.height_m is None:
            return None, None, None
        lowest_m = look.height_m - self._site.line_m - OVER_M
        away_m = min((_away_m(look.place, one) for one in posts if one.top_m > lowest_m), default=FAR_M)
        if look.velocity is None:
            return max(0.0, away_m), None, None
        reached_s = min((_reached_s(look, lowest_m, one) for one in posts), default=FAR_S)
        stop_s = FAR_S
        if reached_s < FAR_S:
            stop_s = stop_in_s(reached_s * look.speed_m_s, look.speed_m_s, self._plan().acceleration_m_s2)
        return max(0.0, away_m), reached_s, stop_s


def _away_m(place: Flat, post: Post) -> float:
    return math.dist(place, post.place) - post.radius_m


def _reached_s(look: Look, lowest_m: float, post: Post) -> float:
    """Return when it is at an obstacle, on this track and with this climb; far where it passes it, or is over it.

    A cylinder is a rough likeness: inside one it is told so only while it goes on towards the middle.
    """
    speed_m_s = look.speed_m_s
    if speed_m_s < STILL_M_S or look.velocity is None:
        return FAR_S
    north, east = post.place[0] - look.place[0], post.place[1] - look.place[1]
    along_m = (north * look.velocity[0] + east * look.velocity[1]) / speed_m_s
    aside_m = abs(east * look.velocity[0] - north * look.velocity[1]) / speed_m_s
    reach_m = post.radius_m + ASTRAY_M
    if along_m <= 0.0 or aside_m >= reach_m:
        return FAR_S
    half_m = math.sqrt(reach_m * reach_m - aside_m * aside_m)
    enters_s, leaves_s = max(0.0, along_m - half_m) / speed_m_s, (along_m + half_m) / speed_m_s
    if enters_s > AHEAD_S:
        return FAR_S
    lowest_then_m = min(lowest_m + look.climb_m_s * s for s in (enters_s, leaves_s))
    return enters_s if lowest_then_m < post.top_m else FAR_S


def nearest_m(zones: Sequence[Zone], start: Flat, end: Flat, within_m: float) -> float:
    """Return how near a straight way comes to areas; right where that is under `within_m`, else a lower bound."""
    return min((zone.apart_m(start, end, within_m) for zone in zones), default=FAR_M)
