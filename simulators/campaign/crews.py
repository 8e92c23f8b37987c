"""What crews make of it: when they turn back, and what they then land with."""

from __future__ import annotations

import random
from typing import Final

from simulators.campaign.draw import Drawn
from simulators.flown.flight import FastFlight
from simulators.flown.truth import Futures, Outcome
from simulators.onboard.modes import Landed

QUICK_S: Final = 10.0
REACTIONS_S: Final = (5.0, 45.0)
_HOLDS_S: Final = 1.0
_OHM: Final = 0.016
"""By which crews compensate a voltage for current: one pack's resistance (common practice: as set up)."""
_AFTER_LIFT_S: Final = 10.0
_GAUGES_PCT: Final = (19.0, 25.0, 30.0, 35.0)
THUMBS: Final = ("44 V raw", "44 V compensated", *(f"{pct:.0f} % gauge" for pct in _GAUGES_PCT))
"""The fixed rules that crews use today (common practice). Gauges: the lowest of the connected packs."""


class Thumbs:
    """Finds when each fixed rule says to turn back if nobody does: held for a second, in the air.

    `look` at every step.
    """

    def __init__(self) -> None:
        self.times_s: dict[str, float | None] = dict.fromkeys(THUMBS)
        self._since_s: dict[str, float | None] = dict.fromkeys(THUMBS)
        self._lifted_s: float | None = None

    def look(self, flight: FastFlight) -> None:
        """Look at what the gauges now show."""
        now, pilot = flight.time_s, flight.pilot
        if self._lifted_s is None:
            self._lifted_s = now if pilot.landed is Landed.AIR else None
            return
        if now - self._lifted_s < _AFTER_LIFT_S or flight.craft.crashed or not pilot.armed:
            return
        gauges = pilot.gauges
        volts, left = gauges.voltage_v, gauges.lowest_pct
        below = (volts < 44.0, volts + _OHM * gauges.pack_a < 44.0, *(left < pct for pct in _GAUGES_PCT))
        for rule, holds in zip(THUMBS, below, strict=True):
            if self.times_s[rule] is not None:
                continue
            begun = self._since_s[rule]
            self._since_s[rule] = None if not holds else now if begun is None else begun
            if holds and begun is not None and now - begun >= _HOLDS_S:
                self.times_s[rule] = now


def reaction_s(drawn: Drawn) -> float:
    """Draw how long a crew takes to act."""
    return random.Random(f"reaction {drawn.seed}").uniform(*REACTIONS_S)


def turned(futures: Futures, call_s: float | None, react_s: float) -> Outcome:
    """Return how it ends for a crew that is told at a time, or never."""
    return futures.outcome(None if call_s is None else call_s + react_s)
