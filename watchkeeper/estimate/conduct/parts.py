"""The estimates of this room, in the order in which they run."""

from __future__ import annotations

from typing import Final

from watchkeeper.estimate.conduct.envelope import Envelope
from watchkeeper.estimate.conduct.headway import Headway
from watchkeeper.estimate.conduct.holding import Holding
from watchkeeper.estimate.conduct.leanspeed import LeanSpeed
from watchkeeper.estimate.conduct.modecause import ModeCause
from watchkeeper.estimate.part import Known, Part

NEEDS: Final[frozenset[int]] = frozenset({0, 33, 436})
"""Messages that call for a run: HEARTBEAT, GLOBAL_POSITION_INT, CURRENT_MODE."""


def parts(known: Known) -> list[Part]:
    """Return the parts, knowing nothing yet."""
    return [Envelope(known), Headway(known), Holding(known), ModeCause(known), LeanSpeed(known)]
