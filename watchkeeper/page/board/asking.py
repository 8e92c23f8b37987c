"""Orders of the command post: sent to the station's watch, and done only when the watch has said so."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from datetime import datetime
from typing import Final, TypeAlias
from uuid import UUID, uuid4

import aiomqtt
from pydantic import ValidationError

from watchkeeper.alerts.events import Order, State
from watchkeeper.edges.clock import utc_text
from watchkeeper.edges.messages.orders import Asked, CrewOrder, OrderMessage
from watchkeeper.edges.mqtt.address import Topics
from watchkeeper.edges.mqtt.trouble import PublishRefusedError
from watchkeeper.page.board.board import Board
from watchkeeper.page.board.heard import About, NotUnderstoodError, Reply, read_reply

CONFIRM_WITHIN_S: Final = 5.0
MOST_AT_ONCE: Final = 8
"""A watch takes ten orders at once."""
NOT_CONFIRMED: Final = "Not confirmed by the watch."
NOT_HERE: Final = "Not to be ordered from a board."
OWN: Final = "It is the board's own, and ends by itself."
_ABOUT_ALERTS: Final = ("acknowledge", "shelve", "unshelve", "reset")
_OF_THE_CREW: Final = ("check", "uncheck", "test", "confirm")
_WAITING: Final = (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED)

Send: TypeAlias = Callable[[str, bytes], Awaitable[None]]
"""send(topic, payload): publish. Raises MqttError without a connection, PublishRefusedError."""


class Asking:
    """Sends orders in the name of the command post, and waits for what becomes of them."""

    def __init__(
        self, board: Board, send: Send, clock: Callable[[], int], within_s: float = CONFIRM_WITHIN_S
    ) -> None:
        self._board = board
        self._send = send
        self._clock = clock
        self._within_s = within_s
        self._asked: dict[tuple[str, str], asyncio.Future[Reply]] = {}

    async def carry_out(self, station: str, order: Order) -> str:
        """Carry out an order; return "" when the watch has confirmed it, else why not."""
        if order.rule is not None and order.rule.startswith("board-"):
            return OWN
        reason = self._board.reason_against(station, self._clock())
        if reason:
            return reason
        if order.action == "acknowledge" and order.rule is None:
            return await self._acknowledge_all(station, order.aircraft)
        try:
            topic, message = self._message(station, order)
        except (ValidationError, ValueError):
            return NOT_HERE
        return await self._ask(station, topic, message)

    def answered(self, said: About, payload: bytes) -> None:
        """Take an event. Raises nothing: it need not be an answer, nor be understood."""
        if not self._asked:
            return
        try:
            reply = read_reply(said, payload)
        except NotUnderstoodError:
            return
        waiting = self._asked.get((said.station, reply.in_reply_to or ""))
        if waiting is not None and not waiting.done():
            waiting.set_result(reply)

    async def _acknowledge_all(self, station: str, aircraft: int | None) -> str:
        jobs = []
        for system, rule in self._unacknowledged(station, aircraft)[:MOST_AT_ONCE]:
            topic, message = self._message(station, Order("acknowledge", rule, system))
            jobs.append(self._ask(station, topic, message))
        reasons = await asyncio.gather(*jobs)
        return next((reason for reason in reasons if reason), "") if reasons else "Nothing to acknowledge."

    def _unacknowledged(self, station: str, aircraft: int | None) -> Sequence[tuple[int | None, str]]:
        """Return what the post has not acknowledged, the most urgent first; without aircraft, of all."""
        found = []
        for picture in self._board.pictures(self._clock()):
            if picture.station == station:
                for one in (*picture.alerts, *(alert for craft in picture.aircraft for alert in craft.alerts)):
                    waits = one.state in _WAITING and "post" not in one.acknowledged_by
                    if waits and not one.rule.startswith("board-") and aircraft in (None, one.aircraft):
                        found.append((-one.level.urgency, one.since, one.rule, one.aircraft))
        return [(system, rule) for _, _, rule, system in sorted(found, key=lambda one: one[:3])]

    def _message(self, station: str, order: Order) -> tuple[str, Asked]:
        """Return topic and content. Raises ValueError for what no watch takes by message."""
        topics = Topics(station)
        head = {"message_id": uuid4(), "role": "post", "by": "board", "at": _time(self._clock())}
        if order.action in _ABOUT_ALERTS and order.rule is not None:
            topic = f"{topics.state(order.aircraft, order.rule)}/order"
            return topic, OrderMessage.model_validate({**head, "action": order.action, "minutes": order.minutes})
        if order.action in _OF_THE_CREW and order.aircraft is not None:
            topic = topics.under(order.aircraft, "order")
            return topic, CrewOrder.model_validate({**head, "action": order.action, "item": order.text or None})
        raise ValueError(order.action)

    async def _ask(self, station: str, topic: str, message: Asked) -> str:
        key = (station, _id(message.message_id))
        answer = self._asked[key] = asyncio.get_running_loop().create_future()
        try:
            async with asyncio.timeout(self._within_s):
                await self._send(topic, message.model_dump_json().encode())
                reply = await answer
        except PublishRefusedError as refused:
            return refused.trouble.say
        except aiomqtt.MqttError:
            return "The message broker is not heard."
        except TimeoutError:
            return NOT_CONFIRMED
        finally:
            del self._asked[key]
        return "" if reply.refused is None else reply.refused or "Refused by the watch."


def _id(message_id: UUID) -> str:
    return str(message_id)


def _time(now_us: int) -> datetime:
    return datetime.fromisoformat(utc_text(now_us))
