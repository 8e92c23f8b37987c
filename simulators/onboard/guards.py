"""The aircraft's own fail-safes: low battery in stages, control link, station link, fence, lost position.

Each has its threshold, its delay and its action, all by parameters. A latched one acts once a flight, whatever the
pilot does afterwards; one that is not latched may act again once its condition has ended.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from simulators.onboard.command import InCommand
from simulators.onboard.fence import Area, areas
from simulators.onboard.modes import NEEDS_POSITION, Action, Mode, Severity
from simulators.onboard.place import Field
from simulators.wire.plan import PlanItem

GRID_S: Final = 0.1
STAGES: Final = (1, 2, 3)
_EARLY_S: Final = 1e-9


class Guard:
    """One fail-safe: how long its condition has held, and whether it has acted."""

    __slots__ = ("acted", "name", "since_s")

    def __init__(self, name: str) -> None:
        self.name = name
        self.since_s: float | None = None
        self.acted = False

    def judge(self, now_s: float, delay_s: float, *, holds: bool, latched: bool) -> bool:
        """Return whether it must act now."""
        if not holds:
            self.since_s = None
            if not latched:
                self.acted = False
            return False
        if self.since_s is None:
            self.since_s = now_s
        if self.acted or now_s - self.since_s < delay_s - _EARLY_S:
            return False
        self.acted = True
        return True

    def reset(self) -> None:
        """Forget the last flight."""
        self.since_s = None
        self.acted = False


class Guards:
    """All fail-safes of one aircraft, judged ten times a second."""

    def __init__(self) -> None:
        self._next_s = 0.0
        self.low = [Guard(f"low{stage}") for stage in STAGES]
        self.control = Guard("control")
        self.station = Guard("station")
        self.fence = Guard("fence")
        self.position = Guard("position")
        self.areas: tuple[Area, ...] = ()
        self.breaches = 0
        self.breach_s = 0.0
        """When the fence was breached last."""
        self.breach = 0
        """FENCE_BREACH: 0 none, 2 too high, 3 beyond the boundary."""

    def take_fence(self, items: Sequence[PlanItem], field: Field) -> None:
        """Take the areas of a fence."""
        self.areas = areas(items, field)

    def reset(self) -> None:
        """Start a flight."""
        for guard in (*self.low, self.control, self.station, self.fence, self.position):
            guard.reset()

    def update(self, pilot: InCommand) -> None:
        """Judge all guards if it is time."""
        now = pilot.now_s
        if now + _EARLY_S < self._next_s:
            return
        self._next_s += GRID_S
        self._fence(pilot)
        if not pilot.armed or pilot.craft.on_ground:
            return
        values = pilot.values
        self._battery(pilot)
        lost_s = values["control.lost_s"]
        if lost_s > 0 and self.control.judge(now, lost_s, holds=not pilot.control_link, latched=False):
            self._act(pilot, int(values["control.action"]), "Control link lost")
        lost_s = values["station.lost_s"]
        if lost_s > 0 and pilot.station_s is not None:
            silent = now - pilot.station_s > lost_s
            if self.station.judge(now, 0.0, holds=silent, latched=False):
                self._act(pilot, int(values["station.action"]), "Station link lost")
        if self.fence.judge(now, values["fence.delay_s"], holds=self.breach != 0, latched=False):
            self.breaches += 1
            self.breach_s = now
            self._act(pilot, int(values["fence.action"]), "Fence breached")
        unplaced = not pilot.sensors.has_fix and (pilot.mode in NEEDS_POSITION or pilot.mode is Mode.LAND)
        if self.position.judge(now, values["position.lost_s"], holds=unplaced, latched=False):
            self._act(pilot, int(values["position.action"]), "Position lost")

    def _battery(self, pilot: InCommand) -> None:
        values, gauges = pilot.values, pilot.gauges
        for stage, guard in zip(STAGES, self.low, strict=True):
            name = f"low{stage}"
            volts = values[f"{name}.volt_v"]
            shown = gauges.voltage_v
            if values[f"{name}.compensate"]:
                shown += gauges.pack_a * values["low.pack_ohm"]
            holds = 0 < volts > shown or gauges.left_pct < values[f"{name}.gauge_pct"]
            latched = bool(values[f"{name}.latch"])
            if guard.judge(pilot.now_s, values[f"{name}.delay_s"], holds=holds, latched=latched):
                self._act(pilot, int(values[f"{name}.action"]), f"Low battery, stage {stage}")

    def _fence(self, pilot: InCommand) -> None:
        values, sensors = pilot.values, pilot.sensors
        self.breach = 0
        radius, height = values["fence.radius_m"], values["fence.height_m"]
        if radius > 0 and math.hypot(sensors.north_m - pilot.home[0], sensors.east_m - pilot.home[1]) > radius:
            self.breach = 3
        if any(area.breached(sensors.north_m, sensors.east_m) for area in self.areas):
            self.breach = 3
        if 0 < height < sensors.height_m - pilot.home[2]:
            self.breach = 2

    @staticmethod
    def _act(pilot: InCommand, code: int, why: str) -> None:
        action = Action(code)
        if action is Action.REPORT:
            pilot.say(Severity.WARNING, why)
            return
        if pilot.act(action):
            pilot.say(Severity.CRITICAL, f"{why}: {action.name.lower().replace('_', ' ')}")
        else:
            pilot.say(Severity.CRITICAL, f"{why}: {pilot.mode.words} goes on")
