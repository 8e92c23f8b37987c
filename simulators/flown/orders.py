"""What MAVLink orders the aircraft to do: commands, a mode set, sticks, and a station heard."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from simulators.onboard.autopilot import Autopilot
from simulators.onboard.command import Sticks
from simulators.onboard.modes import Landed, Mode
from simulators.onboard.route import MOST_SPEED_M_S
from simulators.wire.commands import ACCEPTED, DENIED, FAILED, TEMPORARILY_REJECTED, UNSUPPORTED, Command
from simulators.wire.endpoint import HEARTBEAT, MANUAL_CONTROL, SET_MODE
from simulators.wire.received import Handler, Received

_FORCE: Final = 21196.0
_STATION_TYPE: Final = 6
_OVER_GROUND: Final = (0.0, 1.0)
"""SPEED_TYPE: through the air and over ground, taken for the same."""
_CUSTOM: Final = 1
_ABSOLUTE_FRAMES: Final = (0, 5)
_FULL: Final = 1000.0
_NO_STICK: Final = 32767
_RELEASE: Final = 0.0
_MOST_AWAY_M: Final = 50_000.0
_HEIGHTS_M: Final = (-500.0, 2000.0)
"""Above the field's point; orders beyond are refused."""


class Orders:
    """Carries out orders on one autopilot."""

    def __init__(self, pilot: Autopilot, altitude_m: float) -> None:
        """`altitude_m` is that of the field, for orders given above sea level."""
        self._pilot = pilot
        self._altitude_m = altitude_m
        self.commands: Final[Mapping[int, Callable[[Command], int]]] = {
            20: self._return, 21: self._land, 22: self._take_off, 176: self._set_mode, 178: self._speed,
            179: self._home, 185: self._stop, 192: self._go, 193: self._pause, 211: self._release,
            262: self._standard_mode, 300: self._start_plan, 400: self._arm,
        }  # fmt: skip
        self.handlers: Final[Mapping[int, Handler]] = {
            HEARTBEAT: self._heard, SET_MODE: self._old_set_mode, MANUAL_CONTROL: self._sticks,
        }  # fmt: skip

    def _height(self, z: float, frame: int | None, otherwise: float) -> float:
        """Return a height above the field's point of an order's last parameter."""
        if math.isnan(z):
            return otherwise
        return z - self._altitude_m if frame in _ABSOLUTE_FRAMES else z + self._pilot.home[2]

    def _place(self, command: Command) -> tuple[float, float] | None:
        """Return an order's place in m north and east of the field's point. None if it has none."""
        if command.latitude_deg is None or command.longitude_deg is None:
            return None
        return self._pilot.field.metres(command.latitude_deg, command.longitude_deg)

    def _enter(self, mode: Mode) -> int:
        pilot = self._pilot
        if pilot.armed and pilot.landed is Landed.GROUND and mode in {Mode.SAFE_RECOVERY, Mode.LAND}:
            return TEMPORARILY_REJECTED
        return ACCEPTED if pilot.enter(mode, "order") else TEMPORARILY_REJECTED

    def _return(self, _: Command) -> int:
        return self._enter(Mode.SAFE_RECOVERY) if self._pilot.armed else TEMPORARILY_REJECTED

    def _land(self, command: Command) -> int:
        pilot = self._pilot
        if not pilot.armed:
            return TEMPORARILY_REJECTED
        place = self._place(command)
        if place is None or place == pilot.field.metres(0.0, 0.0):  # 0, 0 from clients that name none
            return self._enter(Mode.LAND)
        if not _near(place):
            return DENIED
        if pilot.landed in {Landed.GROUND, Landed.TAKEOFF}:
            return TEMPORARILY_REJECTED
        return ACCEPTED if pilot.land_there(place, "order") else TEMPORARILY_REJECTED

    def _take_off(self, command: Command) -> int:
        height = None
        if command.p7 and not math.isnan(command.p7):
            height = self._height(command.p7, command.frame, 0.0) - self._pilot.home[2]
            if not 1.0 <= height <= 500.0:
                return DENIED
        return ACCEPTED if self._pilot.take_off(height) else TEMPORARILY_REJECTED

    def _mode_of(self, number: float) -> Mode | None:
        return Mode(int(number)) if number in set(Mode) else None

    def _set_mode(self, command: Command) -> int:
        mode = self._mode_of(command.p2)
        if math.isnan(command.p1) or not int(command.p1) & _CUSTOM or mode is None:
            return UNSUPPORTED
        return self._enter(mode)

    def _standard_mode(self, command: Command) -> int:
        mode = self._mode_of(command.p1)
        return UNSUPPORTED if mode is None else self._enter(mode)

    def _old_set_mode(self, message: Received) -> list[bytes]:
        custom, _, base = message.values
        mode = self._mode_of(custom)
        if base & _CUSTOM and mode is not None:
            self._enter(mode)
        return []

    def _speed(self, command: Command) -> int:
        if command.p1 not in _OVER_GROUND or not 0 < command.p2 <= MOST_SPEED_M_S:
            return DENIED
        self._pilot.route.speed_m_s = self._pilot.target_speed_m_s = command.p2
        return ACCEPTED

    def _home(self, command: Command) -> int:
        pilot = self._pilot
        sensors = pilot.sensors
        if command.p1 == 1:
            if not sensors.has_fix:
                return TEMPORARILY_REJECTED
            pilot.set_home((sensors.north_m, sensors.east_m, sensors.height_m))
            return ACCEPTED
        place = self._place(command)
        above_sea = _ABSOLUTE_FRAMES[0] if command.frame is None else command.frame
        height = self._height(command.p7, above_sea, pilot.home[2])
        if place is None or not _near(place) or not _HEIGHTS_M[0] <= height <= _HEIGHTS_M[1]:
            return DENIED
        pilot.set_home((*place, height))
        return ACCEPTED

    def _stop(self, command: Command) -> int:
        if not 0 <= command.p1 <= 1:
            return DENIED
        if command.p1 > 0.5:
            self._pilot.disarm(force=True)
        return ACCEPTED

    def _go(self, command: Command) -> int:
        pilot = self._pilot
        height = self._height(command.p7, command.frame, pilot.sensors.height_m)
        place = self._place(command)
        if place is None:  # as it is: where it flies to, or comes to rest
            place = pilot.target[:2] if pilot.mode is Mode.POSITION_HOLD else pilot.guide.rest()
        if not _near(place) or not _HEIGHTS_M[0] <= height <= _HEIGHTS_M[1]:
            return DENIED
        speed = min(command.p1, MOST_SPEED_M_S) if command.p1 > 0 else None
        return ACCEPTED if pilot.go_to((*place, height), speed) else TEMPORARILY_REJECTED

    def _pause(self, command: Command) -> int:
        if command.p1 not in (0.0, 1.0):
            return DENIED
        return self._enter(Mode.MISSION if command.p1 else Mode.POSITION_HOLD)

    def _release(self, command: Command) -> int:
        if command.p2 != _RELEASE:
            return UNSUPPORTED
        return ACCEPTED if self._pilot.release() else FAILED

    def _start_plan(self, command: Command) -> int:
        first = 0 if math.isnan(command.p1) else int(command.p1)
        return ACCEPTED if self._pilot.start_plan(first) else TEMPORARILY_REJECTED

    def _arm(self, command: Command) -> int:
        pilot = self._pilot
        force = command.p2 == _FORCE
        if command.p1 == 1:
            return ACCEPTED if pilot.arm(force=force) is None else TEMPORARILY_REJECTED
        if command.p1 == 0:
            return ACCEPTED if pilot.disarm(force=force) else TEMPORARILY_REJECTED
        return DENIED

    def _heard(self, message: Received) -> list[bytes]:
        if message.values[1] == _STATION_TYPE:
            self._pilot.station_s = message.now_s
        return []

    def _sticks(self, message: Received) -> list[bytes]:
        forward, right, up, turn = message.values[:4]
        if any(abs(axis) > _FULL for axis in (forward, right, up, turn) if axis != _NO_STICK):
            return []
        x, y, r = (0.0 if axis == _NO_STICK else axis / _FULL for axis in (forward, right, turn))
        z = 0.0 if up == _NO_STICK else (up - 0.5 * _FULL) / (0.5 * _FULL)
        self._pilot.sticks = Sticks(x, y, max(-1.0, z), r, message.now_s)
        return []


def _near(place: tuple[float, float]) -> bool:
    return math.hypot(*place) <= _MOST_AWAY_M
