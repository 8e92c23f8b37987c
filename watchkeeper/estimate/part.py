"""What an estimate is to the suite that runs it, and what one may build on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.estimate.air.wind import WindEstimate
from watchkeeper.estimate.home.ownsettings import OwnSettings
from watchkeeper.estimate.home.returning import ReturnHome
from watchkeeper.estimate.packs.battery import BatteryEstimates


class Part(Protocol):
    """One estimate: the readings it writes, in order, and how to work them out."""

    stream: Stream

    @property
    def indexes(self) -> tuple[int, ...]:
        """Catalogue indexes of the readings that `run` returns values for."""

    def run(self, now_us: int) -> Sequence[float | str | bool | None] | None:
        """Return the values (None: unknown), or None when nothing new came."""


@dataclass(frozen=True, slots=True)
class Known:
    """What the parts of a room may look at: the aircraft, and the estimates that run before them."""

    aircraft: Aircraft
    packs: BatteryEstimates
    wind: WindEstimate
    own: OwnSettings
    home: ReturnHome
