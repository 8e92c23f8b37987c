"""The life of one alert: a table first, after ANSI/ISA-18.2-2016 (IEC 62682).

Shelving and suppression lie over the six states of the condition, so that the condition is still judged,
logged and counted while nobody is told (ISA-18.2: a shelved or suppressed alarm is still evaluated). One
departure: an unacknowledged caution or advisory that ends goes straight to normal, for 14 CFR 25.1322 removes
an alert when its condition ends; an unacknowledged warning stays listed as over.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum, auto
from typing import Final

from watchkeeper.alerts.events import Change, Evidence, Level, State


class Signal(Enum):
    """What can happen to the condition of an alert or be done about it."""

    RAISE = auto()
    CLEAR = auto()
    ACKNOWLEDGE = auto()
    RESET = auto()
    ESCALATE = auto()
    """It has stood unacknowledged for too long: told anew, at a higher level (ISA-18.2's re-alarm)."""


class Ending(Enum):
    """Where an alert goes when its condition ends."""

    FORGET = auto()
    """Cautions and advisories: to normal."""
    LIST = auto()
    """Warnings: listed as over until acknowledged."""
    LATCH = auto()
    """Held until acknowledged and reset."""


_NORMAL, _UNACK, _ACK = State.NORMAL, State.UNACKNOWLEDGED, State.ACKNOWLEDGED
_RETURNED, _LATCHED, _LATCHED_ACK = State.RETURNED, State.LATCHED, State.LATCHED_ACKNOWLEDGED
_Table = Mapping[tuple[State, Signal], tuple[State, Change]]

_COMMON: Final[_Table] = {
    (_NORMAL, Signal.RAISE): (_UNACK, Change.RAISED),
    (_UNACK, Signal.ACKNOWLEDGE): (_ACK, Change.ACKNOWLEDGED),
    (_UNACK, Signal.ESCALATE): (_UNACK, Change.ESCALATED),
    (_ACK, Signal.CLEAR): (_NORMAL, Change.CLEARED),
}
TRANSITIONS: Final[Mapping[Ending, _Table]] = {
    Ending.FORGET: {
        **_COMMON,
        (_UNACK, Signal.CLEAR): (_NORMAL, Change.CLEARED),
    },
    Ending.LIST: {
        **_COMMON,
        (_UNACK, Signal.CLEAR): (_RETURNED, Change.CLEARED),
        (_RETURNED, Signal.ACKNOWLEDGE): (_NORMAL, Change.ACKNOWLEDGED),
        (_RETURNED, Signal.RAISE): (_UNACK, Change.RAISED),
    },
    Ending.LATCH: {
        **_COMMON,
        (_UNACK, Signal.CLEAR): (_LATCHED, Change.CLEARED),
        (_ACK, Signal.CLEAR): (_LATCHED_ACK, Change.CLEARED),
        (_LATCHED, Signal.ACKNOWLEDGE): (_LATCHED_ACK, Change.ACKNOWLEDGED),
        (_LATCHED, Signal.RAISE): (_UNACK, Change.RAISED),
        (_LATCHED_ACK, Signal.RAISE): (_UNACK, Change.RAISED),
        (_LATCHED_ACK, Signal.RESET): (_NORMAL, Change.RESET),
    },
}


def ending_of(level: Level, *, latch: bool, trial: bool = False) -> Ending:
    """Return what becomes of an alert of that level when its condition ends. On trial nobody could see to it."""
    if trial:
        return Ending.FORGET
    if latch:
        return Ending.LATCH
    return Ending.LIST if level is Level.WARNING else Ending.FORGET


class Alert:
    """One rule on one aircraft (None: the watch itself). Times are engine microseconds."""

    __slots__ = (
        "_own_level", "aircraft", "callout", "core", "evidence", "eyes", "latch", "level", "raised_us", "reason",
        "roles", "rule", "said", "said_us", "shelved_afar", "shelved_until_us", "stale", "suppressed", "told_us",
        "trial", "untold", "waiting_us",
    )  # fmt: skip

    def __init__(
        self,
        rule: str,
        level: Level,
        aircraft: int | None,
        *,
        latch: bool = False,
        trial: bool = False,
        eyes: bool = False,
    ) -> None:
        self.rule = rule
        self._own_level = level
        self.level = level
        """Its rule's; higher once it has been escalated, until it is over."""
        self.latch = latch
        self.aircraft = aircraft
        self.trial = trial
        self.eyes = eyes
        self.core = State.NORMAL
        self.shelved_until_us: int | None = None
        self.shelved_afar = False
        """Shelved by another than the pilot at the station."""
        self.suppressed = False
        self.stale = False
        self.untold = False
        """Raised, or held back, and not spoken since."""
        self.waiting_us: int | None = None
        """Since when it has stood told and unacknowledged; None: it does not."""
        self.roles: set[str] = set()
        self.callout: str | None = None
        self.said: str | None = None
        """The callout without aircraft and level."""
        self.reason = ""
        self.evidence: Evidence = {}
        self.raised_us = 0
        self.said_us = 0
        self.told_us = 0
        """When it was first spoken since it was raised, escalated or held back."""

    @property
    def stands(self) -> bool:
        """The condition holds now (acknowledged or not)."""
        return self.core is _UNACK or self.core is _ACK

    @property
    def listed(self) -> bool:
        """It belongs on the list: stands, or ended and not yet seen to."""
        return self.core is not _NORMAL

    @property
    def silent(self) -> bool:
        """Nobody is to be told of it now."""
        return self.suppressed or self.shelved_until_us is not None or self.trial

    @property
    def state(self) -> State:
        """The state shown. One on trial is out of service (ISA-18.2): judged and logged, told to nobody."""
        if self.trial:
            return State.OUT_OF_SERVICE if self.listed else State.NORMAL
        if self.shelved_until_us is not None:
            return State.SHELVED
        if self.suppressed and self.stands:
            return State.SUPPRESSED
        return self.core

    def told_by(self, at_us: int) -> bool:
        """Whether somebody was told of it as it stands now, by that time."""
        return not self.untold and self.told_us <= at_us

    @property
    def ending(self) -> Ending:
        """Where it goes when its condition ends."""
        return ending_of(self.level, latch=self.latch, trial=self.trial)

    def rest(self) -> None:
        """Return to the rule's own level, once it is over and that has been told."""
        if self.core is _NORMAL:
            self.level = self._own_level

    def signal(self, signal: Signal) -> Change | None:
        """Step through the table. Returns the change, or None where the table has no such step."""
        step = TRANSITIONS[self.ending].get((self.core, signal))
        if step is None:
            return None
        self.core, change = step
        if signal is not Signal.ACKNOWLEDGE and signal is not Signal.ESCALATE:
            self.stale = False
        if signal is Signal.RAISE or signal is Signal.ESCALATE:
            self.roles = set()
            self.untold = True
            self.waiting_us = None
        return change
