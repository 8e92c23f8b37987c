"""Modes, states and actions of the simulated aircraft: MAVLink's standard numbers, and a code for its actions."""

from __future__ import annotations

from enum import IntEnum


class Mode(IntEnum):
    """MAV_STANDARD_MODE; the aircraft numbers its own modes the same."""

    POSITION_HOLD = 1
    ALTITUDE_HOLD = 4
    SAFE_RECOVERY = 5
    MISSION = 6
    LAND = 7
    TAKEOFF = 8

    @property
    def words(self) -> str:
        """Name as a status text says it."""
        return self.name.lower().replace("_", " ")


class Landed(IntEnum):
    """MAV_LANDED_STATE."""

    GROUND = 1
    AIR = 2
    TAKEOFF = 3
    LANDING = 4


class Action(IntEnum):
    """What a fail-safe does, as the action parameters number it."""

    REPORT = 0
    HOLD = 1
    RETURN = 2
    LAND = 3
    HEIGHT_HOLD = 4
    STOP_MOTORS = 5


class Step(IntEnum):
    """The steps of a return, as the digits of `return.order` name them."""

    CLIMB = 1
    TURN = 2
    CRUISE = 3
    DESCEND = 4
    HOLD = 5
    LAND = 6


class Severity(IntEnum):
    """MAV_SEVERITY."""

    EMERGENCY = 0
    ALERT = 1
    CRITICAL = 2
    ERROR = 3
    WARNING = 4
    NOTICE = 5
    INFO = 6


ACTION_MODES = {
    Action.HOLD: Mode.POSITION_HOLD,
    Action.RETURN: Mode.SAFE_RECOVERY,
    Action.LAND: Mode.LAND,
    Action.HEIGHT_HOLD: Mode.ALTITUDE_HOLD,
}
_RANKS = {Action.HOLD: 1, Action.HEIGHT_HOLD: 1, Action.RETURN: 2, Action.LAND: 3, Action.STOP_MOTORS: 4}
_SAFER = {Mode.SAFE_RECOVERY: 2, Mode.LAND: 3}
NEEDS_POSITION = frozenset({Mode.POSITION_HOLD, Mode.SAFE_RECOVERY, Mode.MISSION})


def outranks(action: Action, mode: Mode) -> bool:
    """Tell whether a fail-safe's action may end a mode: a hold ends no return, and only a stop a landing."""
    return _RANKS[action] > _SAFER.get(mode, 0)


def order_of(digits: float) -> tuple[Step, ...]:
    """Return the steps that the digits of a number name, each once; digits without a step are passed over."""
    known = {int(step) for step in Step}
    steps: list[Step] = []
    for digit in str(int(digits)):
        if int(digit) in known and Step(int(digit)) not in steps:
            steps.append(Step(int(digit)))
    return tuple(steps)
