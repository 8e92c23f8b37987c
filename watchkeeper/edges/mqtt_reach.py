"""Whether anybody answers at a broker's address, found out before the MQTT library is sent there."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import ssl
import threading

from watchkeeper.edges.mqtt_address import Broker
from watchkeeper.edges.mqtt_trouble import NotReachedError, of_network


async def reach(broker: Broker, tls: ssl.SSLContext | None, patience_s: float) -> str:
    """Return the address under which the broker's port answers, TLS and all. Raises NotReachedError.

    The library connects on a thread that cannot be stopped, and that the program would have to wait for when
    it ends. So it is only sent where somebody answers.
    """
    try:
        async with asyncio.timeout(patience_s):
            address = await _resolve(broker.host, broker.port)
            name = broker.host if broker.tls else None
            _, writer = await asyncio.open_connection(
                address, broker.port, ssl=tls if broker.tls else None, server_hostname=name
            )
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()
    except OSError as error:  # a TimeoutError, too
        raise NotReachedError(of_network(error)) from None
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
            failed = socket.gaierror(socket.EAI_NONAME, "name cannot be looked up")
        with contextlib.suppress(RuntimeError):  # the loop has ended meanwhile
            loop.call_soon_threadsafe(settle, found, failed)

    threading.Thread(target=ask, name="mqtt name lookup", daemon=True).start()
    return await answer
