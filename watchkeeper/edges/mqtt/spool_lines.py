"""What stands in the file of messages that wait for the broker, and how it is read: with suspicion.

JSON lines. The first names the format, the station and whether it is an exercise. Then, in the order in which it
happened: `{"put":12,"event":{…}}` or `{"put":12,"callout":{…}}`, a message with its payload as it goes to the
broker; `{"done":[12]}`, messages that need not be sent any more; `{"stands":{…}}`, the last event of an alert that
stood when the file was written anew. Topic, urgency and validity follow from the payload.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final, get_args

from pydantic import ValidationError

from watchkeeper.alerts.events import AlertChange, Change, Happening, Refusal, RoutineCall, State
from watchkeeper.edges.messages.payloads import WORDS_VALID_S, AlertEvent, Callout, RefusalEvent
from watchkeeper.edges.mqtt.address import Topics
from watchkeeper.edges.mqtt.outbox import Kind, Waiting
from watchkeeper.edges.records.jsonlines import json_line

FORMAT: Final = 1
ENDED_REASON: Final = "the watch was started anew; it is raised again if it holds"
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Kept:
    """What a file holds: messages in order, and the last change of every alert that stood, by state topic."""

    waiting: list[Waiting] = field(default_factory=list)
    standing: dict[str, Waiting] = field(default_factory=dict)
    damaged: int = 0
    """Lines that say nothing that a watch of this station writes."""


def head_line(station: str, *, exercise: bool) -> bytes:
    """Return the first line."""
    return (json_line({"outbox": FORMAT, "station": station, "exercise": exercise}) + "\n").encode()


def put_line(message: Waiting) -> bytes:
    """Return the line of a message that is to be sent. Its payload is JSON in one line already."""
    return b'{"put":%d,"%s":%s}\n' % (message.number, message.kind.encode(), message.payload)


def stands_line(message: Waiting) -> bytes:
    """Return the line of an alert's last event."""
    return b'{"stands":%s}\n' % message.payload


def done_line(messages: Iterable[Waiting]) -> bytes:
    """Return the line of messages that need not be sent any more."""
    return (json_line({"done": [message.number for message in messages]}) + "\n").encode()


def read_lines(data: bytes, topics: Topics, station: str, *, exercise: bool, now_us: int) -> Kept:
    """Return what a file's content tells. ValueError, with the reason, if it is another format's or station's.

    A last line that was not written to its end is as if it had never been begun.
    """
    lines = data[: data.rfind(b"\n") + 1].split(b"\n")[:-1]
    if not lines:
        return Kept()
    head = _parsed(lines[0])
    if head is None or head.get("outbox") != FORMAT:
        raise ValueError("of another format")
    if head.get("station") != station or head.get("exercise") is not exercise:
        raise ValueError("of another station")
    waiting: dict[int, Waiting] = {}
    standing: dict[str, Waiting] = {}
    damaged = 0
    for line in lines[1:]:
        found = _parsed(line) or {}
        number, done = found.get("put"), found.get("done")
        if isinstance(done, list):
            for one in done:
                if isinstance(one, int):
                    waiting.pop(one, None)
            continue
        kinds = [kind for kind in (*get_args(Kind), "stands") if kind in found]
        message = _message(kinds[0], found[kinds[0]], topics, now_us, exercise=exercise) if kinds else None
        if message is None or (kinds[0] != "stands" and (not isinstance(number, int) or number in waiting)):
            damaged += 1
            continue
        if message.alert is not None:
            standing.pop(message.alert, None)
            if message.stands:
                standing[message.alert] = message
        if isinstance(number, int) and kinds[0] != "stands":
            waiting[number] = message
    return Kept([*waiting.values()], standing, damaged)


def ended(last: Waiting, now_us: int) -> AlertChange | None:
    """Return the change that ends an alert of an earlier watch. None for what is no event of an alert."""
    item = last.item
    if not isinstance(item, AlertChange):
        return None
    return AlertChange(
        now_us, 0, item.aircraft, item.rule, item.level, Change.CLEARED, State.NORMAL, item.callout, ENDED_REASON,
        trial=item.trial, by="watch",
    )  # fmt: skip


def _parsed(line: bytes) -> dict[str, Any] | None:
    try:
        found = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def _message(kind: str, payload: Any, topics: Topics, now_us: int, *, exercise: bool) -> Waiting | None:
    try:
        if kind == "callout":
            said = Callout.model_validate(payload)
            return _callout(said, topics, now_us) if _ours(said, exercise) else None
        if kind == "event" and isinstance(payload, dict) and "refused" in payload:
            refusal = RefusalEvent.model_validate(payload)
            return _refusal(refusal, topics) if _ours(refusal, exercise) else None
        event = AlertEvent.model_validate(payload)
        return _event(event, topics) if _ours(event, exercise) else None
    except (ValidationError, ValueError, OverflowError):
        return None


def _ours(message: AlertEvent | RefusalEvent | Callout, exercise: bool) -> bool:
    return message.exercise is exercise and (message.aircraft is None or 0 <= message.aircraft <= 255)


def _event(event: AlertEvent, topics: Topics) -> Waiting:
    item = AlertChange(
        _us(event.time), round(event.elapsed_s * 1e6), event.aircraft, event.rule, event.level, event.change,
        event.state, event.callout, event.reason, event.evidence, spoken=event.spoken, trial=event.trial,
        by=event.by,
    )  # fmt: skip
    return Waiting(
        topics.under(event.aircraft, "event"), event.to_json(), event.level.urgency, item=item,
        alert=topics.state(event.aircraft, event.rule), stands=event.state is not State.NORMAL,
    )  # fmt: skip


def _refusal(said: RefusalEvent, topics: Topics) -> Waiting:
    item = Refusal(_us(said.time), 0, said.aircraft, said.rule, said.action or "", said.refused, said.by or "")
    return Waiting(topics.under(said.aircraft, "event"), said.to_json(), 1, item=item)


def _callout(said: Callout, topics: Topics, now_us: int) -> Waiting:
    until_us = _us(said.valid_until or said.sent_at)
    if until_us - now_us > WORDS_VALID_S * 1_000_000:  # the clock has been set back since
        until_us = 0
    item: Happening = RoutineCall(_us(said.time), 0, said.aircraft, said.rule, said.callout, said.evidence)
    topic = topics.under(said.aircraft, "callout")
    return Waiting(topic, said.to_json(), said.level.urgency, until_us, item, "callout")


def _us(text: str) -> int:
    """Return microseconds since 1970 of a stamp like `2026-05-04T09:30:00.123456Z`."""
    return (datetime.fromisoformat(text) - _EPOCH) // timedelta(microseconds=1)
