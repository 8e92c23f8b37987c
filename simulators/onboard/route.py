"""A flown plan: its items one after the other."""

from __future__ import annotations

from collections.abc import Sequence
from enum import IntEnum
from typing import Final

from simulators.onboard.command import InCommand
from simulators.onboard.guide import Place
from simulators.onboard.modes import Landed, Mode, Severity
from simulators.wire.plan import PlanItem

REACHED_M: Final = 2.0
REACHED_HEIGHT_M: Final = 1.0
MOST_SPEED_M_S: Final = 20.0
"""No plan makes it faster."""
_OVER_GROUND: Final = (0, 1)
"""SPEED_TYPE of speeds over ground, and of those through the air, which are taken for the same."""
_DEFAULT_SPEED: Final = -2.0


class Command(IntEnum):
    """The MAV_CMD that a plan may hold."""

    WAYPOINT = 16
    LOITER_TIME = 19
    RETURN_TO_LAUNCH = 20
    LAND = 21
    TAKEOFF = 22
    CONDITION_DELAY = 112
    CHANGE_SPEED = 178
    GRIPPER = 211


class PlanState(IntEnum):
    """MISSION_STATE."""

    NO_PLAN = 1
    NOT_STARTED = 2
    ACTIVE = 3
    PAUSED = 4
    COMPLETE = 5


class Route:
    """The plan in the aircraft and how far it has been flown."""

    def __init__(self) -> None:
        self.items: tuple[PlanItem, ...] = ()
        self.item = 0
        self.done = False
        self.started = False
        self.reached: list[int] = []
        self.speed_m_s: float | None = None
        self.aim: Place | None = None
        """Where the present item is flown to."""
        self._since_s: float | None = None

    def load(self, items: Sequence[PlanItem]) -> None:
        """Take another plan, from its beginning."""
        self.items = tuple(items)
        self.item = 0
        self.done = self.started = False
        self.speed_m_s = None
        self.aim = None
        self._since_s = None

    def jump(self, item: int) -> bool:
        """Go on from an item. False if there is none of that number."""
        if not 0 <= item < len(self.items):
            return False
        self.item = item
        self.done = False
        self.aim = None
        self._since_s = None
        return True

    def state(self, mode: Mode) -> PlanState:
        """Return the state for MISSION_CURRENT."""
        if not self.items:
            return PlanState.NO_PLAN
        if self.done:
            return PlanState.COMPLETE
        if mode is Mode.MISSION:
            return PlanState.ACTIVE
        return PlanState.PAUSED if self.started else PlanState.NOT_STARTED

    def velocity(self, pilot: InCommand) -> tuple[float, float, float, float]:
        """Return velocity and turn towards the present item; takes the next when it is done."""
        self.started = True
        while self.item < len(self.items) and not self.done:
            item = self.items[self.item]
            if item.command in {Command.WAYPOINT, Command.LOITER_TIME, Command.TAKEOFF}:
                return self._fly(pilot, item)
            place = _place(pilot, item) if item.command == Command.LAND else None
            if place is not None and pilot.guide.distance(*place) >= REACHED_M:
                self.aim = (*place, pilot.target[2])
                return pilot.guide.go(self.aim, self._speed(pilot))
            if not self._do(pilot, item):
                return pilot.guide.stay(pilot.target)
        self._finish(pilot)
        return pilot.guide.stay(pilot.target)

    def _fly(self, pilot: InCommand, item: PlanItem) -> tuple[float, float, float, float]:
        sensors = pilot.sensors
        place = None if item.command == Command.TAKEOFF else _place(pilot, item)
        north, east = place or pilot.target[:2]
        height = pilot.home[2] + item.height_m
        self.aim = (north, east, height)
        distance = pilot.guide.distance(north, east)
        near = distance < REACHED_M and abs(height - sensors.height_m) < REACHED_HEIGHT_M
        if near and self._since_s is None:
            self._since_s = pilot.now_s
            self.reached.append(self.item)
        stay_s = 0.0 if item.command == Command.TAKEOFF else item.p1
        if self._since_s is not None and pilot.now_s - self._since_s >= stay_s:
            pilot.target = self.aim
            self._next()
        if pilot.landed is Landed.TAKEOFF:  # off the ground straight up
            return pilot.guide.stay((*pilot.target[:2], height))
        return pilot.guide.go((north, east, height), self._speed(pilot), face=distance > 2 * REACHED_M)

    def _speed(self, pilot: InCommand) -> float:
        return self.speed_m_s or pilot.values["fly.speed_m_s"]

    def _do(self, pilot: InCommand, item: PlanItem) -> bool:
        """Carry out an item that flies nowhere. False while it goes on."""
        if item.command == Command.CHANGE_SPEED:
            if item.p2 > 0 and item.p1 in _OVER_GROUND:
                self.speed_m_s = min(item.p2, MOST_SPEED_M_S)
            elif item.p2 == _DEFAULT_SPEED:
                self.speed_m_s = None
        elif item.command == Command.GRIPPER and item.p2 == 0:
            pilot.release()
        elif item.command == Command.CONDITION_DELAY:
            if self._since_s is None:
                self._since_s = pilot.now_s
                pilot.stay_here()
            if pilot.now_s - self._since_s < item.p1:
                return False
        elif item.command == Command.LAND:
            place = _place(pilot, item)
            if place is not None:
                self.reached.append(self.item)
            self._finish(pilot)
            if place is None or not pilot.land_there(place, "plan"):
                pilot.enter(Mode.LAND, "plan")
            return False
        elif item.command == Command.RETURN_TO_LAUNCH:
            self._finish(pilot)
            pilot.enter(Mode.SAFE_RECOVERY, "plan")
            return False
        self._next()
        return True

    def _next(self) -> None:
        self.item += 1
        self._since_s = None

    def _finish(self, pilot: InCommand) -> None:
        if not self.done:
            self.done = True
            self.aim = None
            self.item = max(0, len(self.items) - 1)
            pilot.say(Severity.INFO, "Plan complete")
            if pilot.mode is Mode.MISSION:
                pilot.stay_here()


def _place(pilot: InCommand, item: PlanItem) -> tuple[float, float] | None:
    """Return an item's place in m north and east; None for the one it is given at."""
    if item.latitude_deg is None or item.longitude_deg is None:
        return None
    return pilot.field.metres(item.latitude_deg, item.longitude_deg)
