"""The embedded broker itself: amqtt behind a gate of our own, with what it does not do well made good."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from typing import Any

from amqtt.broker import Broker
from amqtt.contexts import BrokerConfig, ListenerConfig, ListenerType

from watchkeeper.edges.broker.access import Access, is_local, same_host
from watchkeeper.edges.broker.gate import Intake, Outflow
from watchkeeper.edges.broker.packets import BadPacketError, RefusedError, as_clean, parse_connect

MAX_CLIENTS = 200
MAX_LOCAL = 50
"""On top of MAX_CLIENTS, for programs on this machine: the watch always gets in."""
CONNECT_WITHIN_S = 5.0
MAX_FILTERS = 100
"""Subscriptions of one client."""
MAX_RETAINED = 20_000
MAX_RETAINED_BYTES = 64_000_000
MAX_QUEUED = 1000
MAX_UNDER_WAY = 20_000
"""Messages on their way to clients, each counted once a client."""
REFUSED = 0x80
"""Return code of SUBACK (MQTT 3.1.1 section 3.9.3)."""

_LISTENER = "default"
_LAST_TURNS = 25
"""Turns of the loop at the end: the will of a connection that breaks off takes about ten, and waits for others."""
_ACKNOWLEDGED_WITHIN_S = 2.0
"""A client that never acknowledges holds the end up no longer."""


class Core(Broker):  # type: ignore[misc]  # the library brings no types
    """The library's broker without its listeners and plugins. What is overridden here, tests hold."""

    def __init__(self) -> None:
        listener = ListenerConfig(type=ListenerType.EXTERNAL, bind="gate:0")
        super().__init__(BrokerConfig(listeners={_LISTENER: listener}, plugins={}))
        self._subscribing: set[int] = set()
        self._retained_bytes = 0
        self.dropped = 0
        """Messages of clients that may not publish."""

    def room(self) -> bool:
        """Whether another message can be taken."""
        return self._broadcast_queue.qsize() < MAX_QUEUED and len(self._tasks_queue) < MAX_UNDER_WAY

    async def delivered(self, within_s: float) -> None:
        """Wait until every message on its way is acknowledged by who asked for that, but not for longer."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(within_s):
                turns = 0
                while turns < _LAST_TURNS:  # the last one is out of the queue some turns before it is under way
                    turns = turns + 1 if self._broadcast_queue.empty() else 0
                    await asyncio.sleep(0)
                await asyncio.gather(*self._tasks_queue, return_exceptions=True)

    async def _authenticate(self, session: Any, _listener: Any) -> bool:
        """Let everybody in: the gate has looked already, before anything was done in a client's name."""
        session.is_anonymous = True
        return True

    async def _delete_session(self, client_id: str) -> None:
        """End the connection that a new one of the same name replaces (MQTT 3.1.1 section 3.1.4), will and all."""
        session, handler = self._sessions.get(client_id, (None, None))
        await super()._delete_session(client_id)
        if handler is not None and session.transitions.state == "connected":
            await handler.handle_connection_closed()
            for _ in range(10):  # turns of the loop until its own task has queued the will
                await asyncio.sleep(0)
            await handler.stop()

    async def _cleanup_session(self, client_id: str) -> None:
        """Forget a session that has ended; its name may have been taken up again meanwhile."""
        session, _ = self._sessions.get(client_id, (None, None))
        if session is None or session.transitions.state != "connected":
            await super()._cleanup_session(client_id)

    async def _handle_message_delivery(self, session: Any, handler: Any, waiter: Any) -> bool:
        intake = handler.reader
        if isinstance(intake, Intake):
            intake.unhandled -= 1
        if not _may_publish(handler):
            self.dropped += 1
            return True
        return bool(await super()._handle_message_delivery(session, handler, waiter))

    async def _handle_disconnect(self, session: Any, handler: Any, waiter: Any) -> None:
        if not _may_publish(handler):
            session.will_flag = False
        await super()._handle_disconnect(session, handler, waiter)

    async def _handle_subscription(self, session: Any, handler: Any, waiter: Any) -> None:
        self._subscribing.add(id(session))
        try:
            await super()._handle_subscription(session, handler, waiter)
        finally:
            self._subscribing.discard(id(session))

    async def _handle_unsubscription(self, session: Any, handler: Any, waiter: Any) -> None:
        await super()._handle_unsubscription(session, handler, waiter)
        for topic in [topic for topic, those in self._subscriptions.items() if not those]:
            del self._subscriptions[topic]

    async def _publish_retained_messages_for_subscription(self, subscription: Any, session: Any) -> None:
        """Publish them to who has just subscribed; the library also sends them to everybody who connects."""
        if id(session) in self._subscribing:
            await super()._publish_retained_messages_for_subscription(subscription, session)

    async def add_subscription(self, subscription: tuple[str, int], session: Any) -> int:
        """Add one, or refuse it if the client has too many."""
        held = sum(any(one is session for one, _ in those) for those in self._subscriptions.values())
        if held >= MAX_FILTERS:
            return REFUSED
        self._del_subscription(subscription[0], session)  # a new one replaces it (MQTT 3.1.1 section 3.8.4)
        return int(await super().add_subscription(subscription, session))

    async def retain_message(self, source: Any, topic: str | None, data: Any, qos: int | None = None) -> None:
        """Keep a message for those who subscribe later, as long as there is room."""
        held = self._retained_messages.get(topic)
        more = len(data or b"") - (len(held.data) if held is not None else 0)
        full = self._retained_bytes + more > MAX_RETAINED_BYTES
        if data and (full or (held is None and len(self._retained_messages) >= MAX_RETAINED)):
            return
        self._retained_bytes += more
        await super().retain_message(source, topic, data, qos)


def _may_publish(handler: Any) -> bool:
    return isinstance(handler.writer, Outflow) and handler.writer.may_publish


class Gate:
    """Listens, and lets in who may come in."""

    def __init__(self, access: Access) -> None:
        self.core = Core()
        self._access = access
        self._server: asyncio.Server | None = None
        self._open: set[Outflow] = set()
        self._clients: set[asyncio.Task[None]] = set()

    async def start(self, host: str, port: int) -> None:
        """Listen. Raises OSError if the address cannot be had."""
        for name in ("amqtt", "transitions"):  # they log clients' words, and much of them
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
        await self.core.start()
        self._server = await asyncio.start_server(self._met, host, port)

    async def stop(self, last_words_s: float) -> None:
        """Let nobody in any more, give the wills of who leaves now time to be sent, then end.

        A starved process gets no less of it: turns of the loop count as well as the time, and what is on its way
        by then may still be acknowledged.
        """
        if self._server is not None:
            self._server.close()
        for _ in range(_LAST_TURNS):
            await asyncio.sleep(last_words_s / _LAST_TURNS)
        await self.core.delivered(_ACKNOWLEDGED_WITHIN_S)
        for client in self._open:
            client.abort()

    @property
    def clients(self) -> int:
        """How many are connected."""
        return len(self._open)

    def _met(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.get_running_loop().create_task(self._serve(Intake(reader), Outflow(writer)))
        self._clients.add(task)
        task.add_done_callback(self._clients.discard)

    async def _serve(self, intake: Intake, outflow: Outflow) -> None:
        peer, own = outflow.get_peer_info()[0], outflow.own_host()
        here = is_local(peer) or same_host(peer, own)
        if len(self._open) >= MAX_CLIENTS + (MAX_LOCAL if here else 0):
            outflow.abort()
            return
        self._open.add(outflow)
        try:
            async with asyncio.timeout(CONNECT_WITHIN_S):
                packet = await intake.first()
            connect = parse_connect(packet)
            outflow.may_publish = self._access.admit(connect, peer, own)
            intake.begin(as_clean(packet), connect.keep_alive_s, self.core.room)
            await self.core.external_connected(intake, outflow, _LISTENER)
        except RefusedError as refused:
            outflow.write(bytes((0x20, 2, 0, refused.code)))
        except (BadPacketError, EOFError, OSError):  # TimeoutError is one
            pass
        finally:
            self._open.discard(outflow)
            with contextlib.suppress(OSError):
                await outflow.close()
