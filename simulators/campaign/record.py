"""Flies a drawn flight in full and keeps what a station would have recorded, with the truth beside it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from simulators.campaign.draw import LIMIT_S, Drawn
from simulators.campaign.floors import Floor
from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.onboard.modes import Landed, Mode
from watchkeeper.link.recording import record

_LOOK_EVERY: Final = 10
_TAIL_S: Final = 10.0
_GAP_S: Final = 3.0
_NO_FIX_LASTS_S: Final = 15.0


@dataclass(slots=True)
class Flown:
    """The truth of one flight. Lists have a value a second from the start."""

    took_off_s: float = 0.0
    turned_back_s: float | None = None
    end_s: float = 0.0
    crashed: bool = False
    landing_charge_pct: float = 0.0
    fault_began_s: float | None = None
    floor_passed_s: float | None = None
    charge_pct: list[float] = field(default_factory=list)
    """Mean of the connected packs."""
    silences_s: list[tuple[float, float]] = field(default_factory=list)
    """From when to when nothing of the aircraft arrived."""
    no_fix_s: list[float] = field(default_factory=list)

    def silent_at(self, time_s: float) -> bool:
        """Tell whether nothing had arrived for some seconds at a time."""
        return any(begin + _GAP_S - 1 <= time_s <= end + 1 for begin, end in self.silences_s)

    def without_fix_at(self, time_s: float) -> bool:
        """Tell whether there was no fix shortly before a time."""
        return any(0 <= time_s - second <= _NO_FIX_LASTS_S for second in self.no_fix_s)


def fly(drawn: Drawn, recording: Path, turn_back_s: float) -> Flown:
    """Fly, turn back at a time, and write a telemetry log."""
    drill = FlownDrill(FlownScenario(drawn.file, None, None), drawn.seed)
    floor = None if drawn.fault is None else Floor(drawn.fault, drill)
    flown = Flown()
    flight, pilot, craft = drill.flight, drill.flight.pilot, drill.flight.craft
    start_us = round(drawn.file.start.timestamp() * 1e6)
    heard_s, ended_s = 0.0, LIMIT_S
    with recording.open("wb") as file:
        while flight.time_s < ended_s:
            now = flight.time_s
            if flown.turned_back_s is None and now >= turn_back_s and flown.took_off_s:
                flown.turned_back_s = now
                drill.key(Mode.SAFE_RECOVERY)
            ours = False
            for _, frame in drill.step():
                file.write(record(start_us + round(flight.time_s * 1e6), frame))
                ours = ours or frame[5] == drawn.file.system
            if ours:
                if now - heard_s > _GAP_S:
                    flown.silences_s.append((heard_s, now))
                heard_s = now
            if drill.steps % _LOOK_EVERY:
                continue
            if floor is not None:
                floor.look()
            if not flown.took_off_s and pilot.landed is Landed.AIR:
                flown.took_off_s = now
            if len(flown.charge_pct) <= now:
                connected = [pack.charge for pack in flight.bank.packs if not pack.is_open]
                flown.charge_pct.append(100.0 * sum(connected) / max(1, len(connected)))
                if not pilot.sensors.has_fix:
                    flown.no_fix_s.append(now)
            down = craft.crashed or (not pilot.armed and craft.on_ground)
            if flown.took_off_s and down and ended_s == LIMIT_S:
                ended_s = now + _TAIL_S
                flown.end_s = now
    if flight.time_s - heard_s > _GAP_S:
        flown.silences_s.append((heard_s, flight.time_s))
    flown.end_s = flown.end_s or flight.time_s
    flown.crashed = craft.crashed
    flown.landing_charge_pct = drill.ending.charge_pct
    if floor is not None:
        flown.fault_began_s, flown.floor_passed_s = floor.began_s, floor.passed_s
    return flown
