"""What is done over one connection to a broker, from the first status to the last."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Coroutine, Mapping
from typing import Any, TypeAlias

import aiomqtt
import structlog
from pydantic import ValidationError

from watchkeeper.edges.messages.head import Value
from watchkeeper.edges.messages.payloads import READINGS_VALID_S, STATUS_VALID_S, Status
from watchkeeper.edges.mqtt.connection import GOODBYE_S, Connection
from watchkeeper.edges.mqtt.health import Health
from watchkeeper.edges.mqtt.orders import OrderDesk
from watchkeeper.edges.mqtt.outbox import Waiting
from watchkeeper.edges.mqtt.post import Post
from watchkeeper.edges.mqtt.trouble import PublishRefusedError
from watchkeeper.edges.mqtt.views import Views

SWEEP_S = 2.0
"""How long after a connect retained states are looked at; brokers send them with the subscription."""
STATUS_EVERY_S = STATUS_VALID_S / 3
AT_ONCE = 4
"""States, and as many events, under way together: order is kept, and one round trip serves several."""
FLUSH_S = 0.1
"""How long, at the end, what is under way and what still waits may take each."""
BEAT_S = 1.0

ReadingsNow: TypeAlias = Callable[[], Mapping[int, Mapping[str, Value]]]


class Session:
    """Works on one connection."""

    def __init__(
        self,
        connection: Connection,
        post: Post,
        orders: OrderDesk,
        health: Health,
        readings: ReadingsNow,
        readings_every_s: float,
        views: Views,
    ) -> None:
        self._connection = connection
        self._post = post
        self._orders = orders
        self._health = health
        self._readings = readings
        self._readings_every_s = readings_every_s
        self._readings_failed = False
        self._views = views
        self._mended_s = -BEAT_S

    async def serve(self) -> None:
        """Work until the connection breaks. Raises MqttError, the first of what went wrong."""
        post = self._post
        post.tidy()
        post.hold.connected(asyncio.get_running_loop().time(), late=post.late)
        post.states.all_anew()
        self._views.anew()
        post.status_due = True
        await self._hear(post.topics.crew_orders)
        await self._hear(self._post.topics.orders)  # who sees "watching" can rely on being heard
        await self._hear(self._post.topics.status)
        try:
            async with asyncio.TaskGroup() as group:
                for work in (self._listen, self._send, self._sweep, self._beat, self._send_readings):
                    group.create_task(work(), name=f"mqtt {work.__name__.strip('_')}")
        except ExceptionGroup as all_of_them:
            # not `except*`: until Python 3.11.3 what is raised in it comes out in a group again
            broken, ours = all_of_them.split(aiomqtt.MqttError)
            if ours is not None or broken is None:
                raise
            raise _first(broken) from None

    # --- out ---

    async def _send(self) -> None:
        while True:
            self._post.wake.clear()
            while await self._send_some():
                pass
            self._health.taken(asyncio.get_running_loop().time())
            await self._post.wake.wait()

    async def _send_some(self) -> bool:
        """Send one round of what waits, and wait for the broker's word. False if nothing waited."""
        post = self._post
        post.tidy()
        now_us = post.clock()
        jobs: list[Coroutine[Any, Any, None]] = []
        if post.status_due:
            post.status_due = False
            jobs.append(self._send_status())
        states = post.states.take(AT_ONCE, lambda change: post.writer.state(change, now_us).to_json())
        jobs += [self._send_state(topic, payload) for topic, payload in states]
        ready = post.ready(AT_ONCE, asyncio.get_running_loop().time())
        jobs += [self._send_waiting(message, now_us) for message in ready]
        if not jobs:
            return False
        under_way = asyncio.create_task(_together(jobs), name="mqtt publish")
        try:
            await asyncio.shield(under_way)
        except asyncio.CancelledError:  # a moment for the broker's word, so that little is sent twice
            await asyncio.wait([under_way], timeout=FLUSH_S)
            under_way.cancel()
            await asyncio.wait([under_way])
            raise
        return True

    async def _send_status(self) -> None:
        post = self._post
        status = post.writer.status("watching", post.since_us, post.clock())
        await self._publish(post.topics.status, status.to_json(), retain=True)

    async def _send_state(self, topic: str, payload: bytes) -> None:
        states = self._post.states
        try:
            if await self._publish(topic, payload, retain=True):
                states.refused(topic)
        except BaseException:
            states.again(topic)
            raise

    async def _send_waiting(self, message: Waiting, now_us: int) -> None:
        valid_s = None
        if message.valid_until_us is not None:
            valid_s = max((message.valid_until_us - now_us) // 1_000_000, 1)
        self._post.settle(message, await self._publish(message.topic, message.payload, valid_s=valid_s))

    async def _publish(
        self, topic: str, payload: bytes, *, retain: bool = False, valid_s: int | None = None
    ) -> str:
        """Publish; return "" or, if the broker did not accept it, why. Raises MqttError."""
        try:
            await self._connection.send(topic, payload, retain=retain, valid_s=valid_s)
        except PublishRefusedError as refused:
            self._health.refused(topic, refused.trouble)
            return refused.trouble.why
        self._health.accepted(topic)
        return ""

    async def _beat(self) -> None:
        loop = asyncio.get_running_loop()
        due_s = loop.time() + STATUS_EVERY_S
        while True:
            await asyncio.sleep(BEAT_S)
            self._post.states.expire(self._post.clock())
            if loop.time() >= due_s:
                due_s += STATUS_EVERY_S
                self._post.status_due = True
                self._post.states.refused_anew()
            self._post.wake.set()

    async def _send_readings(self) -> None:
        """Never more than one on its way, and none waits: what the broker is too slow for is not sent."""
        loop = asyncio.get_running_loop()
        topics, writer = self._post.topics, self._post.writer
        while True:
            due_s = loop.time() + self._readings_every_s
            now_us = self._post.clock()
            try:
                payloads = [
                    (topics.under(system, "readings"), writer.readings(system, values, now_us).to_json())
                    for system, values in self._readings().items()
                ]
            except Exception:  # noqa: BLE001  (alerts go on without readings)
                if not self._readings_failed:
                    self._readings_failed = True
                    structlog.get_logger().exception("mqtt readings failed")
                payloads = []
            for topic, payload in payloads:
                await self._publish(topic, payload, valid_s=READINGS_VALID_S)
            for view in self._views.take(now_us):
                valid_s = None if view.retain else READINGS_VALID_S
                if await self._publish(view.topic, view.payload, retain=view.retain, valid_s=valid_s):
                    self._views.refused(view.topic)
            await asyncio.sleep(max(due_s - loop.time(), 0.0))

    async def farewell(self) -> None:
        """Send what still waits, as far as it goes quickly, then status stopped, then goodbye."""
        post = self._post
        post.last_words()
        with contextlib.suppress(aiomqtt.MqttError, ExceptionGroup, TimeoutError):
            async with asyncio.timeout(FLUSH_S):
                while await self._send_some():
                    pass
        with contextlib.suppress(aiomqtt.MqttError, ExceptionGroup, TimeoutError):
            async with asyncio.timeout(FLUSH_S):
                await _together([self._take_away(view.topic) for view in self._views.last()])
        with contextlib.suppress(aiomqtt.MqttError, PublishRefusedError, TimeoutError):
            async with asyncio.timeout(GOODBYE_S):
                stopped = post.writer.status("stopped", post.since_us, post.clock())
                await self._connection.send(post.topics.status, stopped.to_json(), retain=True)
        await self._connection.close()

    async def _take_away(self, topic: str) -> None:
        await self._publish(topic, b"", retain=True)

    # --- in ---

    async def _sweep(self) -> None:
        """Look for what is retained and no longer holds; _listen has it emptied as it comes."""
        kept = (self._post.topics.states, self._post.topics.surroundings)
        for topic in kept:
            await self._hear(topic)
        await asyncio.sleep(SWEEP_S)
        for topic in kept:
            await self._connection.hear_no_more(topic)

    async def _hear(self, topic: str) -> None:
        if not await self._connection.hear(topic):
            structlog.get_logger().warning("mqtt broker does not let the watch listen", topic=topic)

    async def _listen(self) -> None:
        topics = self._post.topics
        async for message in self._connection.messages:
            topic, payload, retained = message.topic.value, bytes(message.payload), bool(message.retain)
            if topic == topics.status:
                if retained:  # what stood there before is being replaced already
                    self._post.hold.remembered()
                    self._post.wake.set()
                else:
                    self._look_at_status(payload)
            elif topics.is_surroundings(topic):
                if retained and payload:
                    self._views.found(topic)
            elif not topics.is_state(topic):
                self._orders.take(topic, payload, retained=retained)
            elif retained and payload:
                self._post.states.found(topic)
                self._post.wake.set()

    def _look_at_status(self, payload: bytes) -> None:
        """Set the status right if somebody else has written it: a will that comes late, another program.

        At once, but not more than once a second, whoever writes there.
        """
        with contextlib.suppress(ValidationError):
            if Status.model_validate_json(payload).state == "watching":
                return
        self._post.status_due = True  # if not at once, then with the next beat
        now_s = asyncio.get_running_loop().time()
        if now_s - self._mended_s >= BEAT_S:
            self._mended_s = now_s
            self._post.wake.set()


async def _together(jobs: list[Coroutine[Any, Any, None]]) -> None:
    """Run jobs begun in order; wait for all."""
    async with asyncio.TaskGroup() as group:
        for job in jobs:
            group.create_task(job)


def _first(error: BaseException) -> BaseException:
    while isinstance(error, BaseExceptionGroup):
        error = error.exceptions[0]
    return error
