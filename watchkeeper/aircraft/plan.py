"""The flight plan as far as it is seen in the stream: enough to tell a return or a landing flown as an item."""

from __future__ import annotations

from typing import Final, NamedTuple

from watchkeeper.aircraft.geodesy import distance_bearing, is_place

RETURN_COMMAND: Final = 20
"""MAV_CMD_NAV_RETURN_TO_LAUNCH"""
LAND_COMMANDS: Final = frozenset({21, 85})
"""MAV_CMD_NAV_LAND, MAV_CMD_NAV_VTOL_LAND"""
NEAR_M: Final = 15.0
"""Within this of its landing place an aircraft lands; further away it is on the way there."""
MOST_ITEMS: Final = 2000
_COMPLETE: Final = 5
"""MISSION_STATE_COMPLETE"""


class Item(NamedTuple):
    """One item: what it commands, and where (degrees), if it says where."""

    command: int
    place: tuple[float, float] | None


class Plan:
    """Items by number, and which is flown."""

    __slots__ = ("changes", "current", "items", "state", "total")

    def __init__(self) -> None:
        self.items: dict[int, Item] = {}
        self.total: int | None = None
        """How many items there are; None while nobody has told."""
        self.current: int | None = None
        self.state = 0
        self.changes = 0
        """Counts up with whatever is told of its items."""

    def count(self, total: int) -> None:
        """Take how many items are about to be sent: what is beyond them is no longer in the plan."""
        self.total = total
        self.changes += 1
        for number in [n for n in self.items if n >= total]:
            del self.items[number]

    def add(self, number: int, command: int, latitude_deg: float, longitude_deg: float) -> None:
        """Take one item in."""
        if number not in self.items and len(self.items) >= MOST_ITEMS:
            return
        self.changes += 1
        placed = is_place(latitude_deg, longitude_deg)
        self.items[number] = Item(command, (latitude_deg, longitude_deg) if placed else None)

    def go_to(self, number: int, total: int, state: int) -> bool:
        """Take MISSION_CURRENT in (its total is 0 where not supported, 65535 without a plan).

        Return whether anything changed.
        """
        known = self.total
        if total == 65535:
            self.items.clear()
            self.total = 0
        elif total:
            self.total = total
        self.changes += self.total != known
        if number == self.current and state == self.state:
            return False
        self.current = number
        self.state = state
        return True

    def command(self) -> Item | None:
        """Return the item that is flown, if it is known and the plan not over."""
        if self.current is None or self.state == _COMPLETE:
            return None
        return self.items.get(self.current)

    def returns(self) -> bool:
        """Whether the item flown is a return."""
        item = self.command()
        return item is not None and item.command == RETURN_COMMAND

    def lands(self, position: tuple[float, float] | None) -> bool:
        """Whether the item flown is a landing, and the aircraft near its place (or the item names none)."""
        item = self.command()
        if item is None or item.command not in LAND_COMMANDS:
            return False
        if item.place is None or position is None:
            return True
        return distance_bearing(*position, *item.place)[0] < NEAR_M
