"""One connection to a broker: reached with a time limit, MQTT 5 or else 3.1.1, ended with or without a goodbye."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import socket
import ssl
import threading
from collections.abc import Callable
from typing import Any, Final
from uuid import uuid4

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from watchkeeper.edges.mqtt_address import Broker

KEEP_ALIVE_S = 10
REACH_S = 5.0
"""Longest wait for name, network and TLS, and for each answer of the broker."""
GOODBYE_S = 0.15
MAX_INCOMING = 1000
"""Messages that wait to be looked at; more are dropped. Retained ones left over are found at the next connect."""
MAX_PACKET_BYTES = 65_536
"""What a broker of version 5 may send us at most."""

_UNSUPPORTED_VERSION: Final = 132  # MQTT 5 section 3.2.2.2
_NO_MQTT_5: Final = frozenset({1, 128, 129, 130, _UNSUPPORTED_VERSION})
"""Answers of brokers that do not speak 5: 1 is version 3.1.1's own; the others "unspecified" to "unsupported"."""

_silent = logging.getLogger("watchkeeper.edges.mqtt.client")
_silent.addHandler(logging.NullHandler())
_silent.propagate = False


class NotReachedError(Exception):
    """No connection; the text says why, without user or password."""


class _NoAnswerError(aiomqtt.MqttError):
    """The broker closed the connection instead of answering."""


class Connection(aiomqtt.Client):
    """aiomqtt's client, ended by `close` (goodbye, no will) or `abandon` (the broker sends the will).

    Not used as a context manager: leaving one waits long for a broker that hangs, and never closes the socket
    of a connection that the broker does not answer.
    """

    def _on_disconnect(self, *args: Any, **kwargs: Any) -> None:
        if not self._connected.done():  # the library would wait for its time limit
            self._connected.set_exception(_NoAnswerError("closed without an answer"))
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


async def connect(
    broker: Broker, will: Callable[[], aiomqtt.Will], tls: ssl.SSLContext | None, *, only_3_1_1: bool = False
) -> tuple[Connection, int]:
    """Return a connection and the version it speaks (5 or 4, which is 3.1.1). Raises NotReachedError.

    A broker that refuses version 5, or closes the connection on it, is asked once more in 3.1.1.
    """
    address = await _reach(broker, tls)
    versions = (
        [aiomqtt.ProtocolVersion.V311]
        if only_3_1_1
        else [aiomqtt.ProtocolVersion.V5, aiomqtt.ProtocolVersion.V311]
    )
    for version in versions:
        five = version is aiomqtt.ProtocolVersion.V5
        connection = Connection(
            broker.host if broker.tls else address,
            broker.port,
            username=broker.user,
            password=broker.password,
            identifier=f"wk{uuid4().hex[:16]}",  # 3.1.1 promises 23 letters and digits, no more
            protocol=version,
            clean_session=None if five else True,
            properties=_limits() if five else None,
            will=will(),
            tls_context=tls if broker.tls else None,
            timeout=REACH_S,
            keepalive=KEEP_ALIVE_S,
            max_queued_incoming_messages=MAX_INCOMING,
            logger=_silent,
        )
        try:
            await connection.open()
        except aiomqtt.MqttError as error:
            if five and _no_mqtt_5(error):
                continue
            raise NotReachedError(_why(error)) from None
        return connection, int(version)
    raise NotReachedError("refused in every version")


def _limits() -> Properties:
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # the library leaves it untyped
    properties.MaximumPacketSize = MAX_PACKET_BYTES
    return properties


def expiring(seconds: int) -> Properties:
    """Return the properties of a message that the broker drops after so many seconds (MQTT 5 only)."""
    properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]  # as above
    properties.MessageExpiryInterval = seconds
    return properties


def _no_mqtt_5(error: aiomqtt.MqttError) -> bool:
    if isinstance(error, _NoAnswerError):
        return True
    code = error.rc if isinstance(error, aiomqtt.MqttCodeError) else None
    return (code.value if isinstance(code, ReasonCode) else code) in _NO_MQTT_5


def _why(error: aiomqtt.MqttError) -> str:
    if isinstance(error, aiomqtt.MqttCodeError) and isinstance(error.rc, ReasonCode):
        return f"refused: {error.rc}".lower()
    return "no answer" if "timed out" in str(error) else str(error).lower()


async def _reach(broker: Broker, tls: ssl.SSLContext | None) -> str:
    """Return the address under which the broker's port answers, TLS and all. Raises NotReachedError.

    The library connects on a thread that cannot be stopped, and that the program would have to wait for when
    it ends. So it is only sent where somebody answers.
    """
    try:
        async with asyncio.timeout(REACH_S):
            address = await _resolve(broker.host, broker.port)
            name = broker.host if broker.tls else None
            _, writer = await asyncio.open_connection(
                address, broker.port, ssl=tls if broker.tls else None, server_hostname=name
            )
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()
    except TimeoutError:
        raise NotReachedError("no answer") from None
    except ssl.SSLCertVerificationError as error:
        raise NotReachedError(f"certificate not accepted: {error.verify_message}") from None
    except OSError as error:
        # asyncio's own text names the call; a name that is not found has a negative number and its own text
        number = error.errno or 0
        why = os.strerror(number) if number > 0 else error.strerror or str(error)
        raise NotReachedError(why.lower()) from None
    return address


async def _resolve(host: str, port: int) -> str:
    """Return the first address of a name, asked for on a thread that holds up nobody's end."""
    loop = asyncio.get_running_loop()
    answer: asyncio.Future[str] = loop.create_future()

    def settle(address: str | None, error: OSError | None) -> None:
        if answer.done():
            return
        if address is None:
            answer.set_exception(error or OSError("no address"))
        else:
            answer.set_result(address)

    def ask() -> None:
        found: str | None = None
        failed: OSError | None = None
        try:
            found = str(socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][4][0])
        except OSError as error:
            failed = error
        except UnicodeError:
            failed = OSError("name cannot be looked up")
        with contextlib.suppress(RuntimeError):  # the loop has ended meanwhile
            loop.call_soon_threadsafe(settle, found, failed)

    threading.Thread(target=ask, name="mqtt name lookup", daemon=True).start()
    return await answer
