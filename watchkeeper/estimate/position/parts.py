"""The estimates of this room, in the order in which they run."""

from __future__ import annotations

from typing import Final

from watchkeeper.estimate.part import Known, Part
from watchkeeper.estimate.position.drift import Drift
from watchkeeper.estimate.position.homewatch import HomeWatch
from watchkeeper.estimate.position.pull import HeightGap, PlaceJump
from watchkeeper.estimate.position.receiverpair import ReceiverPair
from watchkeeper.estimate.position.skyloss import SkyLoss

NEEDS: Final[frozenset[int]] = frozenset(
    {
        0,  # HEARTBEAT: arming
        124,  # GPS2_RAW
        193,  # EKF_STATUS_REPORT
        230,  # ESTIMATOR_STATUS
        242,  # HOME_POSITION
    }
)
"""Messages that call for a run."""


def parts(known: Known) -> list[Part]:
    """Return the parts, knowing nothing yet."""
    aircraft = known.aircraft
    return [
        SkyLoss(aircraft),
        ReceiverPair(aircraft),
        HeightGap(aircraft),
        PlaceJump(aircraft),
        HomeWatch(aircraft),
        Drift(aircraft, known.wind),
    ]
