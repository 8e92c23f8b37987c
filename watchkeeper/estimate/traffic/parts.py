"""The estimates of this room, in the order in which they run."""

from __future__ import annotations

from typing import Final

from watchkeeper.estimate.part import Known, Part
from watchkeeper.estimate.traffic.separation import Separation
from watchkeeper.estimate.traffic.watch import TrafficWatch

NEEDS: Final[frozenset[int]] = frozenset()
"""Messages that call for a run: none but the aircraft's own positions, which come as often."""


def parts(known: Known) -> list[Part]:
    """Return the parts, knowing nothing yet."""
    return [TrafficWatch(known.aircraft), Separation(known.aircraft)]
