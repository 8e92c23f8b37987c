"""The estimates of this room that build on those of the packs, in the order in which they run."""

from __future__ import annotations

from watchkeeper.estimate.packs.health import PackHealth
from watchkeeper.estimate.part import Known, Part


def parts(known: Known) -> list[Part]:
    """Return the parts, knowing nothing yet."""
    return [PackHealth(known.aircraft, known.packs, lambda: known.home.why)]
