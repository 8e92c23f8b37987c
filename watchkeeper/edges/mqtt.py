"""The MQTT outlet: decisions out to a broker, orders of the crew in.

States are kept as "how it stands now" and published anew at every connect; events and callouts wait in a
bounded outbox until the broker has acknowledged them; readings and status are sent only as they are.
"""

from __future__ import annotations

import asyncio
import contextlib
import ssl
from collections.abc import Awaitable, Callable, Coroutine, Mapping, Sequence
from typing import Any, TypeVar

import aiomqtt
import structlog
from paho.mqtt.reasoncodes import ReasonCode

from watchkeeper import __version__
from watchkeeper.alerts.events import AlertChange, Happening, Level, Order, Refusal, RoutineCall
from watchkeeper.edges.messages import STATUS_VALID_S, WORDS_VALID_S, Message, Value, Writer
from watchkeeper.edges.mqtt_address import Topics, parse_broker
from watchkeeper.edges.mqtt_connection import GOODBYE_S, Connection, NotReachedError, connect, expiring, will_of
from watchkeeper.edges.mqtt_health import FIRST_PAUSE_S, Health
from watchkeeper.edges.mqtt_orders import OrderDesk, is_answer
from watchkeeper.edges.mqtt_outbox import Outbox, States, Waiting
from watchkeeper.edges.outlets import Delivered
from watchkeeper.edges.reports import Report

KEEP_OVER_S = 600.0
SWEEP_S = 2.0
"""How long after a connect retained states are looked at; brokers send them with the subscription."""
STATUS_EVERY_S = STATUS_VALID_S / 3
AT_ONCE = 4
"""States, and as many events, under way together: order is kept, and one round trip serves several."""
FLUSH_S = 0.1
"""How long, at the end, what is under way and what still waits may take each."""

_Result = TypeVar("_Result")


class Mqtt:
    """Outlet to one broker. `put` never blocks; `run` raises nothing but cancellation.

    Overflow: beyond MAX_WAITING unsent events and callouts the oldest advisory goes first, then the oldest
    caution; each is counted in `dropped` and entered as lost. States never overflow.
    """

    name = "mqtt"

    def __init__(
        self,
        url: str,
        *,
        station: str,
        exercise: bool,
        report: Report,
        delivered: Delivered,
        on_order: Callable[[Order], Sequence[Happening]],
        clock: Callable[[], int],
        readings: Callable[[], Mapping[int, Mapping[str, Value]]],
        only_3_1_1: bool = False,
        tls: ssl.SSLContext | None = None,
        outbox: Outbox | None = None,
        first_pause_s: float = FIRST_PAUSE_S,
        readings_every_s: float = 1.0,
        keep_over_s: float = KEEP_OVER_S,
    ) -> None:
        """Raise BadInputError for a URL or station that cannot be used. `clock` gives UTC microseconds."""
        self._broker = parse_broker(url)
        self._topics = Topics(station)
        self._delivered = delivered
        self._on_order = on_order
        self._clock = clock
        self._readings = readings
        self._only_3_1_1 = only_3_1_1
        self._tls = tls or (ssl.create_default_context() if self._broker.tls else None)
        self._health = Health(self.name, str(self._broker), report, first_pause_s)
        self._readings_every_s = readings_every_s
        self._writer = Writer(exercise=exercise, version=__version__)
        self._since_us = clock()
        self._outbox = outbox if outbox is not None else Outbox()
        self._states = States(keep_over_s)
        self._orders = OrderDesk(self._topics, self._writer, clock, self._carry_out, self._answer)
        self._held: list[Happening] | None = None
        self._wake = asyncio.Event()
        self._version = 0
        self._pending_status = False
        self._readings_failed = False

    @property
    def dropped(self) -> int:
        """How many messages never left because the outbox was full."""
        return self._outbox.dropped

    @property
    def version(self) -> int:
        """The protocol version of the present or last connection: 5, or 4 for 3.1.1; 0 before the first."""
        return self._version

    def put(self, item: Happening) -> None:
        """Take one thing that happened. Never blocks."""
        if self._held is not None:  # it may be the answer to an order: see _carry_out
            self._held.append(item)
        else:
            self._issue(item, None)

    async def run(self) -> None:
        """Connect, and again after every loss, until cancelled; then leave status stopped within half a second."""
        loop = asyncio.get_running_loop()
        try:
            while True:
                try:
                    await self._once()
                except (NotReachedError, aiomqtt.MqttError) as error:
                    why = str(error)
                except Exception as error:  # noqa: BLE001  (a fault of ours is not the end of messages)
                    structlog.get_logger().exception("mqtt outlet failed")
                    why = repr(error)
                self._health.failed(why, loop.time())
                await asyncio.sleep(self._health.pause_s())
        finally:
            for message in self._outbox.drain():
                if message.item is not None:
                    self._delivered(message.item, "lost", "the watch ended first")

    async def _once(self) -> None:
        connection, self._version = await connect(self._broker, self._will, self._tls, only_3_1_1=self._only_3_1_1)
        self._health.connected(asyncio.get_running_loop().time())
        try:
            await self._serve(connection)
        except asyncio.CancelledError:
            await self._farewell(connection)
            raise
        except BaseException:
            connection.abandon()
            raise

    def _will(self) -> aiomqtt.Will:
        lost = self._writer.status("lost", self._since_us, self._clock())
        return will_of(self._topics.status, lost.to_json())

    async def _serve(self, connection: Connection) -> None:
        """Work on one connection until it breaks. Raises MqttError, the first of what went wrong."""
        self._states.all_anew()
        self._pending_status = True
        await self._subscribe(connection, self._topics.orders)  # who sees "watching" can rely on being heard
        try:
            async with asyncio.TaskGroup() as group:
                group.create_task(self._listen(connection), name="mqtt listen")
                group.create_task(self._send(connection), name="mqtt send")
                group.create_task(self._sweep(connection), name="mqtt sweep")
                group.create_task(self._beat(), name="mqtt status")
                group.create_task(self._send_readings(connection), name="mqtt readings")
        except* aiomqtt.MqttError as broken:
            first: BaseException = broken
            while isinstance(first, BaseExceptionGroup):
                first = first.exceptions[0]
            raise aiomqtt.MqttError(str(first)) from None

    # --- out ---

    def _issue(self, item: Happening, in_reply_to: str | None) -> None:
        now_us = self._clock()
        event = self._topics.under(item.aircraft, "event")
        if isinstance(item, Refusal):
            self._post(event, self._writer.refusal(item, now_us, in_reply_to), 1, item)
        elif isinstance(item, RoutineCall):
            self._post_callout(item, Level.ROUTINE, now_us, item)
        else:
            self._states.put(self._topics.state(item.aircraft, item.rule), item, now_us)
            self._post(event, self._writer.event(item, now_us, in_reply_to), item.level.urgency, item)
            if item.spoken and item.callout:
                self._post_callout(item, item.level, now_us, None)
        self._wake.set()

    def _post_callout(
        self, said: AlertChange | RoutineCall, level: Level, now_us: int, item: Happening | None
    ) -> None:
        topic = self._topics.under(said.aircraft, "callout")
        until_us = now_us + round(WORDS_VALID_S * 1e6)
        self._post(topic, self._writer.callout(said, now_us), level.urgency, item, until_us)

    def _post(
        self, topic: str, message: Message, urgency: int, item: Happening | None, until_us: int | None = None
    ) -> None:
        lost = self._outbox.put(Waiting(topic, message.to_json(), urgency, until_us, item))
        if lost is not None and lost.item is not None:
            self._delivered(lost.item, "lost", "outbox full")
        if lost is not None and self._outbox.dropped == 1:
            structlog.get_logger().warning("mqtt outbox full", broker=str(self._broker))

    async def _send(self, connection: Connection) -> None:
        while True:
            self._wake.clear()
            while await self._send_some(connection):
                pass
            self._health.taken(asyncio.get_running_loop().time())
            await self._wake.wait()

    async def _send_some(self, connection: Connection) -> bool:
        """Send one round of what waits, and wait for the broker's word. False if nothing waited."""
        now_us = self._clock()
        jobs: list[Coroutine[Any, Any, None]] = []
        if self._pending_status:
            self._pending_status = False
            status = self._writer.status("watching", self._since_us, now_us).to_json()
            jobs.append(connection.publish(self._topics.status, status, qos=1, retain=True))
        states = self._states.take(AT_ONCE, lambda change: self._writer.state(change, now_us).to_json())
        jobs += [connection.publish(topic, payload, qos=1, retain=True) for topic, payload in states]
        waiting = self._outbox.first(AT_ONCE)
        jobs += [self._publish(connection, message, now_us) for message in waiting]
        if not jobs:
            return False
        under_way = asyncio.create_task(_all(jobs), name="mqtt publish")
        try:
            await asyncio.shield(under_way)
        except asyncio.CancelledError:  # a moment for the broker's word, so that little is sent twice
            await asyncio.wait([under_way], timeout=FLUSH_S)
            raise
        finally:
            if under_way.done() and not under_way.cancelled() and under_way.exception() is None:
                self._taken(waiting)
            else:
                under_way.cancel()
                self._states.again(topic for topic, _ in states)
        return True

    def _taken(self, messages: Sequence[Waiting]) -> None:
        self._outbox.done(messages)
        for message in messages:
            if message.item is not None:
                self._delivered(message.item, "published", "")

    async def _publish(self, connection: Connection, message: Waiting, now_us: int) -> None:
        properties = None
        if self._version == int(aiomqtt.ProtocolVersion.V5) and message.valid_until_us is not None:
            properties = expiring(max((message.valid_until_us - now_us) // 1_000_000, 1))
        await connection.publish(message.topic, message.payload, qos=1, properties=properties)

    async def _beat(self) -> None:
        loop = asyncio.get_running_loop()
        due_s = loop.time() + STATUS_EVERY_S
        while True:
            await asyncio.sleep(1.0)
            self._states.expire(self._clock())
            if loop.time() >= due_s:
                due_s += STATUS_EVERY_S
                self._pending_status = True
            self._wake.set()

    async def _send_readings(self, connection: Connection) -> None:
        """Quality of service 0: the next come in a second. Waits until each has left, so nothing piles up."""
        while True:
            now_us = self._clock()
            try:
                payloads = [
                    (
                        self._topics.under(system, "readings"),
                        self._writer.readings(system, values, now_us).to_json(),
                    )
                    for system, values in self._readings().items()
                ]
            except Exception:  # noqa: BLE001  (alerts go on without readings)
                if not self._readings_failed:
                    self._readings_failed = True
                    structlog.get_logger().exception("mqtt readings failed")
                payloads = []
            for topic, payload in payloads:
                await _all([connection.publish(topic, payload, qos=0)])
            await asyncio.sleep(self._readings_every_s)

    async def _farewell(self, connection: Connection) -> None:
        """Send what still waits, as far as it goes quickly, then status stopped, then goodbye."""
        with contextlib.suppress(aiomqtt.MqttError, TimeoutError):
            async with asyncio.timeout(FLUSH_S):
                while await self._send_some(connection):
                    pass
        with contextlib.suppress(aiomqtt.MqttError, TimeoutError):
            async with asyncio.timeout(GOODBYE_S):
                stopped = self._writer.status("stopped", self._since_us, self._clock()).to_json()
                await connection.publish(self._topics.status, stopped, qos=1, retain=True)
        await connection.close()

    # --- in ---

    async def _sweep(self, connection: Connection) -> None:
        """Look for retained states that no longer hold; _listen empties them as they come."""
        await self._subscribe(connection, self._topics.states)
        await asyncio.sleep(SWEEP_S)
        await _all([connection.unsubscribe(self._topics.states)])

    async def _subscribe(self, connection: Connection, topic: str) -> None:
        for code in (await _all([connection.subscribe(topic, qos=1)]))[0]:
            if (code.value if isinstance(code, ReasonCode) else code) >= 128:
                structlog.get_logger().warning("mqtt broker does not let the watch listen", topic=topic)

    async def _listen(self, connection: Connection) -> None:
        async for message in connection.messages:
            topic = message.topic.value
            if not self._topics.is_state(topic):
                self._orders.take(topic, bytes(message.payload), retained=bool(message.retain))
            elif message.retain and message.payload:
                self._states.found(topic)
                self._wake.set()

    def _carry_out(self, order: Order, message_id: str) -> None:
        """Give an order to the engine. What it says may come back through `put` as well: each is told once."""
        self._held = []
        said: Sequence[Happening] = ()
        try:
            said = self._on_order(order)
        finally:
            held, self._held = self._held, None
            answered = False
            for item in {id(item): item for item in (*held, *said)}.values():
                answers = is_answer(item, order)
                answered |= answers
                self._issue(item, message_id if answers else None)
        if not answered:
            now_us = self._clock()
            none = Refusal(now_us, 0, order.aircraft, order.rule, order.action, "nothing to do", order.role)
            self._answer(order.aircraft, self._writer.refusal(none, now_us, message_id))

    def _answer(self, aircraft: int | None, message: Message) -> None:
        self._post(self._topics.under(aircraft, "event"), message, 1, None)
        self._wake.set()


async def _all(jobs: Sequence[Awaitable[_Result]]) -> list[_Result]:
    """Run jobs begun in order, wait for all, then raise the first error.

    Every call of the library goes through here: what it waits with can swallow a cancellation that comes together
    with the broker's answer (asyncio.wait_for before Python 3.12), which gather does not.
    """
    results: list[_Result] = []
    for result in await asyncio.gather(*jobs, return_exceptions=True):
        if isinstance(result, BaseException):
            raise result
        results.append(result)
    return results
