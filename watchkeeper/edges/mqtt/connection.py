"""One connection to a broker: reached with a time limit, MQTT 5 or else 3.1.1, ended with or without a goodbye."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import math
import socket
from collections.abc import Awaitable, Callable
from typing import Any, Final, TypeVar

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from watchkeeper.edges.mqtt.address import Broker
from watchkeeper.edges.mqtt.login import Login
from watchkeeper.edges.mqtt.reach import aside, reach, why_closed
from watchkeeper.edges.mqtt.trouble import (
    FAILURE,
    FILES_SLOW,
    NO_VERSION,
    ClosedError,
    NotReachedError,
    PublishRefusedError,
    TimedOutError,
    of_connect,
    refusal_code,
)

_Result = TypeVar("_Result")

KEEP_ALIVE_S = 10
REACH_S = 5.0
"""Longest wait for name, network and TLS, and for each answer of the broker."""
GOODBYE_S = 0.15
ASK_AGAIN_S = 3600.0
"""For how long a broker that has refused version 5 is asked in 3.1.1 first."""
MAX_INCOMING = 1000
"""Messages that wait to be looked at; more are dropped. Retained ones left over are found at the next connect."""
MAX_PACKET_BYTES = 65_536
"""What a broker of version 5 may send us at most."""

_UNSUPPORTED_VERSION: Final = 132  # MQTT 5 section 3.2.2.2
_NO_MQTT_5: Final = frozenset({1, 128, 129, 130, _UNSUPPORTED_VERSION})
"""Answers of brokers that do not speak 5: 1 is version 3.1.1's own; the others "unspecified" to "unsupported"."""

_silent = logging.getLogger("watchkeeper.edges.mqtt.outlet.client")
_silent.addHandler(logging.NullHandler())
_silent.propagate = False


class Connection(aiomqtt.Client):
    """aiomqtt's client, ended by `close` (goodbye, no will) or `abandon` (the broker sends the will).

    Not used as a context manager: leaving one waits long for a broker that hangs, and never closes the socket
    of a connection that the broker does not answer.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._unanswered: dict[int, asyncio.Future[ReasonCode]] = {}

    def _on_publish(self, _client: Any, _data: Any, mid: int, code: ReasonCode, _properties: Any) -> None:
        """Take a PUBACK. The library takes any answer for a good one, so all publishing goes through `send`."""
        answer = self._unanswered.get(mid)
        if answer is not None and not answer.done():
            answer.set_result(code)

    async def send(self, topic: str, payload: bytes, *, retain: bool = False, valid_s: int | None = None) -> None:
        """Publish at quality of service 1 and wait for the broker's word.

        `valid_s`: a broker of version 5 keeps the message no longer for those who are away. Raises
        PublishRefusedError if the broker (of version 5; an older one cannot say so) does not accept the message,
        TimedOutError, and MqttError if there is no connection.
        """
        five = self._client.protocol == int(aiomqtt.ProtocolVersion.V5)
        properties = _expiring(valid_s) if five and valid_s is not None else None
        sent = self._client.publish(topic, payload, 1, retain, properties)
        if sent.rc != 0:
            raise aiomqtt.MqttCodeError(sent.rc, "could not publish")
        answer = self._unanswered[sent.mid] = asyncio.get_running_loop().create_future()
        try:
            async with asyncio.timeout(self.timeout):
                code = await answer
        except TimeoutError:
            raise TimedOutError("a message timed out") from None
        finally:
            del self._unanswered[sent.mid]
        if code.value >= FAILURE:
            raise PublishRefusedError(code)

    async def hear(self, topic: str) -> bool:
        """Subscribe at quality of service 1. False: the broker does not let us."""
        codes = await _whole(self.subscribe(topic, qos=1))
        return all((code.value if isinstance(code, ReasonCode) else code) < FAILURE for code in codes)

    async def hear_no_more(self, topic: str) -> None:
        """Unsubscribe."""
        await _whole(self.unsubscribe(topic))

    def _on_disconnect(self, *args: Any, **kwargs: Any) -> None:
        if not self._connected.done():  # the library would wait for its time limit
            self._connected.set_exception(ClosedError("closed without an answer"))
        super()._on_disconnect(*args, **kwargs)

    async def open(self) -> None:
        """Connect. On failure or cancellation the socket is closed."""
        opening = asyncio.create_task(self.__aenter__(), name="mqtt connect")
        try:
            await asyncio.shield(opening)
        except asyncio.CancelledError:
            # The socket is made on another thread: let that end, so that there is something to close.
            opening.cancel()
            await asyncio.wait([opening], timeout=GOODBYE_S)
            self.abandon()
            raise
        except BaseException:
            self.abandon()
            raise

    async def close(self) -> None:
        """Say goodbye: the broker does not send the will."""
        with contextlib.suppress(aiomqtt.MqttError, TimeoutError):
            async with asyncio.timeout(GOODBYE_S):
                await self.__aexit__(None, None, None)
        self.abandon()

    def abandon(self) -> None:
        """Close the socket at once, without a goodbye."""
        sock = self._client.socket()
        if isinstance(sock, socket.socket):  # TLS sockets too
            with contextlib.suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)
            with contextlib.suppress(OSError, ValueError):
                self._client.loop_read()  # reads the end, and so closes and lets go of the socket
        for future in (self._connected, self._disconnected):
            if future.done() and not future.cancelled():
                future.exception()  # looked at: asyncio need not complain


def will_of(topic: str, payload: bytes) -> aiomqtt.Will:
    """Return a retained will of quality of service 1."""
    return aiomqtt.Will(topic, payload, qos=1, retain=True)


class VersionAsked:
    """Which version a broker speaks, as far as it has said.

    One that refused 5 by its answer is asked in 3.1.1 at once for ASK_AGAIN_S; one that only hung up may have
    had other reasons, and is asked in 5 again each time. So is one that refuses 3.1.1, or has not been reached
    in it: another program may stand there by now.
    """

    def __init__(self, *, only_3_1_1: bool = False) -> None:
        self._only_3_1_1 = only_3_1_1
        self._until_s = -math.inf

    def to_ask(self, now_s: float) -> list[aiomqtt.ProtocolVersion]:
        """Return the versions to ask in, in order."""
        if self._only_3_1_1 or now_s < self._until_s:
            return [aiomqtt.ProtocolVersion.V311]
        return [aiomqtt.ProtocolVersion.V5, aiomqtt.ProtocolVersion.V311]

    def refused_5(self, now_s: float) -> None:
        """Take the word of a broker that refused 5 and then took 3.1.1."""
        self._until_s = now_s + ASK_AGAIN_S

    def forget(self) -> None:
        """Ask in 5 again."""
        self._until_s = -math.inf


async def connect(
    broker: Broker,
    client_id: str,
    will: Callable[[], aiomqtt.Will | None],
    login: Login,
    version: VersionAsked,
    max_incoming: int = MAX_INCOMING,
) -> tuple[Connection, int]:
    """Return a connection and the version it speaks (5 or 4, which is 3.1.1). Raises NotReachedError.

    With the same `client_id` as before the broker ends what it may still take for a living connection of ours,
    will and all, before it accepts this one (MQTT 5 section 3.1.4, 3.1.1 section 3.1.4).
    A broker that refuses version 5, or closes the connection on it, is asked once more in 3.1.1.
    """
    loop = asyncio.get_running_loop()
    try:
        async with asyncio.timeout(REACH_S):
            secrets = await aside(login.read)
    except TimeoutError:
        raise NotReachedError(FILES_SLOW) from None
    address = await reach(broker, secrets.tls, REACH_S)
    told_not_5 = False
    for asked in version.to_ask(loop.time()):
        five = asked is aiomqtt.ProtocolVersion.V5
        connection = Connection(
            broker.host if broker.tls else address,
            broker.port,
            username=secrets.user,
            password=secrets.password,
            identifier=client_id,
            protocol=asked,
            clean_session=None if five else True,
            properties=_limits() if five else None,
            will=will(),
            tls_context=secrets.tls,
            timeout=REACH_S,
            keepalive=KEEP_ALIVE_S,
            max_queued_incoming_messages=max_incoming,
            logger=_silent,
        )
        try:
            await connection.open()
        except aiomqtt.MqttError as error:
            if five and _no_mqtt_5(error):
                told_not_5 = not isinstance(error, ClosedError)
                continue
            version.forget()
            trouble = of_connect(error, named=secrets.user is not None)
            if secrets.tls is not None and refusal_code(error) is None:
                trouble = await why_closed(broker, secrets.tls) or trouble
            raise NotReachedError(trouble) from None
        if told_not_5:
            version.refused_5(loop.time())
        return connection, int(asked)
    raise NotReachedError(NO_VERSION)


def _limits() -> Properties:
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # the library leaves it untyped
    properties.MaximumPacketSize = MAX_PACKET_BYTES
    return properties


def _expiring(seconds: int) -> Properties:
    """Return the properties of a message that the broker drops after so many seconds (MQTT 5 only)."""
    properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]  # as above
    properties.MessageExpiryInterval = seconds
    return properties


def _no_mqtt_5(error: aiomqtt.MqttError) -> bool:
    return isinstance(error, ClosedError) or refusal_code(error) in _NO_MQTT_5


async def _whole(job: Awaitable[_Result]) -> _Result:
    """Await a call of the library. What it waits with can swallow a cancellation; gather does not.

    (asyncio.wait_for before Python 3.12, if the cancellation comes together with the broker's answer.)
    """
    (result,) = await asyncio.gather(job, return_exceptions=True)
    if isinstance(result, BaseException):
        raise result
    return result
