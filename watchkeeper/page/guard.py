"""What every request has to fulfil, and what every answer carries."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Awaitable, Callable, Iterable
from typing import Final, TypeAlias
from urllib.parse import urlsplit

import structlog
from aiohttp import web

from watchkeeper.edges.broker.access import is_local
from watchkeeper.page.connections import connection_of

Handler: TypeAlias = Callable[[web.Request], Awaitable[web.StreamResponse]]

HEADERS: Final = {
    "Content-Security-Policy": "default-src 'self'; media-src 'self' blob:; object-src 'none'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
}
MOST_TOLD: Final = 20
"""Faults of ours that go into the log: whoever found one could fill it."""


def host_of(header: str) -> str:
    """Return the host of a Host header, without port and brackets; "" if it is none."""
    if any(sign in header for sign in "@/?#\\ "):
        return ""
    try:
        return (urlsplit(f"//{header}").hostname or "").rstrip(".")
    except ValueError:
        return ""


def own_names() -> set[str]:
    """Return what this machine calls itself, as others on the network may."""
    name = socket.gethostname().lower().rstrip(".")
    short = name.partition(".")[0]
    return {name, short, f"{short}.local"} - {""}


class Guard:
    """Answers only those who ask for it by a name of its own (else a foreign page could: DNS rebinding)."""

    def __init__(self, names: Iterable[str] = ()) -> None:
        """`names` are more names under which it may be asked for."""
        self.faults = 0
        """Requests that failed by a fault of ours."""
        self._names = own_names() | {name.lower().rstrip(".") for name in names}

    def knows(self, request: web.Request) -> bool:
        """Whether the request is meant for this server.

        An address has to be the one that the connection really came to: no name can be made to lead there.
        """
        host = host_of(request.headers.get("Host", ""))
        if not host:
            return False
        own = request.transport.get_extra_info("sockname") if request.transport is not None else None
        own_host = str(own[0]) if own else ""
        if host in self._names:
            return True
        if host == "localhost":
            return is_local(own_host)
        return _address(host) is not None and _address(host) == _address(own_host)

    def from_own_page(self, request: web.Request) -> bool:
        """Whether the request does not come from a page of somebody else.

        Browsers send Origin with every POST (Fetch standard, "append a request Origin header"); other programs
        need not, and have no cookie of somebody who does not know of it.
        """
        origin = request.headers.get("Origin")
        if origin is None:
            return request.headers.get("Sec-Fetch-Site", "same-origin") in ("same-origin", "none")
        return origin.lower() == f"http://{request.headers.get('Host', '').lower()}"

    @web.middleware
    async def check(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """Refuse what is not meant for this server; else answer."""
        connection = connection_of(request)
        connection.asked()
        try:
            refusal = self._refusal(request)
            return await handler(request) if refusal is None else refusal
        except (web.HTTPException, ConnectionError):
            raise
        except Exception as error:  # noqa: BLE001  (a request must not end the outlet)
            self._tell(request, error)
            return web.Response(status=500, text="A fault of the page's server.\n")
        finally:
            connection.answered()

    def _refusal(self, request: web.Request) -> web.Response | None:
        if not self.knows(request):
            return web.Response(status=421, text="This address is not known here. Use one that the watch shows.\n")
        if request.method not in ("GET", "HEAD") and not self.from_own_page(request):
            return web.Response(status=403, text="Not from a page of somebody else.\n")
        return None

    def _tell(self, request: web.Request, error: Exception) -> None:
        self.faults += 1
        if self.faults <= MOST_TOLD:
            log = structlog.get_logger()
            log.error("request failed", method=request.method, path=request.path, exc_info=error)


async def finish(_request: web.Request, response: web.StreamResponse) -> None:
    """Put on what every answer carries."""
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers.setdefault("Cache-Control", "no-store")
    response.headers.pop("Server", None)


def _address(host: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return None
    mapped = address.ipv4_mapped if isinstance(address, ipaddress.IPv6Address) else None
    return mapped or address
