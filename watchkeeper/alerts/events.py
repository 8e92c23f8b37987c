"""What the engine says happened: changes of alerts, and spoken information without a life cycle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, TypeAlias

from watchkeeper.rules.levels import Change, Level

__all__ = ("AlertChange", "Change", "Evidence", "Happening", "Level", "Order", "Refusal", "RoutineCall", "State")

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


@dataclass(frozen=True, slots=True)
class RoutineCall:
    """Words to be spoken once, with no life cycle."""

    time_us: int
    elapsed_us: int
    aircraft: int | None
    rule: str
    callout: str
    evidence: Evidence = field(default_factory=dict)


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


Happening: TypeAlias = AlertChange | RoutineCall | Refusal


@dataclass(frozen=True, slots=True)
class Order:
    """What somebody asks of the engine, or a part of the program reports to it.

    action: acknowledge, shelve, unshelve, reset (by `role`, on `rule` of `aircraft`; a rule of None means all
    that stand unacknowledged), or report: the part `rule` ("voice", "mqtt", a source, ...) of the watch
    works (`ok`) or does not, with the reason in `text` and the level it deserves; or resume: what was `kept` of
    `aircraft` by a watch that ended in flight; or, before a take-off of `aircraft`: check and uncheck (the item of
    the checklist in `text`), confirm (`role` hears the watch), settings (how they compare: `ok` if they
    could be compared, in `text` a line for each that does not fit); or reload: go on with the rules of `packs`.
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
