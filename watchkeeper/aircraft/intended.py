"""What the crew means the aircraft to do, as far as the stream shows it: orders, replies, sticks, switches.

Nothing here judges; it notes what was seen last and when (microseconds; 0: never). Which orders lead to which
mode is MAVLink's MAV_CMD; that the first four channels are the sticks is common practice (roll, pitch, throttle,
yaw in whatever order), and that the channels after them are switches and knobs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from watchkeeper.aircraft.readings import US, Stream

ANY: Final = frozenset({"*"})
LEADS_TO: Final[dict[int, frozenset[str]]] = {
    11: ANY,  # SET_MODE, which some acknowledge by the number of the message
    16: frozenset({"external", "mission"}),  # MAV_CMD_NAV_WAYPOINT
    17: frozenset({"position_hold"}), 18: frozenset({"position_hold", "orbit"}), 19: frozenset({"position_hold"}),
    20: frozenset({"safe_recovery"}),  # MAV_CMD_NAV_RETURN_TO_LAUNCH
    21: frozenset({"land"}), 23: frozenset({"land"}), 85: frozenset({"land"}),
    22: frozenset({"takeoff", "external", "position_hold", "mission"}),  # MAV_CMD_NAV_TAKEOFF
    24: frozenset({"takeoff", "external", "position_hold", "mission"}),
    34: frozenset({"orbit", "external"}),  # MAV_CMD_DO_ORBIT
    176: ANY,  # MAV_CMD_DO_SET_MODE: the numbers are the autopilot's own
    185: ANY,  # MAV_CMD_DO_FLIGHTTERMINATION
    192: frozenset({"position_hold", "external"}),  # MAV_CMD_DO_REPOSITION
    193: frozenset({"position_hold", "external", "mission"}),  # MAV_CMD_DO_PAUSE_CONTINUE
    262: ANY,  # MAV_CMD_DO_SET_STANDARD_MODE
    300: frozenset({"mission"}),  # MAV_CMD_MISSION_START
}  # fmt: skip
"""Modes that a command may bring about, by MAV_CMD."""
MOVES: Final = frozenset({16, 17, 18, 19, 22, 34, 192, 193, 252})
"""Commands that move an aircraft without another mode, or with one."""
ACCEPTED: Final = frozenset({0, 5})
"""MAV_RESULT_ACCEPTED, MAV_RESULT_IN_PROGRESS"""
TROUBLE_STATE: Final = 5
"""MAV_STATE_CRITICAL; emergency and termination are beyond it."""
STICK_US: Final = 40
"""Pulse width in microseconds: more than trims and noise, less than a stick meant (common practice: dead zones of
10 to 40)."""
SWITCH_US: Final = 100
"""A switch of six places steps by more (common practice: 160 and more)."""
NO_PULSE: Final = 65535
LOWEST_PULSE_US: Final = 800
"""Receivers put less than this, or nothing, on a channel that is not heard (common practice)."""
SLIP_M: Final = 5.0
"""More than it flies from one message to the next: the way to where it is going changed, it was sent elsewhere."""
_STICKS: Final = 4
_LIVE_US: Final = 4 * US


class Intended:
    """Orders, sticks, switches and attitude of one power-up."""

    __slots__ = (
        "_channels", "_high", "_low", "_ordered", "_target_m", "attitude", "manual_us", "move_us", "orders",
        "pitch_rad", "radio_lost_us", "radio_us", "roll_rad", "state", "state_us", "stick_us", "switch_us",
        "target_us", "yaw_rad",
    )  # fmt: skip

    def __init__(self) -> None:
        self.attitude = Stream()
        self.roll_rad = self.pitch_rad = self.yaw_rad = math.nan
        self._ordered: dict[str, int] = {}
        self.orders = 0
        """Orders of a mode and acknowledgements of them seen so far: some way of ordering can be seen."""
        self.move_us = 0
        """When an order to move, and not by the sticks, was last seen."""
        self.target_us = 0
        """When it last told of another place to go to."""
        self._target_m: int | None = None
        self.stick_us = 0
        """When sticks sent by a station were last out of their middle."""
        self.manual_us = 0
        """When sticks sent by a station were last seen."""
        self.radio_us = 0
        """When channels of a radio control with any stick on them were last seen."""
        self.radio_lost_us = 0
        """Since when channels come with no stick on them, after there were some; 0 while they are there."""
        self.switch_us = 0
        self.state = 0
        """MAV_STATE"""
        self.state_us = 0
        """When that last became critical or worse."""
        self._channels: tuple[int, ...] = ()
        self._low: list[int] = []
        self._high: list[int] = []

    def order(self, command: int, now_us: int) -> None:
        """Take a command that was sent to it, or that it says it accepted."""
        modes = LEADS_TO.get(command)
        if modes is not None:
            self.orders += 1
            for mode in modes:
                self._ordered[mode] = now_us
        if command in MOVES:
            self.move_us = now_us

    def ordered_us(self, mode: str) -> int:
        """Return when an order that may lead to a mode was last seen."""
        return max(self._ordered.get(mode, 0), self._ordered.get("*", 0))

    def channels(self, channels: tuple[int, ...], now_us: int) -> None:
        """Take the pulse widths of a radio control, in microseconds; 0, 65535 or hardly a pulse: not heard."""
        before = self._channels
        sticks = [width for width in channels[:_STICKS] if LOWEST_PULSE_US <= width < NO_PULSE]
        if len(sticks) < _STICKS:
            if self.radio_us and not self.radio_lost_us and not sticks:
                self.radio_lost_us = now_us
            return
        self.radio_us = now_us
        if self.radio_lost_us:
            self.radio_lost_us = 0
            before = ()  # what it comes back with was set by nobody just now
        self._channels = channels
        if not self._low:
            self._low, self._high = [*sticks], [*sticks]
        else:
            self._low = [*map(min, self._low, sticks)]
            self._high = [*map(max, self._high, sticks)]
        if channels[_STICKS:] != before[_STICKS:]:
            for width, was in zip(channels[_STICKS:], before[_STICKS:], strict=False):
                pulses = LOWEST_PULSE_US <= width < NO_PULSE and LOWEST_PULSE_US <= was < NO_PULSE
                if pulses and abs(width - was) > SWITCH_US:
                    self.switch_us = now_us

    def take_sticks(self) -> tuple[Sequence[int], Sequence[int]] | None:
        """Return the least and greatest pulse widths of the sticks since the last call; None if none came."""
        if not self._low:
            return None
        taken = self._low, self._high
        self._low, self._high = [], []
        return taken

    def manual(self, axes: Sequence[int], now_us: int) -> None:
        """Take the sticks that a station sends, in thousandths; what is beyond that is not used."""
        self.manual_us = now_us
        if any(STICK_US < abs(axis) <= 1000 for axis in axes):
            self.stick_us = now_us

    def target(self, distance_m: int, now_us: int) -> None:
        """Take how far it says to be from where it is going."""
        if self._target_m is not None and abs(distance_m - self._target_m) > SLIP_M:
            self.target_us = now_us
        self._target_m = distance_m

    def stated(self, state: int, now_us: int) -> None:
        """Take MAV_STATE."""
        if state >= TROUBLE_STATE > self.state:
            self.state_us = now_us
        self.state = state

    def sticks_seen(self, now_us: int) -> bool:
        """Whether what the pilot does with the sticks can be seen now."""
        seen_us = max(self.radio_us, self.manual_us)
        return seen_us > 0 and now_us - seen_us <= _LIVE_US
