"""What the engine says happened: changes of alerts, and spoken information without a life cycle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final, TypeAlias

from watchkeeper.rules.levels import Change, Level

__all__ = (
    "SIGHTED", "AlertChange", "Change", "Evidence", "Happening", "Level", "Order", "Preparation", "Refusal",
    "RoutineCall", "State", "Step",
)  # fmt: skip

SIGHTED: Final = "sighted-"
"""Begins the rule of what somebody of the crew saw and pressed (`sightings.py`)."""
Evidence: TypeAlias = Mapping[str, float | str | bool | None]


class State(StrEnum):
    """States of an alert (ANSI/ISA-18.2-2016 = IEC 62682)."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned-unacknowledged"
    LATCHED = "latched-unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched-acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out-of-service"


@dataclass(frozen=True, slots=True)
class AlertChange:
    """One change of one alert. `aircraft` is the MAVLink system id, None for the watch itself.

    `time_us` is the recorded (or scenario's, or wall) time since 1970; `elapsed_us` engine time since the
    first frame of any source. `callout` is the alert's words, `spoken` whether they are to be spoken now.
    """

    time_us: int
    elapsed_us: int
    aircraft: int | None
    rule: str
    level: Level
    change: Change
    state: State
    callout: str | None
    reason: str
    evidence: Evidence = field(default_factory=dict)
    spoken: bool = False
    trial: bool = False
    by: str | None = None
    eyes: bool = False
    """Whether somebody who looks at the aircraft can help with it."""
    acknowledged_by: tuple[str, ...] = ()
    """Roles that have acknowledged it since it was last raised."""


@dataclass(frozen=True, slots=True)
class RoutineCall:
    """Words to be spoken once, with no life cycle."""

    time_us: int
    elapsed_us: int
    aircraft: int | None
    rule: str
    callout: str
    evidence: Evidence = field(default_factory=dict)
    eyes: bool = False


@dataclass(frozen=True, slots=True)
class Refusal:
    """An order that was not carried out, and why."""

    time_us: int
    elapsed_us: int
    aircraft: int | None
    rule: str | None
    action: str
    reason: str
    by: str = ""


class Step(StrEnum):
    """What can be done before a take-off."""

    CHECKED = "checked"
    UNCHECKED = "unchecked"
    CALLED = "called"
    """Test calls are on their way to every role."""
    GIVEN = "given"
    """The test call to a role has been spoken, or taken by the broker."""
    NOT_GIVEN = "not_given"
    CONFIRMED = "confirmed"
    """A role has confirmed its test call."""
    ANEW = "anew"
    """A flight is over: nothing is checked or confirmed any more."""


@dataclass(frozen=True, slots=True)
class Preparation:
    """One step of getting an aircraft ready: for all to see. `role` is whom it concerns, `by` who did it."""

    time_us: int
    elapsed_us: int
    aircraft: int
    step: Step
    by: str
    role: str | None = None
    item: str | None = None
    """Of the checklist."""
    reason: str = ""
    rule: str | None = None
    """None: no alert stands behind it."""


Happening: TypeAlias = AlertChange | RoutineCall | Refusal | Preparation


@dataclass(frozen=True, slots=True)
class Order:
    """What somebody asks of the engine, or a part of the program reports to it.

    action: acknowledge, shelve, unshelve, reset (by `role`, on `rule` of `aircraft`; a rule of None means all
    that stand unacknowledged), or report: the part `rule` ("voice", "mqtt", a source, ...) of the watch
    works (`ok`) or does not, with the reason in `text` and the level it deserves; or resume: what was `kept` of
    `aircraft` by a watch that ended in flight; or, before a take-off of `aircraft`: check and uncheck (the item of
    the checklist in `text`), test (call every role), given (the outlet `by` has given `role` its test call, or
    not: `ok`), confirm (`role` has heard it), settings (how they compare: `ok` if they could be compared, in
    `text` a line for each that does not fit); or reload: go on with the rules of `packs`;
    or sighted: `role` sees what `text` says (`sightings.SIGHTS`), at `aircraft` or (None) at any.
    """

    action: str
    rule: str | None = None
    aircraft: int | None = None
    role: str = "pilot"
    by: str = ""
    minutes: float | None = None
    ok: bool = True
    text: str = ""
    level: Level = Level.CAUTION
    afar: bool = False
    """Came over the network, not from the station's own keys."""
    kept: Mapping[str, Any] | None = field(default=None, hash=False)
    """Plain values, of `Engine.learned`."""
    packs: tuple[tuple[str, str], ...] = ()
    """Every pack of a reload, the shipped ones too: (name, text)."""
