"""What would have been: the same flight flown silently, turned back at one moment or another.

Ground, sky and radio are left out: they decide what is known, not what the packs give. Steps are 0.1 s.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from simulators.flown.deeds import SILENT
from simulators.flown.events import Events
from simulators.flown.flight import FastFlight
from simulators.flown.scenario_file import FlownFile
from simulators.onboard.modes import Landed, Mode

RESERVE_PCT: Final = 20.0
"""Charge that must be left in the emptier pack after landing."""
_LIMIT_S: Final = 3600.0
_STEP_S: Final = 5.0
_EVERY: Final = 5


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a flight ended. Charge is that of the emptier connected pack, in %, at landing or when it fell."""

    landed: bool
    charge_pct: float
    end_s: float
    took_off_s: float
    turned_back_s: float | None

    @property
    def with_reserve(self) -> bool:
        """Whether it landed with the reserve."""
        return self.landed and self.charge_pct >= RESERVE_PCT


def fly(written: FlownFile, seed: int, turn_back_s: float | None, limit_s: float = _LIMIT_S) -> Outcome:
    """Fly a scenario, ordered home at a time, and tell how it ended."""
    flight = FastFlight(written.setup(), seed)
    flight.pilot.load_plan(written.plan_items())
    events = Events([event for event in written.events() if event.do.name not in SILENT])
    took_off_s = 0.0
    turned: float | None = None
    while flight.time_s < limit_s:
        for _ in events.happen(flight):
            pass
        for _ in range(_EVERY):
            flight.step()
        pilot, craft = flight.pilot, flight.craft
        if not took_off_s and pilot.landed in {Landed.TAKEOFF, Landed.AIR}:
            took_off_s = flight.time_s
        if turn_back_s is not None and turned is None and took_off_s and flight.time_s >= turn_back_s:
            turned = flight.time_s
            if pilot.intended is not Mode.SAFE_RECOVERY:
                pilot.enter(Mode.SAFE_RECOVERY, "order")
        if took_off_s and (craft.crashed or (not pilot.armed and craft.on_ground)):
            break
    connected = [100.0 * pack.charge for pack in flight.bank.packs if not pack.is_open]
    landed = bool(took_off_s) and flight.craft.on_ground and not flight.craft.crashed
    return Outcome(landed, min(connected, default=0.0), flight.time_s, took_off_s, turned)


def latest_turn_back(written: FlownFile, seed: int, from_s: float, to_s: float) -> float | None:
    """Return the latest time in s, to 5 s, at which turning back lands with the reserve. None if there is none.

    Later is never better: what is flown cannot be got back. So halving finds it.
    """
    if not fly(written, seed, from_s).with_reserve:
        return None
    low, high = from_s, to_s
    if fly(written, seed, high).with_reserve:
        return high
    while high - low > _STEP_S:
        middle = 0.5 * (low + high)
        if fly(written, seed, middle).with_reserve:
            low = middle
        else:
            high = middle
    return low
