"""The way home as the aircraft is set to fly it: too low for what stands there, too high, over whom it leads."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import AircraftFile
from watchkeeper.aircraft.polygon import Flat, holds, spans, to_way_m
from watchkeeper.aircraft.readings import US
from watchkeeper.aircraft.vocabulary import Settings
from watchkeeper.estimate.home.homeway import OVERHEAD_M
from watchkeeper.estimate.home.places import ASIDE_M, OPEN_M, clearing_m
from watchkeeper.estimate.home.progress import Progress
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.surroundings.airspace import nearest_m
from watchkeeper.estimate.surroundings.looking import Looking, Row
from watchkeeper.estimate.surroundings.site import Look, Site

_AREAS_EVERY_US: Final = 2 * US
_AREAS_MOVED_M: Final = 5.0
_GAP_M: Final = 1.0
"""Between boundaries that meet: how corners are written."""


class WayHome(Looking):
    """`return.least_height` and what of the return does not fit; areas are unknown where the sortie has none."""

    indexes = tuple(
        INDEX[name]
        for name in (
            "return.least_height", "return.short", "return.over_ceiling", "return.over_people",
            "return.in_keep_out", "return.outside",
        )
    )  # fmt: skip

    def __init__(
        self,
        site: Site,
        file: AircraftFile | None,
        settings: Callable[[], Settings | None],
        plan: Callable[[], ReturnPlan],
        progress: Callable[[], Progress],
    ) -> None:
        super().__init__(site)
        self._stated = file is not None and file.return_.height_m is not None
        self._settings = settings
        self._plan = plan
        self._progress = progress
        self._areas: tuple[bool | None, bool | None, bool | None] = (None, None, None)
        self._areas_us: int | None = None
        self._areas_at: tuple[Flat, Flat] | None = None

    def _see(self, look: Look, now_us: int) -> Row | None:
        if look.home is None:
            return [None] * len(self.indexes)
        least_m = self.least_m(look.place, look.home)
        short_m = over_m = None
        overhead = math.dist(look.place, look.home) < OVERHEAD_M
        if least_m <= 0.0 or overhead:
            least_m, short_m = 0.0, -OPEN_M  # nothing stands there, whatever it is set to
        if look.height_m is not None and look.phase != "landing":
            flown_m, lowest_m = self.flown_m(look, look.height_m, math.dist(look.place, look.home))
            if least_m > 0.0 and lowest_m is not None:
                short_m = least_m - lowest_m
            ceiling_m = self._site.sortie.ceiling_m
            if ceiling_m is not None and flown_m is not None:
                over_m = flown_m - ceiling_m
        return least_m, short_m, over_m, *self._seen_areas(look, look.home, now_us)

    def least_m(self, place: Flat, home: Flat) -> float:
        """Return the least height above home that clears what stands on the straight way; 0 where nothing does.

        With a load on a line there is always the ground to clear.
        """
        site = self._site
        clearance, line_m = site.sortie.clearance, site.line_m
        least_m = clearing_m(0.0, clearance, line_m) if line_m > 0.0 else 0.0
        for post in (*site.posts, *site.ground):
            if to_way_m(post.place, place, home) <= post.radius_m + ASIDE_M and post.top_m > 0.0:
                least_m = max(least_m, clearing_m(post.top_m, clearance, line_m))
        return least_m

    def flown_m(self, look: Look, height_m: float, distance_m: float) -> tuple[float | None, float | None]:
        """Return the height at which a return begun now flies home, and the lowest that it may get to.

        Before it turns home that is what it is set to, for it may yet sink; None where nobody knows that.
        """
        plan = self._plan()
        if look.phase == "returning" and "climb" in self._progress().done:
            return height_m, height_m
        if not self._height_known():
            return None, None
        if plan.height_m is None or "climb" not in plan.order:
            return height_m, height_m
        now_m = plan.top_m(height_m, distance_m)
        lowest_m = now_m if look.phase == "returning" else min(now_m, plan.top_m(0.0, distance_m))
        return now_m, lowest_m

    def _height_known(self) -> bool:
        if self._stated:
            return True
        settings = self._settings()
        return settings is not None and settings.return_height_m.value is not None

    def _seen_areas(self, look: Look, home: Flat, now_us: int) -> tuple[bool | None, bool | None, bool | None]:
        """Return whether the way home leads over people, into a keep-out area, out of the boundary."""
        site = self._site
        if not (site.people or site.keep_out or site.boundaries):
            return self._areas
        at = self._areas_at
        if (
            at is not None
            and self._areas_us is not None
            and (now_us - self._areas_us < _AREAS_EVERY_US or math.dist(at[0], look.place) < _AREAS_MOVED_M)
            and at[1] == home
        ):
            return self._areas
        self._areas_at, self._areas_us = (look.place, home), now_us
        ways = [
            nearest_m(zones, look.place, home, ASIDE_M) <= ASIDE_M if zones else None
            for zones in (site.people, site.keep_out)
        ]
        self._areas = ways[0], ways[1], self._leads_out(look.place, home)
        return self._areas

    def _leads_out(self, place: Flat, home: Flat) -> bool | None:
        boundaries = self._site.boundaries
        if not boundaries:
            return None
        if not any(holds(zone.corners, place) for zone in boundaries):
            return False  # it is out already: the way home leads in
        reached, length_m = 0.0, math.dist(place, home)
        for start, end in sorted(span for zone in boundaries for span in spans(zone.corners, place, home)):
            if (start - reached) * length_m > _GAP_M:
                return True
            reached = max(reached, end)
        return (1.0 - reached) * length_m > _GAP_M
