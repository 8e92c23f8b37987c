"""The mission protocol: plans, fences and safe points sent up, read back, cleared.

https://mavlink.io/en/services/mission.html. A plan is exchanged whole, when all of the new one has come.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, TypeAlias

from simulators.wire.packing import Sender, kind
from simulators.wire.plan import (
    ACCEPTED,
    CANCELLED,
    DENIED,
    ERROR,
    INVALID_SEQUENCE,
    NO_SPACE,
    PLAN,
    TYPES,
    UNSUPPORTED,
    PlanItem,
    check_whole,
    read_item,
)
from simulators.wire.received import Handler, Received

MOST_ITEMS: Final = 500
RETRY_S: Final = 0.5
RETRIES: Final = 5
ALL_TYPES: Final = 255
_ACK: Final = kind("MISSION_ACK")
_COUNT: Final = kind("MISSION_COUNT")
_ITEM: Final = kind("MISSION_ITEM_INT")
_REQUEST: Final = kind("MISSION_REQUEST_INT")

Items: TypeAlias = tuple[PlanItem, ...]


@dataclass(slots=True)
class _Upload:
    """What comes in from one partner. Items wait here until all have come."""

    partner: tuple[int, int]
    mission_type: int
    count: int
    retry_s: float
    items: list[PlanItem] = field(default_factory=list)
    retries: int = 0


class MissionProtocol:
    """Holds the plan, the fence and the safe points.

    `on_plan(type, items)` is called when one of them is exchanged, `on_current(item)` when a client orders an item
    of the plan that there is.
    """

    def __init__(
        self,
        sender: Sender,
        on_plan: Callable[[int, Items], None] | None = None,
        on_current: Callable[[int], None] | None = None,
    ) -> None:
        self.on_plan = on_plan
        self.on_current = on_current
        self.handlers: Final[Mapping[int, Handler]] = {
            37: self._partial,
            38: self._partial,
            39: self._item,
            40: self._request,
            41: self._set_current,
            43: self._request_list,
            44: self._count,
            45: self._clear,
            47: self._ack_received,
            51: self._request,
            73: self._item,
        }
        self._sender = sender
        self._items: Final[dict[int, Items]] = dict.fromkeys(TYPES, ())
        self._upload: _Upload | None = None
        self._done: tuple[tuple[int, int], int, int] | None = None
        self._home_altitude_m = 0.0

    def items(self, mission_type: int = PLAN) -> Items:
        """Return what is held of a type. KeyError."""
        return self._items[mission_type]

    def put(self, mission_type: int, items: Items) -> None:
        """Exchange what is held of a type. KeyError."""
        if mission_type not in TYPES:
            raise KeyError(mission_type)
        self._items[mission_type] = items
        if self.on_plan is not None:
            self.on_plan(mission_type, items)

    @property
    def home_altitude_m(self) -> float:
        """Home above sea level. When it is set, items given above sea level keep their altitude."""
        return self._home_altitude_m

    @home_altitude_m.setter
    def home_altitude_m(self, altitude_m: float) -> None:
        rise_m = altitude_m - self._home_altitude_m
        self._home_altitude_m = altitude_m
        for mission_type, items in self._items.items():
            if rise_m and any(item.above_sea for item in items):
                moved = (replace(one, height_m=one.height_m - rise_m) if one.above_sea else one for one in items)
                self.put(mission_type, tuple(moved))

    def pending(self, now_s: float) -> list[bytes]:
        """Return what an upload that stands still calls for: the item asked for again, or its end."""
        upload = self._upload
        if upload is None or now_s < upload.retry_s:
            return []
        if upload.retries >= RETRIES:
            self._upload = None
            return [self._ack(upload.partner, CANCELLED, upload.mission_type)]
        upload.retries += 1
        return [self._ask(upload, now_s)]

    def _count(self, message: Received) -> list[bytes]:
        count, _, _, mission_type = message.values
        partner = (message.system, message.component)
        result = self._may_change(partner, (mission_type,))
        if result == ACCEPTED and count > MOST_ITEMS:
            result = NO_SPACE
        if result != ACCEPTED:
            return [self._ack(partner, result, mission_type)]
        self._upload = self._done = None
        if not count:
            self.put(mission_type, ())
            return [self._ack(partner, ACCEPTED, mission_type)]
        self._upload = _Upload(partner, mission_type, count, message.now_s)
        return [self._ask(self._upload, message.now_s)]

    def _item(self, message: Received) -> list[bytes]:
        sequence, mission_type = message.values[7], message.values[-1]
        partner = (message.system, message.component)
        upload = self._upload
        if upload is None or (upload.partner, upload.mission_type) != (partner, mission_type):
            # The last item once more: our acknowledgement was lost.
            again = self._done == (partner, mission_type, sequence)
            return [self._ack(partner, ACCEPTED if again else ERROR, mission_type)]
        if sequence < len(upload.items):
            return []  # had already; to ask again for the next would double all that follow
        if sequence > len(upload.items):
            return [self._ask(upload, message.now_s)]
        item = read_item(message.values, mission_type, self._home_altitude_m, integer=message.number == _ITEM.id)
        if isinstance(item, int):
            self._upload = None
            return [self._ack(partner, item, mission_type)]
        upload.items.append(item)
        upload.retries = 0
        if len(upload.items) < upload.count:
            return [self._ask(upload, message.now_s)]
        self._upload = None
        result = check_whole(upload.items)
        if result == ACCEPTED:
            self._done = (partner, mission_type, sequence)
            self.put(mission_type, tuple(upload.items))
        return [self._ack(partner, result, mission_type)]

    def _request_list(self, message: Received) -> list[bytes]:
        mission_type = message.values[-1]
        partner = (message.system, message.component)
        if mission_type not in TYPES:
            return [self._ack(partner, UNSUPPORTED, mission_type)]
        return [self._sender.frame(_COUNT, len(self._items[mission_type]), *partner, mission_type)]

    def _request(self, message: Received) -> list[bytes]:
        sequence, _, _, mission_type = message.values
        partner = (message.system, message.component)
        items = self._items.get(mission_type, ())
        if sequence >= len(items):
            return [self._ack(partner, INVALID_SEQUENCE, mission_type)]
        values = items[sequence].values(sequence, partner, mission_type, self._home_altitude_m)
        return [self._sender.frame(_ITEM, *values)]

    def _clear(self, message: Received) -> list[bytes]:
        mission_type = message.values[-1]
        partner = (message.system, message.component)
        types = TYPES if mission_type == ALL_TYPES else (mission_type,)
        result = self._may_change(partner, types)
        if result == ACCEPTED:
            self._upload = self._done = None
            for one in types:
                self.put(one, ())
        return [self._ack(partner, result, mission_type)]

    def _set_current(self, message: Received) -> list[bytes]:
        sequence = message.values[0]
        if sequence >= len(self._items[PLAN]):
            return [self._ack((message.system, message.component), INVALID_SEQUENCE, PLAN)]
        if self.on_current is not None:
            self.on_current(sequence)
        return []

    def _ack_received(self, message: Received) -> list[bytes]:
        """Let a partner give up its upload. The end of a download needs nothing."""
        if self._upload is not None and self._upload.partner == (message.system, message.component):
            self._upload = None
        return []

    def _partial(self, message: Received) -> list[bytes]:
        return [self._ack((message.system, message.component), UNSUPPORTED, message.values[-1])]

    def _may_change(self, partner: tuple[int, int], types: tuple[int, ...]) -> int:
        if any(one not in TYPES for one in types):
            return UNSUPPORTED
        return DENIED if self._upload is not None and self._upload.partner != partner else ACCEPTED

    def _ask(self, upload: _Upload, now_s: float) -> bytes:
        upload.retry_s = now_s + RETRY_S
        return self._sender.frame(_REQUEST, len(upload.items), *upload.partner, upload.mission_type)

    def _ack(self, partner: tuple[int, int], result: int, mission_type: int) -> bytes:
        return self._sender.frame(_ACK, *partner, result, mission_type)
