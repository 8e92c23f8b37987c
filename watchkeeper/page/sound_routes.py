"""The routes by which phones listen: GET /audio, the stream; POST /heard, a phone's word that it plays."""

from __future__ import annotations

import asyncio
import contextlib
import json
import math
import re
import socket
from collections.abc import Callable, Iterable
from typing import Any, Final

from aiohttp import web

from watchkeeper.page.phone import Phone

MAX_HEARD_BYTES: Final = 500
BODY_WITHIN_S: Final = 5.0
MOST_S: Final = 1e7
"""No phone plays for longer than four months."""
_SEND_BYTES: Final = 16_384
"""What the system may hold for one phone (2.7 s; Linux doubles it for its own use): what is old is not sent."""
_GONE_AFTER_MS: Final = 10_000
_PHONE: Final = re.compile(r"[A-Za-z0-9-]{1,40}")

RoleOf = Callable[[web.Request], str | None]


def sound_routes(phone: Phone) -> Callable[[RoleOf], Iterable[web.AbstractRouteDef]]:
    """Return what makes the routes, given what tells whose key came with a request."""

    def routes(role_of: RoleOf) -> Iterable[web.AbstractRouteDef]:
        ears = _Ears(phone, role_of)
        return [web.get("/audio", ears.audio, allow_head=False), web.post("/heard", ears.heard)]

    return routes


class _Ears:
    def __init__(self, phone: Phone, role_of: RoleOf) -> None:
        self._phone = phone
        self._role_of = role_of

    async def audio(self, request: web.Request) -> web.StreamResponse:
        role = self._role_of(request)
        if role is None:
            raise web.HTTPForbidden(text="To listen, open the page with a key.\n")
        transport = request.transport
        if transport is None:
            raise web.HTTPServiceUnavailable
        _hold_little(transport)
        listener = self._phone.stream.join(role, transport.abort)
        if listener is None:
            raise web.HTTPServiceUnavailable(text="Too many listen already.\n", headers={"Retry-After": "10"})
        try:
            response = web.StreamResponse(headers={"Content-Type": "audio/mpeg", "Cache-Control": "no-store"})
            await response.prepare(request)
            with contextlib.suppress(ConnectionError):  # gone, or let go
                while part := await listener.take():
                    await response.write(part)
        finally:
            self._phone.stream.leave(listener)
        return response

    async def heard(self, request: web.Request) -> web.StreamResponse:
        role = self._role_of(request)
        if role is None:
            raise web.HTTPForbidden(text="No key.\n")
        if request.content_type != "application/json":
            raise web.HTTPUnsupportedMediaType
        try:
            async with asyncio.timeout(BODY_WITHIN_S):
                body = await request.read()
        except TimeoutError:
            raise web.HTTPRequestTimeout from None
        if len(body) > MAX_HEARD_BYTES:
            raise web.HTTPRequestEntityTooLarge(MAX_HEARD_BYTES, len(body))
        word = _word(body)
        if word is None:
            raise web.HTTPBadRequest
        at_s, name, stopped = word
        if stopped:
            self._phone.hearing.stopped(role, name)
            return web.json_response({"hears": False})
        return web.json_response({"hears": self._phone.hearing.heard(role, name, at_s)})


def _word(body: bytes) -> tuple[float, str, bool] | None:
    """Return what a phone says: how far it has played in s, who it is, whether it stops; None for rubbish."""
    try:
        found: Any = json.loads(body)
    except (ValueError, RecursionError):
        return None
    if not isinstance(found, dict) or not found.keys() <= {"at_s", "phone", "stopped"}:
        return None
    at_s, name, stopped = found.get("at_s"), found.get("phone", "one"), found.get("stopped", False)
    if isinstance(at_s, bool) or not isinstance(at_s, int | float) or not isinstance(stopped, bool):
        return None
    if not math.isfinite(at_s) or not 0 <= at_s <= MOST_S or not isinstance(name, str):
        return None
    return (float(at_s), name, stopped) if _PHONE.fullmatch(name) else None


def _hold_little(transport: asyncio.Transport) -> None:
    """Let a slow phone be noticed soon, and one that is out of range be given up by the system."""
    transport.set_write_buffer_limits(high=_SEND_BYTES // 2)
    plug = transport.get_extra_info("socket")
    if plug is None:
        return
    with contextlib.suppress(OSError):
        plug.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        plug.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SEND_BYTES)
        if hasattr(socket, "TCP_USER_TIMEOUT"):
            plug.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, _GONE_AFTER_MS)
