"""What the crew has done and confirmed before a take-off: checklist items, who hears the watch, settings compared.

One for each aircraft. It holds for one flight: a landing begins it anew. A role confirms that it hears the watch
by answering a test call that really was given to it, soon after it was.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final, Literal, TypeAlias

from watchkeeper.alerts.events import Order

Role: TypeAlias = Literal["pilot", "observer", "post"]
ROLES: Final[tuple[Role, ...]] = ("pilot", "observer", "post")
ACTIONS: Final = frozenset({"check", "uncheck", "test", "given", "confirm", "settings"})
MAX_MISFITS: Final = 40
ANSWER_WITHIN_US: Final = 120_000_000
"""A confirmation that comes later answers nothing that anybody still has in the ear (our choice)."""


class Checks:
    """Items checked, roles that confirmed to hear the watch, and how the settings compare with the brief's."""

    __slots__ = (
        "_called", "_given_us", "asked", "checked", "checklist", "compared", "confirmed", "kept", "misfits",
        "named", "roles",
    )  # fmt: skip

    def __init__(self, checklist: Sequence[str] = (), roles: Sequence[str] = ()) -> None:
        self.checklist = tuple(checklist)
        self.named = bool(roles)
        """Whether the sortie names the roles: then each that has not confirmed is a reason to wait."""
        self.roles: tuple[str, ...] = tuple(roles) or ROLES
        """Who is called, and can confirm."""
        self.checked: set[str] = set()
        self.confirmed: set[str] = set()
        self._called: set[str] = set()
        self._given_us: dict[str, int] = {}
        self.kept = False
        """Whether anybody has checked anything: a crew that keeps its list on paper is not nagged."""
        self.asked = False
        """Whether somebody is to compare them: a part of the program that can."""
        self.compared = False
        """Whether the aircraft's settings were compared with what today asks."""
        self.misfits: tuple[str, ...] = ()
        """Settings that do not fit today, in words."""

    def compare(self, order: Order) -> None:
        """Take how the aircraft's settings compare with today's."""
        self.asked = True
        self.compared = order.ok
        self.misfits = tuple(line for line in order.text.split("\n")[:MAX_MISFITS] if line)

    def tick_off(self, item: str, *, done: bool) -> str:
        """Check an item of the checklist, or not any more; returns why not, if it cannot be."""
        if item not in self.checklist:
            return "no such item of the checklist"
        self.kept = True
        (self.checked.add if done else self.checked.discard)(item)
        return ""

    def call(self, roles: Iterable[str]) -> None:
        """Note that test calls are on their way: what was confirmed before does not count any more."""
        for role in roles:
            self._called.add(role)
            self._given_us.pop(role, None)
            self.confirmed.discard(role)

    def give(self, role: str, now_us: int, *, ok: bool) -> bool:
        """Note that a role's test call was given, or could not be; returns whether one was on its way."""
        if role not in self._called:
            return False
        if ok:
            self._given_us[role] = now_us
        return True

    def confirm(self, role: str, now_us: int) -> str:
        """Note that a role hears the watch; returns why not, if that cannot be."""
        if role not in self.roles:
            return "this role is not asked to confirm"
        given_us = self._given_us.get(role)
        if given_us is None:
            return "no test call has been given to this role"
        if now_us - given_us > ANSWER_WITHIN_US:
            return "the test call was too long ago; ask for another"
        self.confirmed.add(role)
        return ""

    def begin_anew(self) -> bool:
        """Forget checks and confirmations: the flight they were for is over. Returns whether there were any."""
        any_ = bool(self.checked or self._called)
        for done in (self.checked, self._called, self._given_us, self.confirmed):
            done.clear()
        return any_

    @property
    def all_confirmed(self) -> bool:
        """Whether nobody is left to be called."""
        return self.confirmed.issuperset(self.roles)

    @property
    def open(self) -> tuple[str, ...]:
        """Items of the checklist that are not checked, in its order, where it is kept here."""
        return tuple(item for item in self.checklist if self.kept and item not in self.checked)

    def unheard(self) -> Iterator[tuple[str, str]]:
        """Yield (phrase, role) of those the sortie names who have not confirmed to hear the watch."""
        for role in self.roles if self.named else ():
            if role in self.confirmed:
                continue
            if role in self._given_us:
                yield "Crew. The {} has not confirmed to hear the watch.", role
            elif role in self._called:
                yield "Crew. Test call to the {} not given.", role
            else:
                yield "Crew. No test call to the {} yet.", role
