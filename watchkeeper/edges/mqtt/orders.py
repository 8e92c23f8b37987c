"""Orders of the crew that come by message: checked, counted, carried out, answered. Nothing is trusted."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import Final, TypeAlias

import structlog
from pydantic import ValidationError

from watchkeeper.alerts.events import SIGHTED, AlertChange, Change, Happening, Order, Preparation, Refusal, Step
from watchkeeper.alerts.sightings import CLEAR, rule_of
from watchkeeper.edges.messages.head import Message
from watchkeeper.edges.messages.orders import Asked, CrewOrder, OrderMessage
from watchkeeper.edges.messages.payloads import Writer
from watchkeeper.edges.mqtt.address import Topics

MAX_ORDER_BYTES = 2048
"""Several times the longest order that means anything."""
OLDEST_US = 60_000_000
SIGHT_OLDEST_US = 15_000_000
"""What somebody saw longer ago is as old as a caution's words may be, and has to be told by mouth by now."""
BURST = 10
ORDERS_PER_S = 2.0
"""More than hands can press; an excess is answered once and then dropped until it ends."""
REMEMBERED = 1000
"""Ids of orders; at the rate above this covers far more than the 60 s for which an order can be given."""

_ANSWERS: Final = {
    "acknowledge": Change.ACKNOWLEDGED,
    "shelve": Change.SHELVED,
    "unshelve": Change.UNSHELVED,
    "reset": Change.RESET,
}
_STEPS: Final = {
    "check": Step.CHECKED,
    "uncheck": Step.UNCHECKED,
    "test": Step.CALLED,
    "confirm": Step.CONFIRMED,
}

Answer: TypeAlias = Callable[[int | None, Message], None]
"""answer(aircraft, message): publish under the aircraft's event topic."""


class OrderDesk:
    """Takes payloads of the order topics.

    `carry_out(order, message_id)` hands an order to the engine and answers it; `refuse(aircraft, message)`
    answers what never comes to that.
    """

    def __init__(
        self,
        topics: Topics,
        writer: Writer,
        clock: Callable[[], int],
        carry_out: Callable[[Order, str], None],
        refuse: Answer,
    ) -> None:
        self._topics = topics
        self._writer = writer
        self._clock = clock
        self._carry_out = carry_out
        self._refuse = refuse
        self._seen: OrderedDict[str, None] = OrderedDict()
        self._tokens = float(BURST)
        self._filled_us = clock()
        self._told_excess = False
        self.dropped = 0
        """Orders over the rate."""

    def take(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """Take one message. Raises nothing.

        Retained orders are ignored (an old order does not become new because somebody connects), and so are
        ids that have been seen. Everything else is answered.
        """
        if retained:
            return
        now_us = self._clock()
        if not self._within_rate(now_us):
            self.dropped += 1
            if not self._told_excess:
                self._told_excess = True
                self._refuse(None, self._writer.refused("too many orders", None, None, None, now_us))
            return
        aircraft, rule, order, reason = self._read(topic, payload)
        if order is not None:
            key = str(order.message_id)
            if key in self._seen:
                return
            self._seen[key] = None
            while len(self._seen) > REMEMBERED:
                self._seen.popitem(last=False)
            reason = reason or _off_time(order, now_us) or _off_place(order, aircraft, rule)
        if reason or order is None:
            self._refuse(aircraft, self._writer.refused(reason, aircraft, rule, order, now_us))
            return
        asked = _for_engine(order, aircraft, rule)
        try:
            self._carry_out(asked, str(order.message_id))
        except Exception:  # noqa: BLE001  (an order from outside must not end the outlet)
            structlog.get_logger().exception("order failed", action=asked.action, rule=rule, aircraft=aircraft)
            self._refuse(
                aircraft, self._writer.refused("it could not be carried out", aircraft, rule, order, now_us)
            )

    def _read(self, topic: str, payload: bytes) -> tuple[int | None, str | None, Asked | None, str]:
        """Return aircraft, rule, order, and the reason to refuse it or ""."""
        aircraft: int | None = None
        rule: str | None = None
        order: Asked | None = None
        reason = ""
        try:
            aircraft, rule = self._topics.addressed(topic)
        except ValueError as error:
            reason = str(error)
        if len(payload) > MAX_ORDER_BYTES:
            return aircraft, rule, None, f"longer than {MAX_ORDER_BYTES} bytes"
        model = OrderMessage if self._topics.about_alert(topic) else CrewOrder
        try:
            order = model.model_validate_json(payload)
        except ValidationError as error:
            reason = reason or _fault(error)
        return aircraft, rule, order, reason

    def _within_rate(self, now_us: int) -> bool:
        gained = max(now_us - self._filled_us, 0) / 1e6 * ORDERS_PER_S
        self._filled_us = now_us
        self._tokens = min(self._tokens + gained, float(BURST))
        if self._tokens < 1.0:
            return False
        self._tokens -= 1.0
        if self._tokens >= 1.0:
            self._told_excess = False
        return True


def is_answer(happening: Happening, order: Order) -> bool:
    """Whether this is what became of that order, not something that happened in the same moment."""
    if order.action == "sighted":
        return _is_sighted(happening, order)
    if (happening.aircraft, happening.rule) != (order.aircraft, order.rule):
        return False
    if isinstance(happening, Refusal):
        return happening.action == order.action
    if isinstance(happening, Preparation):
        meant = (_STEPS.get(order.action), order.text or None, order.role)
        return (happening.step, happening.item, happening.by) == meant
    return isinstance(happening, AlertChange) and happening.change is _ANSWERS.get(order.action)


def _is_sighted(happening: Happening, order: Order) -> bool:
    if isinstance(happening, Refusal):
        return happening.action == order.action
    if not isinstance(happening, AlertChange) or happening.by != order.role:
        return False
    if order.text == CLEAR:
        return happening.rule.startswith(SIGHTED) and happening.change is Change.CLEARED
    return (happening.rule, happening.aircraft) == (rule_of(order.text), order.aircraft)


def _for_engine(order: Asked, aircraft: int | None, rule: str | None) -> Order:
    if isinstance(order, CrewOrder):
        text = order.item or order.sight or ""
        return Order(order.action, aircraft=aircraft, role=order.role, by=order.by, text=text, afar=True)
    assert isinstance(order, OrderMessage)
    return Order(order.action, rule, aircraft, order.role, order.by, order.minutes, afar=True)


def _off_time(order: Asked, now_us: int) -> str:
    age_us = now_us - order.at.timestamp() * 1e6
    oldest_us = SIGHT_OLDEST_US if isinstance(order, CrewOrder) and order.action == "sighted" else OLDEST_US
    if age_us > oldest_us:
        return f"older than {oldest_us // 1_000_000} s"
    return "from the future; set the sender's clock" if age_us < -OLDEST_US else ""


def _off_place(order: Asked, aircraft: int | None, rule: str | None) -> str:
    """Return why an order is not for the watch as a whole, if it is not."""
    if aircraft is None and rule is None and isinstance(order, CrewOrder) and order.action != "sighted":
        return "name the aircraft"
    return ""


def _fault(error: ValidationError) -> str:
    first = error.errors(include_url=False, include_input=False, include_context=False)[0]
    where = ".".join(str(part) for part in first["loc"])[:60]
    what = f"{first['msg'][:1].lower()}{first['msg'][1:]}"[:120]
    return f"not understood: {where}: {what}" if where else f"not understood: {what}"
