"""What crews make of it: when they turn back, and what they then land with."""

from __future__ import annotations

import random
from typing import Final

from simulators.campaign.draw import LIMIT_S, Drawn
from simulators.flown.deeds import SILENT
from simulators.flown.events import Events
from simulators.flown.flight import FastFlight
from simulators.flown.truth import Outcome, fly
from simulators.onboard.modes import Landed

QUICK_S: Final = 10.0
REACTIONS_S: Final = (5.0, 45.0)
_HOLDS_S: Final = 1.0
_OHM: Final = 0.016
"""By which crews compensate a voltage for current: one pack's resistance (common practice: as set up)."""
_AFTER_LIFT_S: Final = 10.0
THUMBS: Final = ("44 V raw", "44 V compensated", "19 % gauge", "25 % gauge")
"""The fixed rules that crews use today (common practice)."""


def thumb_times(drawn: Drawn) -> dict[str, float | None]:
    """Return when each fixed rule says to turn back if nobody does: held for a second, in the air; s."""
    flight = FastFlight(drawn.file.setup(), drawn.seed)
    flight.pilot.load_plan(drawn.file.plan_items())
    events = Events([event for event in drawn.file.events() if event.do.name not in SILENT])
    since: dict[str, float | None] = dict.fromkeys(THUMBS)
    found: dict[str, float | None] = dict.fromkeys(THUMBS)
    lifted_s: float | None = None
    while flight.time_s < LIMIT_S and None in found.values():
        for _ in events.happen(flight):
            pass
        flight.step()
        now = flight.time_s
        if lifted_s is None:
            lifted_s = now if flight.pilot.landed is Landed.AIR else None
            continue
        if now - lifted_s < _AFTER_LIFT_S:
            continue
        if flight.craft.crashed or not flight.pilot.armed:
            break
        gauges = flight.pilot.gauges
        volts, left = gauges.voltage_v, gauges.left_pct
        each_a = gauges.current_a / len(gauges.monitors)
        below = (volts < 44.0, volts + _OHM * each_a < 44.0, left < 19.0, left < 25.0)
        for rule, holds in zip(THUMBS, below, strict=True):
            if found[rule] is not None:
                continue
            begun = since[rule]
            since[rule] = None if not holds else now if begun is None else begun
            if holds and begun is not None and now - begun >= _HOLDS_S:
                found[rule] = now
    return found


def reaction_s(drawn: Drawn) -> float:
    """Draw how long a crew takes to act."""
    return random.Random(f"reaction {drawn.seed}").uniform(*REACTIONS_S)


def turned(drawn: Drawn, call_s: float | None, react_s: float) -> Outcome:
    """Return how it ends for a crew that is told at a time, or never."""
    return fly(drawn.file, drawn.seed, None if call_s is None else call_s + react_s, LIMIT_S)
