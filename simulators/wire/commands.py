"""Commands: read, handed on, and acknowledged. Those about messages are answered here.

https://mavlink.io/en/services/command.html
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from simulators.wire.packing import Sender, kind
from simulators.wire.received import Handler, Received
from simulators.wire.schedule import Schedule

ACCEPTED, TEMPORARILY_REJECTED, DENIED, UNSUPPORTED, FAILED, IN_PROGRESS = range(6)
"""MAV_RESULT."""
LONG: Final = 76
INT: Final = 75
_GET_INTERVAL, _SET_INTERVAL, _REQUEST_MESSAGE = 510, 511, 512
_ACK: Final = kind("COMMAND_ACK")
_INTERVAL: Final = kind("MESSAGE_INTERVAL")
_UNKNOWN_PROGRESS: Final = 255
_GLOBAL_FRAMES: Final = (0, 3, 5, 6, 10, 11)
_LOCAL_FRAMES: Final = (1, 4, 7, 8, 9, 12, 20, 21)
_NOT_GIVEN: Final = 2**31 - 1
_PLACED: Final = frozenset({16, 17, 18, 19, 21, 22, 31, 34, 82, 84, 85, 179, 189, 192, 195, 252})
"""MAV_CMD whose parameters 5 and 6 are latitude and longitude also in COMMAND_LONG."""


@dataclass(frozen=True, slots=True)
class Command:
    """One command. Parameters may be NaN ("as it is"), never infinite; a place is in range or None."""

    number: int
    p1: float
    p2: float
    p3: float
    p4: float
    p5: float
    p6: float
    p7: float
    latitude_deg: float | None
    longitude_deg: float | None
    frame: int | None
    """MAV_FRAME of COMMAND_INT; None for COMMAND_LONG."""
    confirmation: int
    """How often it was sent before."""
    from_system: int
    from_component: int
    now_s: float


class CommandProtocol:
    """Takes COMMAND_LONG and COMMAND_INT.

    `handlers[number](command)` returns a MAV_RESULT; a command without handler is unsupported.
    `answers[name](command)` returns the frames of a message asked for whose content depends on the command's
    parameters; other messages asked for are made due in the schedule.
    """

    def __init__(
        self,
        sender: Sender,
        schedule: Schedule,
        handlers: Mapping[int, Callable[[Command], int]],
        answers: Mapping[str, Callable[[Command], Iterable[bytes]]] | None = None,
    ) -> None:
        self.handlers: Final[Mapping[int, Handler]] = {LONG: self._long, INT: self._int}
        self._sender = sender
        self._schedule = schedule
        self._commands = handlers
        self._answers = answers or {}
        self._about_messages: Final = {
            _GET_INTERVAL: self._get_interval,
            _SET_INTERVAL: self._set_interval,
            _REQUEST_MESSAGE: self._request_message,
        }

    def acknowledge(self, command: Command, result: int, progress: int | None = None) -> bytes:
        """Return COMMAND_ACK to who sent the command; progress in % while it goes on (None: unknown)."""
        if result != IN_PROGRESS:
            progress = 0
        elif progress is None:
            progress = _UNKNOWN_PROGRESS
        whom = (command.from_system, command.from_component)
        return self._sender.frame(_ACK, command.number, result, progress, 0, *whom)

    def _long(self, message: Received) -> list[bytes]:
        *params, number, _, _, confirmation = message.values
        placed = number in _PLACED
        return self._take(message, number, params, (params[4], params[5]) if placed else None, None, confirmation)

    def _int(self, message: Received) -> list[bytes]:
        p1, p2, p3, p4, x, y, z, number, _, _, frame, _, _ = message.values
        place = None
        p5, p6 = (math.nan if one == _NOT_GIVEN else float(one) for one in (x, y))
        if frame in _GLOBAL_FRAMES:
            p5, p6 = p5 / 1e7, p6 / 1e7
            place = (p5, p6)
        elif frame in _LOCAL_FRAMES:
            p5, p6 = p5 / 1e4, p6 / 1e4
        return self._take(message, number, [p1, p2, p3, p4, p5, p6, z], place, frame, 0)

    def _take(
        self,
        message: Received,
        number: int,
        params: list[Any],
        place: tuple[float, float] | None,
        frame: int | None,
        confirmation: int,
    ) -> list[bytes]:
        latitude_deg, longitude_deg = place or (math.nan, math.nan)
        p1, p2, p3, p4, p5, p6, p7 = params
        command = Command(
            number, p1, p2, p3, p4, p5, p6, p7,
            latitude_deg=None if math.isnan(latitude_deg) else latitude_deg,
            longitude_deg=None if math.isnan(longitude_deg) else longitude_deg,
            frame=frame,
            confirmation=confirmation,
            from_system=message.system,
            from_component=message.component,
            now_s=message.now_s,
        )  # fmt: skip
        out = (
            abs(latitude_deg) > 90
            or abs(longitude_deg) > 180
            or math.isnan(latitude_deg + longitude_deg)
            != (command.latitude_deg is None and command.longitude_deg is None)
        )
        if out or any(math.isinf(one) for one in params):
            known = number in self._commands or number in self._about_messages
            return [self.acknowledge(command, DENIED if known else UNSUPPORTED)]
        about = self._about_messages.get(number)
        if about is not None:
            result, frames = about(command)
            return [self.acknowledge(command, result), *frames]
        handler = self._commands.get(number)
        return [self.acknowledge(command, UNSUPPORTED if handler is None else handler(command))]

    def _get_interval(self, command: Command) -> tuple[int, list[bytes]]:
        return self._tell_interval(command.p1)

    def _tell_interval(self, message_id: float) -> tuple[int, list[bytes]]:
        if not 0 <= message_id <= 0xFFFF or not message_id.is_integer():
            return DENIED, []  # the field has 16 bits
        name = self._schedule.name_of(int(message_id))
        interval_us = 0 if name is None else self._schedule.interval_us(name)
        return ACCEPTED, [self._sender.frame(_INTERVAL, interval_us, int(message_id))]

    def _set_interval(self, command: Command) -> tuple[int, list[bytes]]:
        name = self._name(command.p1)
        interval_us = command.p2
        if name is None or not (interval_us >= 0 or interval_us == -1):
            return DENIED, []
        self._schedule.set_rate(name, None if interval_us == 0 else 0.0 if interval_us < 0 else 1e6 / interval_us)
        return ACCEPTED, []

    def _request_message(self, command: Command) -> tuple[int, list[bytes]]:
        if command.p1 == _INTERVAL.id:
            return self._tell_interval(command.p2)
        name = self._name(command.p1)
        if name is None:
            return DENIED, []
        answer = self._answers.get(name)
        if answer is not None:
            return ACCEPTED, list(answer(command))
        self._schedule.request(name)
        return ACCEPTED, []

    def _name(self, message_id: float) -> str | None:
        """Return the name of a message that can be sent."""
        return self._schedule.name_of(int(message_id)) if message_id.is_integer() else None
