"""What goes over MQTT: a model for every payload, and how they are made from decisions.

Nothing in a payload leans on a property of MQTT 5: id, time of sending and validity stand in the payload.
JSON has no not-a-number and no infinities, so such values are null. Times are UTC, `2026-05-04T09:30:00.123456Z`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final, Literal
from uuid import uuid4

from pydantic import BaseModel

from watchkeeper.alerts.checks import ROLES, Role
from watchkeeper.alerts.events import AlertChange, Change, Level, Preparation, Refusal, RoutineCall, State, Step
from watchkeeper.edges.clock import utc_text
from watchkeeper.edges.messages.head import Message, MessageId, Utc, Value, clean
from watchkeeper.edges.messages.orders import Asked, CrewOrder, OrderMessage
from watchkeeper.edges.messages.views import AircraftOutlook, AircraftSurroundings, WatchOutlook
from watchkeeper.edges.records.jsonlines import rounded

WORDS_VALID_S = 30
"""A callout heard later than this may no longer be true; the alert's state says what is."""
READINGS_VALID_S = 3
STATUS_VALID_S = 90
"""Three times the interval at which the status is sent anew."""

_PACK_READING = re.compile(r"[a-z_]+\.\d+\.")


class Status(Message):
    """`…/status`, retained: whether this station's watch runs. The will says lost."""

    state: Literal["watching", "stopped", "lost"]
    since: Utc
    """When the watch began."""
    version: str


class AlertState(Message):
    """`…/alert/{rule}`, retained: how one alert stands now."""

    time: Utc
    """Of the last change."""
    elapsed_s: float
    aircraft: int | None
    rule: str
    level: Level
    state: State
    change: Change
    callout: str | None
    reason: str
    evidence: dict[str, Value]
    trial: bool
    by: str | None
    acknowledged_by: list[Role]
    """Roles that have acknowledged it since it was last raised; only the pilot's quiets the pilot's voice."""


class AlertEvent(AlertState):
    """`…/event`: one change of one alert."""

    spoken: bool
    in_reply_to: MessageId | None
    """The order that brought it about."""


class RefusalEvent(Message):
    """`…/event`: an order that was not carried out."""

    time: Utc
    aircraft: int | None
    rule: str | None
    action: str | None
    refused: str
    by: str | None
    in_reply_to: MessageId | None


class PreparationEvent(Message):
    """`…/event`: one step of getting an aircraft ready for a flight."""

    time: Utc
    elapsed_s: float
    aircraft: int
    step: Step
    role: Role | None
    """Whom it concerns: who was called, or has confirmed."""
    item: str | None
    """Of the checklist."""
    reason: str
    by: str
    """A role, `watch`, or the outlet that gave a test call."""
    in_reply_to: MessageId | None


class Callout(Message):
    """`…/callout`: words that were given to be spoken."""

    time: Utc
    aircraft: int | None
    rule: str
    level: Level
    callout: str
    evidence: dict[str, Value]


class Readings(Message):
    """`…/readings`: null is unknown; readings of numbered packs that are not there are left out."""

    aircraft: int
    readings: dict[str, Value]


PAYLOADS: Final[Mapping[str, tuple[type[BaseModel], ...]]] = {
    "watchkeeper/{station}/status": (Status,),
    "watchkeeper/{station}/{aircraft}/alert/{rule}": (AlertState,),
    "watchkeeper/{station}/{aircraft}/event": (AlertEvent, RefusalEvent, PreparationEvent),
    "watchkeeper/{station}/{aircraft}/callout": (Callout,),
    "watchkeeper/{station}/{aircraft}/readings": (Readings,),
    "watchkeeper/{station}/{aircraft}/outlook": (AircraftOutlook, WatchOutlook),
    "watchkeeper/{station}/{aircraft}/surroundings": (AircraftSurroundings,),
    "watchkeeper/{station}/{aircraft}/alert/{rule}/order": (OrderMessage,),
    "watchkeeper/{station}/{aircraft}/order": (CrewOrder,),
}
"""Topic -> what may stand in its payload. What is retained of what is over or gone becomes an empty payload."""


class Writer:
    """Makes the messages of one watch. Never raises on what the engine says."""

    def __init__(self, *, exercise: bool, version: str) -> None:
        self._exercise = exercise
        self._version = version

    def head(self, now_us: int, valid_s: float | None) -> dict[str, Any]:
        """Return what every payload carries."""
        until = None if valid_s is None else utc_text(now_us + round(valid_s * 1e6))
        return {
            "message_id": str(uuid4()),
            "exercise": self._exercise,
            "sent_at": utc_text(now_us),
            "valid_until": until,
        }

    def status(self, state: Literal["watching", "stopped", "lost"], since_us: int, now_us: int) -> Status:
        """Return the status; only "watching" runs out, for it is sent anew."""
        head = self.head(now_us, STATUS_VALID_S if state == "watching" else None)
        return Status(**head, state=state, since=utc_text(since_us), version=self._version)

    def state(self, change: AlertChange, now_us: int) -> AlertState:
        """Return how the alert stands after its last change."""
        return AlertState(**self.head(now_us, None), **_alert(change))

    def event(self, change: AlertChange, now_us: int, in_reply_to: str | None = None) -> AlertEvent:
        """Return one change."""
        head = self.head(now_us, None)
        return AlertEvent(**head, **_alert(change), spoken=change.spoken, in_reply_to=in_reply_to)

    def refusal(self, refusal: Refusal, now_us: int, in_reply_to: str | None = None) -> RefusalEvent:
        """Return an order that the engine did not carry out."""
        return RefusalEvent(
            **self.head(now_us, None),
            time=utc_text(refusal.time_us),
            aircraft=refusal.aircraft,
            rule=None if refusal.rule is None else clean(refusal.rule),
            action=clean(refusal.action),
            refused=clean(refusal.reason),
            by=clean(refusal.by) or None,
            in_reply_to=in_reply_to,
        )

    def refused(
        self, reason: str, aircraft: int | None, rule: str | None, order: Asked | None, now_us: int
    ) -> RefusalEvent:
        """Return an order that did not even reach the engine."""
        return RefusalEvent(
            **self.head(now_us, None),
            time=utc_text(now_us),
            aircraft=aircraft,
            rule=rule,
            action=order.action if isinstance(order, OrderMessage | CrewOrder) else None,
            refused=clean(reason),
            by=order.role if order else None,
            in_reply_to=str(order.message_id) if order else None,
        )

    def prepared(self, preparation: Preparation, now_us: int, in_reply_to: str | None = None) -> PreparationEvent:
        """Return one step before a take-off."""
        return PreparationEvent(
            **self.head(now_us, None),
            time=utc_text(preparation.time_us),
            elapsed_s=round(preparation.elapsed_us / 1e6, 6),
            aircraft=preparation.aircraft,
            step=preparation.step,
            role=_role(preparation.role),
            item=None if preparation.item is None else clean(preparation.item),
            reason=clean(preparation.reason),
            by=clean(preparation.by),
            in_reply_to=in_reply_to,
        )

    def callout(self, said: AlertChange | RoutineCall, now_us: int) -> Callout:
        """Return words to be spoken."""
        return Callout(
            **self.head(now_us, WORDS_VALID_S),
            time=utc_text(said.time_us),
            aircraft=said.aircraft,
            rule=clean(said.rule),
            level=said.level if isinstance(said, AlertChange) else Level.ROUTINE,
            callout=clean(said.callout or ""),
            evidence=_values(said.evidence),
        )

    def readings(self, aircraft: int, readings: Mapping[str, Value], now_us: int) -> Readings:
        """Return all readings of one aircraft but those of packs that are not there."""
        shown = {k: v for k, v in readings.items() if v is not None or not _PACK_READING.match(k)}
        return Readings(**self.head(now_us, READINGS_VALID_S), aircraft=aircraft, readings=_values(shown))


def _role(role: str | None) -> Role | None:
    return next((known for known in ROLES if known == role), None)


def _alert(change: AlertChange) -> dict[str, Any]:
    return {
        "time": utc_text(change.time_us),
        "elapsed_s": round(change.elapsed_us / 1e6, 6),
        "aircraft": change.aircraft,
        "rule": clean(change.rule),
        "level": change.level,
        "state": change.state,
        "change": change.change,
        "callout": None if change.callout is None else clean(change.callout),
        "reason": clean(change.reason),
        "evidence": _values(change.evidence),
        "trial": change.trial,
        "by": None if change.by is None else clean(change.by),
        "acknowledged_by": [role for role in ROLES if role in change.acknowledged_by],
    }


def _values(values: Mapping[str, Value]) -> dict[str, Value]:
    return {clean(k): clean(v) if isinstance(v, str) else rounded(v) for k, v in values.items()}
