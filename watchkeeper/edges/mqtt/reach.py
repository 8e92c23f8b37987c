"""Whether anybody answers at a broker's address, found out before the MQTT library is sent there."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import ssl
import threading
from collections.abc import Callable
from typing import TypeVar

from watchkeeper.edges.mqtt.address import Broker
from watchkeeper.edges.mqtt.trouble import NotReachedError, Trouble, of_network

_Found = TypeVar("_Found")

ALERT_WITHIN_S = 2.0


async def reach(broker: Broker, tls: ssl.SSLContext | None, patience_s: float) -> str:
    """Return the address under which the broker's port answers, TLS and all. Raises NotReachedError.

    The library connects on a thread that cannot be stopped, and that the program would have to wait for when
    it ends. So it is only sent where somebody answers.
    """
    try:
        async with asyncio.timeout(patience_s):
            address = await aside(lambda: _resolve(broker.host, broker.port))
            name = broker.host if broker.tls else None
            _, writer = await asyncio.open_connection(
                address, broker.port, ssl=tls if broker.tls else None, server_hostname=name
            )
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()
    except OSError as error:  # a TimeoutError, too
        raise NotReachedError(of_network(error, tls=broker.tls)) from None
    return address


async def why_closed(broker: Broker, tls: ssl.SSLContext) -> Trouble | None:
    """Return what a broker that hangs up says of it by TLS, if it does.

    Since TLS 1.3 a certificate that the broker does not accept shows only after the handshake (RFC 8446 section
    4.4.2.4), and the MQTT library passes no such word on.
    """
    writer: asyncio.StreamWriter | None = None
    try:
        async with asyncio.timeout(ALERT_WITHIN_S):
            reader, writer = await asyncio.open_connection(
                broker.host, broker.port, ssl=tls, server_hostname=broker.host
            )
            await reader.read(1)
    except ssl.SSLError as error:
        return of_network(error)
    except OSError:
        pass
    finally:
        if writer is not None:
            writer.transport.abort()
    return None


async def aside(job: Callable[[], _Found]) -> _Found:
    """Do something that may block on a thread that holds up nobody's end. Raises what it raises."""
    loop = asyncio.get_running_loop()
    answer: asyncio.Future[_Found] = loop.create_future()

    def settle(found: list[_Found], error: BaseException | None) -> None:
        if answer.done():
            return
        if error is not None:
            answer.set_exception(error)
        else:
            answer.set_result(found[0])

    def do() -> None:
        found: list[_Found] = []
        failed: BaseException | None = None
        try:
            found.append(job())
        except Exception as error:  # noqa: BLE001  (it is passed on)
            failed = error
        with contextlib.suppress(RuntimeError):  # the loop has ended meanwhile
            loop.call_soon_threadsafe(settle, found, failed)

    threading.Thread(target=do, name="mqtt look-up", daemon=True).start()
    return await answer


def _resolve(host: str, port: int) -> str:
    """Return the first address of a name."""
    try:
        return str(socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][4][0])
    except UnicodeError:
        raise socket.gaierror(socket.EAI_NONAME, "name cannot be looked up") from None
