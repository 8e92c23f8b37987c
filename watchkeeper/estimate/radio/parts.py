"""The estimates of this room, in the order in which they run."""

from __future__ import annotations

from typing import Final

from watchkeeper.estimate.part import Known, Part
from watchkeeper.estimate.radio.fading import RadioTrend
from watchkeeper.estimate.radio.link import LinkGaps, LinkLoss

NEEDS: Final[frozenset[int]] = frozenset()
"""Messages that call for a run."""


def parts(known: Known) -> list[Part]:
    """Return the parts, knowing nothing yet."""
    aircraft = known.aircraft
    motion, control = aircraft.motion, aircraft.control  # of this power-up, as the parts are
    return [
        LinkLoss(aircraft.trackers),
        LinkGaps(aircraft.trackers),
        RadioTrend(aircraft.readings, lambda: (motion.heading_rad, motion.attitude_us), lambda: control.told_by),
    ]
