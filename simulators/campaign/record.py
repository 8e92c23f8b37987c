"""Flies a drawn flight in full and keeps what a station would have recorded, with the truth beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from simulators.campaign.draw import Drawn
from simulators.campaign.floors import Floor
from simulators.flown.asking import Asking
from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.flown.truth import LIMIT_S, MeanPower, usable_pct
from simulators.onboard.modes import Landed, Mode
from watchkeeper.link.recording import record

TAIL_S: Final = 10.0
"""How long the recording goes on after the landing or the fall."""
_LOOK_EVERY: Final = 10
_GAP_S: Final = 3.0
_NO_FIX_LASTS_S: Final = 15.0


@dataclass(slots=True)
class Flown:
    """The truth of one flight. Lists have a value a second from the start; charge is usable charge."""

    took_off_s: float = 0.0
    turned_back_s: float | None = None
    end_s: float = 0.0
    landed: bool = False
    crashed: bool = False
    landing_charge_pct: float = 0.0
    fault_began_s: float | None = None
    floor_passed_s: float | None = None
    charge_pct: list[float] = field(default_factory=list)
    """Usable charge of the emptier connected pack."""
    silences_s: list[tuple[float, float]] = field(default_factory=list)
    """From when to when nothing of the aircraft arrived."""
    no_fix_s: list[float] = field(default_factory=list)

    def silent_at(self, time_s: float) -> bool:
        """Tell whether nothing had arrived for some seconds at a time."""
        return any(begin + _GAP_S - 1 <= time_s <= end + 1 for begin, end in self.silences_s)

    def without_fix_at(self, time_s: float) -> bool:
        """Tell whether there was no fix shortly before a time."""
        return any(0 <= time_s - second <= _NO_FIX_LASTS_S for second in self.no_fix_s)

    @property
    def charge_fall_pct_s(self) -> float:
        """Usable charge that a second of flight takes, on the mean, until the flight turns back or ends."""
        begin = int(self.took_off_s)
        end = min(int(self.turned_back_s or self.end_s), len(self.charge_pct) - 1)
        return (self.charge_pct[begin] - self.charge_pct[end]) / (end - begin) if end > begin else 0.0


def fly(drawn: Drawn, recording: Path, turn_back_s: float) -> Flown:
    """Fly, turn back at a time, and write a telemetry log. Where a return is refused, it lands where it is."""
    drill = FlownDrill(FlownScenario(drawn.file, None, None), drawn.seed)
    floor = None if drawn.fault is None else Floor(drawn.fault, drill)
    asking = Asking(drawn.file.system) if drawn.settings_told else None
    flown, mean = Flown(), MeanPower()
    flight, pilot, craft = drill.flight, drill.flight.pilot, drill.flight.craft
    start_us = round(drawn.file.start.timestamp() * 1e6)
    heard_s, down_s = 0.0, math.inf
    with recording.open("wb") as file:
        while flight.time_s < min(LIMIT_S, down_s + TAIL_S):
            now = flight.time_s
            if now >= turn_back_s and flown.turned_back_s is None and flown.took_off_s and now < down_s:
                flown.turned_back_s = now
                if not drill.key(Mode.SAFE_RECOVERY):
                    drill.key(Mode.LAND)
            ours = False
            frames = drill.step()
            if asking is not None:
                for order in asking.look(now, (frame for _, frame in frames)):
                    drill.order(order)
            for _, frame in frames:
                file.write(record(start_us + round(flight.time_s * 1e6), frame))
                ours = ours or frame[5] == drawn.file.system
            if ours:
                if now - heard_s > _GAP_S:
                    flown.silences_s.append((heard_s, now))
                heard_s = now
            if drill.steps % _LOOK_EVERY:
                continue
            mean.look(flight)
            if floor is not None:
                floor.look()
            if not flown.took_off_s and pilot.landed is Landed.AIR:
                flown.took_off_s = now
            if len(flown.charge_pct) <= now:
                flown.charge_pct.append(usable_pct(flight.bank, mean.power_w))
                if not pilot.sensors.has_fix:
                    flown.no_fix_s.append(now)
            if now < down_s and flown.took_off_s and (craft.crashed or (not pilot.armed and craft.on_ground)):
                down_s = now
                flown.landing_charge_pct = usable_pct(flight.bank, mean.power_w)
    if flight.time_s - heard_s > _GAP_S:
        flown.silences_s.append((heard_s, flight.time_s))
    flown.end_s = min(down_s, flight.time_s)
    flown.crashed = craft.crashed
    flown.landed = math.isfinite(down_s) and not craft.crashed
    if floor is not None:
        flown.fault_began_s, flown.floor_passed_s = floor.began_s, floor.passed_s
    return flown
