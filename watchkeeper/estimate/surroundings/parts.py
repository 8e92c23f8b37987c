"""The estimates of this room, in the order in which they run."""

from __future__ import annotations

from typing import Final

from watchkeeper.estimate.part import Known, Part
from watchkeeper.estimate.surroundings.airspace import Borders, Ceiling, Obstacles
from watchkeeper.estimate.surroundings.bears import Bears
from watchkeeper.estimate.surroundings.below import Falling
from watchkeeper.estimate.surroundings.site import Site
from watchkeeper.estimate.surroundings.wayhome import WayHome
from watchkeeper.estimate.surroundings.windnow import Airspeed, WindNow

NEEDS: Final[frozenset[int]] = frozenset()
"""Messages that call for a run."""


def parts(known: Known) -> list[Part]:
    """Return the parts, knowing nothing yet."""
    aircraft, own = known.aircraft, known.own
    site = Site(aircraft)
    return [
        Bears(aircraft.file, aircraft.sortie, aircraft.motion),
        WindNow(known.wind),
        Airspeed(known.wind, aircraft.readings),
        Ceiling(site, aircraft.readings),
        Borders(site, own.plan),
        Obstacles(site, own.plan),
        Falling(site, aircraft, known.wind),
        WayHome(site, aircraft.file, own.settings, own.plan, lambda: known.home.progress),
    ]
