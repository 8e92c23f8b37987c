"""What the crew has done and confirmed before a take-off: checklist items, who hears the watch, settings compared.

One for each aircraft. It holds for one flight: a landing begins it anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from watchkeeper.alerts.events import Order

ROLES: Final = ("pilot", "observer", "post")
ACTIONS: Final = frozenset({"check", "uncheck", "confirm", "settings"})
MAX_MISFITS: Final = 40


class Checks:
    """Items checked, roles that confirmed to hear the watch, and how the settings compare with the brief's."""

    __slots__ = ("asked", "checked", "checklist", "compared", "confirmed", "kept", "misfits", "roles")

    def __init__(self, checklist: Sequence[str] = (), roles: Sequence[str] = ()) -> None:
        self.checklist = tuple(checklist)
        self.roles = tuple(roles)
        self.checked: set[str] = set()
        self.confirmed: set[str] = set()
        self.kept = False
        """Whether anybody has checked or confirmed anything: a crew that keeps its list on paper is not nagged."""
        self.asked = False
        """Whether somebody is to compare them: a part of the program that can."""
        self.compared = False
        """Whether the aircraft's settings were compared with what today asks."""
        self.misfits: tuple[str, ...] = ()
        """Settings that do not fit today, in words."""

    def take(self, order: Order) -> str:
        """Take an order of `ACTIONS`; returns why not, if it cannot be carried out."""
        if order.action == "settings":
            self.asked = True
            self.compared = order.ok
            self.misfits = tuple(line for line in order.text.split("\n")[:MAX_MISFITS] if line)
        elif order.action == "confirm":
            if order.role not in self.roles:
                return "this role is not asked to confirm"
            self.confirmed.add(order.role)
            self.kept = True
        elif order.text not in self.checklist:
            return "no such item of the checklist"
        else:
            self.kept = True
            (self.checked.add if order.action == "check" else self.checked.discard)(order.text)
        return ""

    def begin_anew(self) -> None:
        """Forget checks and confirmations: the flight they were for is over."""
        self.checked.clear()
        self.confirmed.clear()

    @property
    def open(self) -> tuple[str, ...]:
        """Items of the checklist that are not checked, in its order, where it is kept here."""
        return tuple(item for item in self.checklist if self.kept and item not in self.checked)

    @property
    def unheard(self) -> tuple[str, ...]:
        """Roles that have not confirmed that they hear the watch, where any has."""
        return tuple(role for role in self.roles if self.kept and role not in self.confirmed)
