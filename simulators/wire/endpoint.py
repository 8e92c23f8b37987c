"""The aircraft's end of the link: bytes in, answers out. No clock and no socket."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from simulators.wire.commands import CommandProtocol
from simulators.wire.guard import Guard
from simulators.wire.missions import MissionProtocol
from simulators.wire.packing import Sender, kind
from simulators.wire.parameters import ParameterProtocol
from simulators.wire.received import Handler, Received, receive
from simulators.wire.schedule import Schedule
from watchkeeper.link.framing import GOOD, Framer

HEARTBEAT, PING, SET_MODE, REQUEST_DATA_STREAM, MANUAL_CONTROL, RC_CHANNELS_OVERRIDE, TIMESYNC = (
    0, 4, 11, 66, 69, 70, 111,
)  # fmt: skip
"""Message ids, for tables of handlers."""
_PING: Final = kind("PING")
_TIMESYNC: Final = kind("TIMESYNC")


class Endpoint:
    """Hands each message meant for this component to what answers it.

    `handlers` are the aircraft's own, by message id, and come before those of the protocols. What is not taken is
    counted: `refused` (signature), `elsewhere` (for another system), `unhandled` (nobody takes that message).
    """

    def __init__(
        self,
        sender: Sender,
        parameters: ParameterProtocol,
        missions: MissionProtocol,
        commands: CommandProtocol,
        schedule: Schedule,
        handlers: Mapping[int, Handler] | None = None,
    ) -> None:
        self.framer: Final = Framer()
        self.refused = 0
        self.elsewhere = 0
        self.unhandled = 0
        self._sender = sender
        self._parameters = parameters
        self._missions = missions
        self._schedule = schedule
        self._guard = None if sender.signing is None else Guard(sender.signing)
        self._handlers: Final[dict[int, Handler]] = {
            PING: self._ping,
            TIMESYNC: self._timesync,
            REQUEST_DATA_STREAM: self._stream,
            **parameters.handlers,
            **missions.handlers,
            **commands.handlers,
            **(handlers or {}),
        }

    def receive(self, data: bytes, now_s: float) -> list[bytes]:
        """Take bytes, return the frames that answer them. Raises for no bytes whatever."""
        answers: list[bytes] = []
        sender = self._sender
        for system, component, _, number, payload, raw, status in self.framer.feed(data):
            if status != GOOD or (system, component) == (sender.system, sender.component):
                continue  # counted by the framer, or our own come back
            if self._guard is not None and not self._guard.allows(system, component, number, raw):
                self.refused += 1
                continue
            handler = self._handlers.get(number)
            if handler is None:
                self.unhandled += 1
                continue
            message = receive(number, payload, system, component, now_s)
            if message.meant_for(sender.system, sender.component):
                answers.extend(handler(message))
            else:
                self.elsewhere += 1
        return answers

    def pending(self, now_s: float) -> list[bytes]:
        """Return what the protocols send by themselves: values of a list, items asked for again."""
        return self._parameters.pending(now_s) + self._missions.pending(now_s)

    def _ping(self, message: Received) -> list[bytes]:
        time_us, sequence, system, _ = message.values
        if system:
            return []  # the answer to a ping
        return [self._sender.frame(_PING, time_us, sequence, message.system, message.component)]

    def _timesync(self, message: Received) -> list[bytes]:
        theirs, sent_ns = message.values[:2]
        if theirs:
            return []  # an answer
        return [self._sender.frame(_TIMESYNC, int(message.now_s * 1e9), sent_ns)]

    def _stream(self, message: Received) -> list[bytes]:
        rate_hz, _, _, stream, start = message.values
        self._schedule.set_stream(stream, rate_hz if start else 0.0)
        return []
