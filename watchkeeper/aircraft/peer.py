"""One component of one system, as it is heard on one source."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from watchkeeper.aircraft.handlers import FOLDINGS, Handler
from watchkeeper.aircraft.parameters import Parameters
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.link.sequence import SequenceTracker

MAX_MESSAGES: Final = 256
"""Kinds of messages counted for one peer; what comes beyond is counted together."""
OTHERS: Final = -1


class Slot:
    """One kind of message of a peer: how many came, and how it is folded (if it is)."""

    __slots__ = ("count", "handle", "last_us", "length", "read")

    def __init__(self, message: int) -> None:
        folding = FOLDINGS.get(message)
        self.count = 0
        self.last_us = 0
        self.handle: Handler | None = None
        self.read: Callable[[bytes], tuple[Any, ...]] | None = None
        self.length = 0
        if folding is not None:
            self.handle, self.read, self.length = folding


class Peer:
    """Counters and kind of one component. Set `aircraft` where it is the autopilot of one."""

    __slots__ = (
        "aircraft", "autopilot", "beat", "component", "early", "first_us", "last_us", "other_us", "receive",
        "refused", "slots", "system", "touched", "tracker", "vehicle",
    )  # fmt: skip

    def __init__(self, system: int, component: int, now_us: int) -> None:
        self.system = system
        self.component = component
        self.tracker = SequenceTracker()
        self.receive = self.tracker.receive
        self.aircraft: Aircraft | None = None
        self.touched: tuple[Aircraft, ...] = ()
        self.early: Parameters | None = None
        """Parameters that came before the first heartbeat."""
        self.beat: tuple[int, tuple[Any, ...]] | None = None
        """When its last heartbeat came, and its values, until it is an aircraft."""
        self.other_us: int | None = None
        """When it last sent another message that is folded."""
        self.refused = 0
        """Messages with a value that could not be worked with."""
        self.slots: dict[int, Slot] = {}
        self.first_us = self.last_us = now_us
        self.vehicle: int | None = None
        """MAV_TYPE of its heartbeat."""
        self.autopilot: int | None = None
        """MAV_AUTOPILOT of its heartbeat."""

    def slot(self, message: int) -> Slot:
        """Return the slot of a message, made when it is heard for the first time."""
        room = len(self.slots) < MAX_MESSAGES or message in FOLDINGS  # what is folded always has its own
        key = message if room or message in self.slots else OTHERS
        slot = self.slots.get(key)
        if slot is None:
            slot = self.slots[key] = Slot(key)
        return slot

    def count(self, message: int) -> int:
        """Return how many of a message came."""
        slot = self.slots.get(message)
        return 0 if slot is None else slot.count

    @property
    def total(self) -> int:
        """How many messages came."""
        return sum(slot.count for slot in self.slots.values())
