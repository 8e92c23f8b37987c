"""What the crew may ask by MQTT: strict models, for whatever comes from outside."""

from __future__ import annotations

from typing import Literal, Self, TypeAlias
from uuid import UUID

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, model_validator

from watchkeeper.alerts.checks import Role
from watchkeeper.alerts.sightings import Sight

Action: TypeAlias = Literal["acknowledge", "shelve", "unshelve", "reset"]
CrewAction: TypeAlias = Literal["check", "uncheck", "test", "confirm", "sighted"]
_PRINTABLE = r"^[^\x00-\x1f\x7f-\x9f]*$"


class Asked(BaseModel):
    """What every order of somebody of the crew carries. Types are taken strictly."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, use_attribute_docstrings=True
    )

    message_id: UUID
    role: Role
    """Of the giver."""
    by: str = Field(default="", max_length=64, pattern=_PRINTABLE)
    at: AwareDatetime
    """When it was given, by the clock of the giver, with its offset from UTC."""


class OrderMessage(Asked):
    """`…/alert/{rule}/order`: what somebody of the crew asks for about an alert."""

    action: Action
    minutes: float | None = Field(default=None, gt=0, le=1440)
    """How long to shelve."""


class CrewOrder(Asked):
    """`…/order`: what somebody of the crew asks for, or has done, before a take-off; or, at any time, sees.

    `confirm`: the giver's own role has heard (the post: read) its test call; nobody confirms for another.
    `sighted`: observer or post see something (`sight`) that the pilot is told at once; under `watch` it is about
    every aircraft. One older than 15 s is refused: its giver has to speak up.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "if": {"properties": {"action": {"enum": ["check", "uncheck"]}}},
            "then": {"required": ["item"], "properties": {"item": {"type": "string"}, "sight": {"type": "null"}}},
            "else": {
                "properties": {"item": {"type": "null"}},
                "if": {"properties": {"action": {"const": "sighted"}}},
                "then": {"required": ["sight"], "properties": {"sight": {"type": "string"}}},
                "else": {"properties": {"sight": {"type": "null"}}},
            },
        }
    )

    action: CrewAction
    item: str | None = Field(default=None, min_length=1, max_length=200, pattern=_PRINTABLE)
    """Of the checklist of the sortie file, in its words."""
    sight: Sight | None = None
    """What is seen; `clear`: what was seen is no longer so."""

    @model_validator(mode="after")
    def _item_where_one_is_meant(self) -> Self:
        if (self.item is not None) is not (self.action in ("check", "uncheck")):
            raise ValueError("an item goes with check and uncheck, and with nothing else")
        if (self.sight is not None) is not (self.action == "sighted"):
            raise ValueError("a sight goes with sighted, and with nothing else")
        return self
