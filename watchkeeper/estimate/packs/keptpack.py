"""What was kept of a pack over a restart of the watch.

It comes from a file, so nothing of it is taken on trust.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from watchkeeper.aircraft.files import Packs
from watchkeeper.estimate.packs.charge import HOLE_DOUBT, LONGEST_HOLE_S, MOST_RATE
from watchkeeper.estimate.packs.chargefilter import ChargeFilter

_MOST_CELLS: Final = 192  # eight packs of 24 in series
_MOST_CELL_V: Final = 5.0
_LONGEST_S: Final = 36_000.0  # no battery flies for ten hours


class KeptPack(NamedTuple):
    """The filter, energy (J) and time (s) of the flight, the smoothed current, when that was, the counter then."""

    filter: ChargeFilter
    power_j: float
    power_s: float
    usual_a: float
    time_us: int
    counter_ah: float | None

    def draw_meanwhile(self, counter_ah: float | None, now_us: int) -> bool:
        """Take off what was used since, by the counter or what was usual; return whether anything tells it."""
        before_ah, filter_ = self.counter_ah, self.filter
        if (
            before_ah is not None
            and counter_ah is not None
            and 0.0 < counter_ah - before_ah <= filter_.capacity_ah
        ):
            filter_.draw(counter_ah - before_ah, 0.0)
            return True
        hole_s = max(0.0, (now_us - self.time_us) / 1e6)
        if hole_s > LONGEST_HOLE_S:
            return False  # another pack may have been put in
        guess_ah = max(0.0, self.usual_a) * hole_s / 3600
        filter_.draw(guess_ah, HOLE_DOUBT * guess_ah / filter_.capacity_ah)
        return True


def kept_pack(kept: Mapping[str, Any], packs: Packs, capacity_ah: float) -> KeptPack:
    """Return what was kept; ValueError, KeyError or TypeError if it cannot be that."""
    cells, time_us, counter_ah = kept["cells"], kept["time_us"], kept["counter_ah"]
    if not (isinstance(cells, int) and isinstance(time_us, int) and 1 <= cells <= _MOST_CELLS):
        raise ValueError("no pack that was kept")
    taken = ChargeFilter(packs, cells, capacity_ah)
    taken.resume(kept["filter"])
    power_j, power_s = (float(v) for v in kept["power"])
    usual_a = float(kept["usual_a"])
    most_a = MOST_RATE * capacity_ah
    most_w = most_a * cells * _MOST_CELL_V
    if not (abs(usual_a) <= most_a and 0.0 <= power_s <= _LONGEST_S and 0.0 <= power_j <= most_w * power_s):
        raise ValueError("no load that was kept")
    counter_ah = None if counter_ah is None else float(counter_ah)
    return KeptPack(taken, power_j, power_s, usual_a, time_us, counter_ah)
