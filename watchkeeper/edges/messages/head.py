"""What every payload of the watch carries, and the kinds of values in it."""

from __future__ import annotations

import json
from typing import Annotated, TypeAlias

from pydantic import BaseModel, ConfigDict, Field

_STAMP = r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z$"

Utc: TypeAlias = Annotated[str, Field(pattern=_STAMP, json_schema_extra={"format": "date-time"})]
MessageId: TypeAlias = Annotated[str, Field(pattern=r"^[0-9a-f-]{36}$", json_schema_extra={"format": "uuid"})]
Value: TypeAlias = float | bool | str | None


class Message(BaseModel):
    """What every payload of the watch carries."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, use_attribute_docstrings=True)

    message_id: MessageId
    """The same when the same message is sent again: quality of service 1 can deliver twice."""
    exercise: bool
    """Everything is simulated or replayed: to be shown as an exercise, never as an alarm."""
    sent_at: Utc
    """When the watch made the message; a broker that was away gets it later."""
    valid_until: Utc | None
    """Not to be acted on after this; null: until the next message of this topic."""

    def to_json(self) -> bytes:
        """Return the payload: ASCII, keys in the order of the model."""
        return json.dumps(self.model_dump(mode="json"), separators=(",", ":"), allow_nan=False).encode("ascii")


def clean(text: str) -> str:
    """Return text without lone surrogates, which no UTF-8 can hold."""
    return text.encode("utf-8", "replace").decode("utf-8")
