"""What comes from the broker: checked, bounded, and of a newer watch as much as this program understands."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final, NamedTuple
from urllib.parse import unquote

from pydantic import BaseModel, ConfigDict, ValidationError

from watchkeeper.edges.messages.head import Message, MessageId
from watchkeeper.edges.messages.payloads import AlertState, Callout, Readings, Status
from watchkeeper.edges.messages.views import AircraftOutlook, AircraftSurroundings, WatchOutlook
from watchkeeper.edges.mqtt.address import WATCH, Topics, rule_level
from watchkeeper.errors import BadInputError

FILTERS: Final = (
    "watchkeeper/+/status",
    "watchkeeper/+/+/surroundings",
    "watchkeeper/+/+/alert/+",
    "watchkeeper/+/+/outlook",
    "watchkeeper/+/+/readings",
    "watchkeeper/+/+/callout",
    "watchkeeper/+/+/event",
)
"""What a board listens to, in the order in which it asks for it."""
LONGEST_BYTES: Final = 65_536
_BYTES: Final[Mapping[str, int]] = {"status": 2048, "alert": 16_384, "callout": 8192, "event": 16_384}
"""The longest payload by kind; several times what a watch sends."""
_MODELS: Final[Mapping[str, type[Message]]] = {
    "status": Status,
    "alert": AlertState,
    "callout": Callout,
    "readings": Readings,
    "surroundings": AircraftSurroundings,
}
FARTHEST: Final = 1e7
"""Metres or anything else drawn: beyond, it is no place on the way of an aircraft."""
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


class NotUnderstoodError(Exception):
    """A message that is not for a board to show; says why."""


class About(NamedTuple):
    """What a topic names. `aircraft` None: the watch itself; `rule` only with an alert."""

    station: str
    kind: str
    aircraft: int | None = None
    rule: str = ""


class Found(NamedTuple):
    """What a payload holds."""

    message: Message
    sent_us: int
    newer: bool
    """Whether parts of it were left out because a newer watch says more than this program knows."""


class Reply(BaseModel):
    """Of an event: which order it answers, and how."""

    model_config = ConfigDict(extra="ignore", frozen=True)

    in_reply_to: MessageId | None
    refused: str | None = None


def about(topic: str) -> About:
    """Return what a topic names. Raises NotUnderstoodError."""
    parts = topic.split("/")
    if len(parts) not in (3, 4, 5) or parts[0] != "watchkeeper":
        raise NotUnderstoodError("no topic of a watch")
    try:
        Topics(parts[1])
    except BadInputError:
        raise NotUnderstoodError("no station's name") from None
    if not parts[1].isprintable():
        raise NotUnderstoodError("no station's name")
    if len(parts) == 3:
        if parts[2] != "status":
            raise NotUnderstoodError("no topic of a watch")
        return About(parts[1], "status")
    who = None if parts[2] == WATCH else _system(parts[2])
    if len(parts) == 4:
        if parts[3] not in ("event", "callout", "readings", "outlook", "surroundings"):
            raise NotUnderstoodError("no topic of a watch")
        return About(parts[1], parts[3], who)
    rule = unquote(parts[4], errors="replace")
    if parts[3] != "alert" or not rule or len(rule) > 100 or rule_level(rule) != parts[4]:
        raise NotUnderstoodError("no alert's name")
    return About(parts[1], "alert", who, rule)


def read(said: About, payload: bytes) -> Found:
    """Return what a payload holds. Raises NotUnderstoodError."""
    _bound(said, payload)
    message, newer = _validated(_model(said), payload)
    if getattr(message, "aircraft", None) != said.aircraft or getattr(message, "rule", said.rule) != (
        said.rule or getattr(message, "rule", "")
    ):
        raise NotUnderstoodError("it is about another than its topic")
    if isinstance(message, AircraftOutlook | AircraftSurroundings):
        _near(message.model_dump(exclude=set(Message.model_fields)))
    try:
        for name in ("since", "time"):
            utc_us(getattr(message, name, message.sent_at))
        return Found(message, utc_us(message.sent_at), newer)
    except ValueError:
        raise NotUnderstoodError("a time that is none") from None


def read_reply(said: About, payload: bytes) -> Reply:
    """Return what an event answers. Raises NotUnderstoodError."""
    _bound(said, payload)
    try:
        return Reply.model_validate_json(payload)
    except ValidationError as error:
        raise NotUnderstoodError(_why(error)) from None


def utc_us(text: str) -> int:
    """Return microseconds since 1970 of a stamp like `2026-05-04T09:30:00.123456Z`. ValueError if it is none."""
    return (datetime.fromisoformat(text) - _EPOCH) // timedelta(microseconds=1)


def _system(text: str) -> int:
    if not (text.isascii() and text.isdigit() and text[0] != "0" and len(text) <= 3 and int(text) <= 255):
        raise NotUnderstoodError("no such aircraft")
    return int(text)


def _bound(said: About, payload: bytes) -> None:
    longest = _BYTES.get(said.kind, LONGEST_BYTES)
    if len(payload) > longest:
        raise NotUnderstoodError(f"longer than {longest} bytes")


def _model(said: About) -> type[Message]:
    if said.kind == "outlook":
        return WatchOutlook if said.aircraft is None else AircraftOutlook
    return _MODELS[said.kind]


def _validated(model: type[Message], payload: bytes) -> tuple[Message, bool]:
    """Return the message, and whether keys that this program does not know were left out of it."""
    try:
        return model.model_validate_json(payload), False
    except ValidationError as error:
        unknown = [one["loc"] for one in error.errors() if one["type"] == "extra_forbidden"]
        if len(unknown) < error.error_count():
            raise NotUnderstoodError(_why(error)) from None
    try:
        content = json.loads(payload)
        for where in unknown:
            _leave_out(content, where)
        return model.model_validate_json(json.dumps(content)), True
    except (ValueError, KeyError, IndexError, TypeError, RecursionError):
        raise NotUnderstoodError("not understood") from None


def _leave_out(content: Any, where: Sequence[int | str]) -> None:
    for part in where[:-1]:
        content = content[part]
    del content[where[-1]]


def _near(value: Any) -> None:
    """Refuse numbers that would spoil every drawing."""
    if isinstance(value, dict):
        for inside in value.values():
            _near(inside)
    elif isinstance(value, list | tuple):
        for inside in value:
            _near(inside)
    elif isinstance(value, float) and not (math.isfinite(value) and abs(value) <= FARTHEST):
        raise NotUnderstoodError("a number beyond all bounds")


def _why(error: ValidationError) -> str:
    first = error.errors(include_url=False, include_input=False, include_context=False)[0]
    where = ".".join(str(part) for part in first["loc"])[:60]
    what = f"{first['msg'][:1].lower()}{first['msg'][1:]}"[:120]
    return f"{where}: {what}" if where else what
