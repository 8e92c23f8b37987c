"""What a flight showed of its packs, and what becomes of the crew's ledger by that.

Cycles are equivalent full ones: charge drawn over the capacity by the label (common practice). Capacity and
resistance are what the voltages showed, without what was supposed before, so that the ledger weighs old and new by
their doubts, whatever the watch began with.
"""

from __future__ import annotations

import math
from datetime import datetime
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import PHASE_GROUPS
from watchkeeper.aircraft.ledger import MOST_FLIGHTS, Capacity, PackEntry, Resistance
from watchkeeper.estimate.packs.cell import temperature_factor
from watchkeeper.estimate.packs.pack import PackEstimate
from watchkeeper.estimate.packs.packtoday import SEEN_CAPACITY, SEEN_OHM, UNTOLD_OHM, FittedPack, scale_of

DREW: Final = 0.3
"""Of the capacity: a flight that drew less tells nothing of it (common practice: half and more is better)."""
SURE_AH: Final = 0.08
"""Of the capacity by the voltages, one standard deviation: above, it is not worth writing down."""
SURE_OHM: Final = 0.15
LIKELY: Final = (0.4, 1.3)
"""Of the label: outside it is no capacity but a current that is measured wrongly."""
LEAST_AH: Final = 0.04
"""Doubt that no number of flights takes away: in all of them the same current sensor is off (3 %), and the cell's
curve from the published one (two published pouch cells, 25 mV apart, differ by 3 to 5 %)."""
LEAST_OHM: Final = 0.05
SAME_S: Final = 20.0
"""Two ends of a flight of one pack that are closer are one and the same: seen by two watches, or replayed."""
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]
_DOWN: Final = frozenset({"landed", "on_ground"})


class PackSeen(NamedTuple):
    """What was seen of one pack since it was last written down: full cycles, and what it showed (None: nothing).

    The doubts are one standard deviation of the logarithm, near enough a part of the value.
    """

    label: str
    cycles: float
    capacity_ah: float | None = None
    capacity_doubt: float = 0.0
    resistance_ohm: float | None = None
    resistance_doubt: float = 0.0
    degc: float | None = None


class Flown(NamedTuple):
    """A flight that is over, and what was seen of its packs with labels.

    `unlabelled`: it was powered up anew after an earlier flight, and nobody has said which packs are in it now.
    """

    packs: tuple[PackSeen, ...]
    unlabelled: bool = False


def pack_seen(one: PackEstimate) -> PackSeen | None:
    """Return what was seen of a pack with a label since it was last booked, and book it; None if nothing was."""
    packs, kept = one.packs, one.filter
    if not isinstance(packs, FittedPack) or not packs.label or kept is None or not kept.started:
        return None
    rated_ah = packs.rated_ah or kept.capacity_ah
    drawn_ah = kept.drawn_ah
    scale = scale_of(packs)
    # a current that is grossly wrong counts by how far the voltage says that the charge fell
    used = drawn_ah * (kept.state().per_ah if one.wrong_current else math.exp(-scale.off) / rated_ah)
    seen = PackSeen(packs.label, max(0.0, used))
    if not one.wrong_current:
        capacity = kept.capacity_shown()
        told = capacity is not None and drawn_ah >= DREW * capacity[0] and capacity[1] <= SURE_AH
        if capacity is not None and told and LIKELY[0] * rated_ah <= capacity[0] <= LIKELY[1] * rated_ah:
            # by the voltages, and by a current sensor that another pack's flight need not share
            doubt = math.hypot(capacity[1], scale.doubt)
            seen = seen._replace(capacity_ah=capacity[0], capacity_doubt=doubt)
        ohm = kept.resistance_shown()
        if ohm is not None and ohm[1] <= SURE_OHM:
            seen = seen._replace(resistance_ohm=ohm[0] * kept.cells, resistance_doubt=ohm[1], degc=kept.degc)
    kept.book()
    return seen


def is_booked(entry: PackEntry, when: str) -> bool:
    """Whether a flight that ended at `when` (UTC text; a day says too little) is in a ledger's entry already."""
    if len(when) <= len("2026-11-02"):
        return False
    end = datetime.fromisoformat(when)
    return any(abs((datetime.fromisoformat(one) - end).total_seconds()) <= SAME_S for one in entry.flights)


def booked(entry: PackEntry, seen: PackSeen, when: str) -> PackEntry:
    """Return a ledger's entry after a flight that ended at `when`: a day (YYYY-MM-DD), or UTC text to the second.

    Cycles that nobody ever stated stay unknown: a pack of unknown age is not a new one.
    """
    return entry.model_copy(
        update={
            "cycles": None if entry.cycles is None else entry.cycles + seen.cycles,
            "capacity": _capacity(entry.capacity, seen),
            "resistance": _resistance(entry.resistance, seen),
            "seen": max(entry.seen or "", when[:10]),
            "flights": entry.flights if len(when) <= 10 else (*entry.flights, when)[-MOST_FLIGHTS:],
        }
    )


def _capacity(old: Capacity | None, seen: PackSeen) -> Capacity | None:
    if seen.capacity_ah is None:
        return old
    ah, doubt, least = seen.capacity_ah, seen.capacity_doubt, LEAST_AH
    if old is not None:
        before = SEEN_CAPACITY if old.doubt_ah is None else old.doubt_ah / old.ah
        ah, doubt = _weighed(old.ah, before, ah, doubt)
        least = min(before, LEAST_AH)  # what a crew has measured better stays so well known
    return Capacity(ah, max(least, doubt) * ah)


def _resistance(old: Resistance | None, seen: PackSeen) -> Resistance | None:
    if seen.resistance_ohm is None:
        return old
    if old is None:
        return Resistance(seen.resistance_ohm, seen.degc)
    before, old_ohm = UNTOLD_OHM, old.ohm
    if old.degc is not None and seen.degc is not None:
        before, old_ohm = SEEN_OHM, old.ohm * temperature_factor(seen.degc) / temperature_factor(old.degc)
    ohm, _ = _weighed(old_ohm, before, seen.resistance_ohm, max(LEAST_OHM, seen.resistance_doubt))
    return Resistance(ohm, seen.degc)


def _weighed(old: float, old_doubt: float, new: float, new_doubt: float) -> tuple[float, float]:
    """Return the mean of two logarithms weighed by the inverse of their variances, as a value, and its doubt."""
    weights = old_doubt**-2, new_doubt**-2
    total = sum(weights)
    value = math.exp((weights[0] * math.log(old) + weights[1] * math.log(new)) / total)
    return value, math.sqrt(1.0 / total)


class FlightEnd:
    """Finds the moments at which a flight is over: it stands on the ground again, or was disarmed."""

    def __init__(self) -> None:
        self.flew = False
        """It flies, or has flown and that is not over."""

    def over(self, phase: object, armed: object) -> bool:
        """Take the phase and whether it is armed; return whether a flight has just ended."""
        if phase in _IN_FLIGHT and armed is not False:
            self.flew = True
            return False
        ended = self.flew and (phase in _DOWN or armed is False)
        if ended:
            self.flew = False
        return ended
