"""Orders given on the page: strict models for what comes, words for what became of it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from typing import Literal, Self, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from watchkeeper.alerts.events import AlertChange, Change, Happening, Order, Refusal
from watchkeeper.edges.mqtt.orders import is_answer

Action: TypeAlias = Literal[
    "acknowledge", "shelve", "unshelve", "reset", "test", "confirm", "check", "uncheck", "sighted"
]
WITH_TEXT = ("check", "uncheck", "sighted")
MAX_ORDER_BYTES = 2048
NOTHING = "nothing to do"
_PRINTABLE = r"^[^\x00-\x1f\x7f-\x9f]*$"

CarryOut: TypeAlias = Callable[[str, Order], Awaitable[str]]
"""carry_out(station, order) -> "" if it was done, else why not, in words."""


class PageOrder(BaseModel):
    """The body of POST /orders. Types are taken strictly. The giver's role is not in it: it comes with the key."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    action: Action
    station: str = Field(min_length=1, max_length=64, pattern=_PRINTABLE)
    aircraft: int | None = Field(default=None, ge=1, le=255)
    """The system id; None: the watch itself, or (acknowledge) all that stand unacknowledged."""
    rule: str | None = Field(default=None, min_length=1, max_length=100, pattern=_PRINTABLE)
    minutes: float | None = Field(default=None, gt=0, le=1440)
    text: str | None = Field(default=None, min_length=1, max_length=200, pattern=_PRINTABLE)
    """The item of the checklist, or what was sighted."""

    @model_validator(mode="after")
    def _text_where_one_is_meant(self) -> Self:
        if (self.text is not None) is not (self.action in WITH_TEXT):
            raise ValueError(f"a text goes with {', '.join(WITH_TEXT)}, and with nothing else")
        return self

    def for_engine(self, role: str, *, afar: bool) -> Order:
        """Return the order as the engine takes it."""
        return Order(
            self.action,
            self.rule,
            self.aircraft,
            role,
            "page",
            self.minutes if self.action == "shelve" else None,
            text=self.text or "",
            afar=afar,
        )


def read_order(body: bytes) -> tuple[PageOrder | None, str]:
    """Return the order, or None and why it is none."""
    try:
        return PageOrder.model_validate_json(body), ""
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False, include_context=False)[0]
        where = ".".join(str(part) for part in first["loc"])[:60]
        what = f"{first['msg'][:1].lower()}{first['msg'][1:]}"[:120]
        return None, f"not understood: {where}: {what}" if where else f"not understood: {what}"


def outcome(order: Order, said: Sequence[Happening]) -> str:
    """Return "" if what the engine said means that the order was carried out, else why it was not."""
    for item in said:
        if isinstance(item, Refusal) and item.action == order.action and item.rule == order.rule:
            return item.reason
    if order.action == "sighted" or any(is_answer(item, order) or _one_of_all(item, order) for item in said):
        return ""
    return NOTHING


def _one_of_all(item: Happening, order: Order) -> bool:
    """Whether this is one alert of an acknowledgement of all."""
    return (
        order.action == "acknowledge"
        and order.rule is None
        and isinstance(item, AlertChange)
        and item.change is Change.ACKNOWLEDGED
        and item.by == order.role
    )


def orders_of(station: str, give: Callable[[Order], Sequence[Happening]]) -> CarryOut:
    """Return what carries orders out in the watch of this program."""

    async def carry_out(named: str, order: Order) -> str:
        if named != station:
            return "no such station here"
        return outcome(order, give(order))

    return carry_out
