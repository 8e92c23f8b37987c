"""Who of the crew hears the watch by phone: by the word of phones whose playback really goes on.

A phone says every 5 s how far it has played. A role hears while one of its phones was heard of lately. When the
observer had begun to listen and none of their phones plays any more, pilot and post are told; after a stop that
was wished it is an advisory. No time of its own: `look` is called now and then.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from watchkeeper.alerts.audience import OBSERVER
from watchkeeper.alerts.checks import ROLES
from watchkeeper.edges.clock import steady_us
from watchkeeper.edges.reports import Report

PART: Final = "observer"
NOT_HEARING: Final = "Observer does not hear the watch. Check the phone."
STOPPED: Final = "Observer has stopped listening."
HEARS: Final = "the observer hears the watch"
HEARD_WITHIN_US: Final = 12_000_000
"""Twice missed, with 2 s for the way."""
LOOK_EVERY_S: Final = 0.5
MOST_PHONES: Final = 16
"""Of one role; the one not heard of for longest is forgotten."""


@dataclass(slots=True)
class _Role:
    played: dict[str, tuple[float, int]] = field(default_factory=dict)
    """By phone: position in s, and when it last moved. Oldest first."""
    hears: bool | None = None
    """None: never began to listen, or stopped."""

    def plays(self, now_us: int) -> bool:
        return any(now_us - moved_us <= HEARD_WITHIN_US for _, moved_us in self.played.values())


class Hearing:
    """Keeps which phones play. Bounded: three roles, each with no more than MOST_PHONES."""

    def __init__(
        self,
        report: Report,
        listens: Callable[[str], bool],
        *,
        began: Callable[[str], None] = lambda _: None,
        now_us: Callable[[], int] = steady_us,
    ) -> None:
        """Ask `listens` whether a role is connected to the stream; call `began` when one hears anew."""
        self._report = report
        self._listens = listens
        self._began = began
        self._now_us = now_us
        self._roles: dict[str, _Role] = {role: _Role() for role in ROLES}
        self._told: str | None = None

    def heard(self, role: str, phone: str, at_s: float) -> bool:
        """Take the word of a phone that it has played up to `at_s`; returns whether its role hears by now.

        A position that stands still counts for nothing, nor does that of one who is not connected.
        """
        known, now_us = self._roles[role], self._now_us()
        before = known.played.pop(phone, None)
        if self._listens(role) and (before is None or before[0] != at_s):
            known.played[phone] = at_s, now_us
        elif before is not None:
            known.played[phone] = before
        while len(known.played) > MOST_PHONES:
            del known.played[next(iter(known.played))]
        if not known.plays(now_us):
            return False
        anew, known.hears = known.hears is not True, True
        if anew:
            self._tell(role, None)
            self._began(role)
        return True

    def stopped(self, role: str, phone: str) -> None:
        """Take the word of a phone that its holder wished to listen no longer."""
        known = self._roles[role]
        if known.played.pop(phone, None) is not None and not known.plays(self._now_us()):
            known.hears = None
            self._tell(role, STOPPED)

    def look(self) -> None:
        """Notice roles that hear no longer."""
        now_us = self._now_us()
        for role, known in self._roles.items():
            if known.hears and not known.plays(now_us):
                known.hears = False
                self._tell(role, NOT_HEARING)

    async def run(self) -> None:
        """Look until cancelled."""
        while True:
            self.look()
            await asyncio.sleep(LOOK_EVERY_S)

    def by_role(self) -> dict[str, bool | None]:
        """Return whether each role hears the watch by phone; None: it does not ask to."""
        return {role: known.hears for role, known in self._roles.items()}

    def _tell(self, role: str, trouble: str | None) -> None:
        if role != OBSERVER or trouble == self._told:
            return
        if self._told is not None:
            self._report(PART, True, HEARS if trouble is None else trouble)
        if trouble is not None:
            self._report(PART, False, trouble)
        self._told = trouble
