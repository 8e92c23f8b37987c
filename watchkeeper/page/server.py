"""The page's server: an outlet of the watch for any browser to look at, and for the crew's to give orders."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final, Protocol, TypeAlias

import structlog
from aiohttp import web
from pydantic import TypeAdapter

from watchkeeper.alerts.events import Happening
from watchkeeper.edges.broker.access import is_local, same_host
from watchkeeper.edges.place import Place
from watchkeeper.edges.rate import Rate
from watchkeeper.errors import bad_input
from watchkeeper.page.assets import INDEX, Asset
from watchkeeper.page.connections import Connection, Crowd
from watchkeeper.page.guard import Guard, finish
from watchkeeper.page.keys import MAY, Keys, cookie_name
from watchkeeper.page.orders import MAX_ORDER_BYTES, CarryOut, read_order
from watchkeeper.page.stream import Streams
from watchkeeper.picture.models import StationPicture

EVERY_S: Final = 1.0
GAP_S: Final = 0.1
LONGEST_GAP_S: Final = 0.25
"""Between two pushes: changes are gathered so long, and yet none waits for 300 ms."""
SHARE: Final = 0.1
"""Of the event loop's time that pictures may take, as far as LONGEST_GAP_S allows."""
BODY_WITHIN_S: Final = 5.0
FAREWELL_S: Final = 0.2
COOKIE_S: Final = 180 * 86_400

RoleOf: TypeAlias = Callable[[web.Request], str | None]
Routes: TypeAlias = Callable[[RoleOf], Iterable[web.AbstractRouteDef]]
"""routes(role_of): more routes of the page. `role_of(request)` is whose key came with it. Every request has passed
the guard (Host, and Origin if it is no GET); bodies are bounded by MAX_ORDER_BYTES."""

_PICTURES: Final = TypeAdapter(list[StationPicture])


class Scene(Protocol):
    """What the page shows."""

    def pictures(self) -> Sequence[StationPicture]:
        """Return the pictures of now. Must not take long: it is asked on the event loop."""


class PageServer:
    """Serves the page at one place. `open` binds it, `run` serves until cancelled, and binds anew if need be."""

    name = "page"

    def __init__(
        self,
        place: Place,
        scene: Scene,
        carry_out: CarryOut,
        keys: Keys,
        assets: Mapping[str, Asset],
        clock: Callable[[], int],
        *,
        station: str,
        names: Iterable[str] = (),
        routes: Sequence[Routes] = (),
        streams: Streams | None = None,
    ) -> None:
        """`clock` gives microseconds of real time; `station` names the cookie; `names` are more of this host's."""
        self._place = place
        self._scene = scene
        self._carry_out = carry_out
        self._keys = keys
        self._assets = assets
        self._clock = clock
        self._cookie = cookie_name(station)
        self._guard = Guard(names)
        self._routes = tuple(routes)
        self._rates = {role: Rate(clock()) for role in MAY}
        self._changed = asyncio.Event()
        self._runner: web.AppRunner | None = None
        self._server: asyncio.Server | None = None
        self.streams = Streams() if streams is None else streams
        self.pushes = 0
        self.spent_s = 0.0
        """Time that making pictures took of the event loop."""
        self.longest_s = 0.0

    @property
    def port(self) -> int:
        """The port it listens at; 0 while it does not."""
        if self._server is None or not self._server.sockets:
            return 0
        return int(self._server.sockets[0].getsockname()[1])

    async def open(self) -> None:
        """Listen. Raises BadInputError if the place cannot be had."""
        try:
            await self._listen()
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                raise bad_input(
                    f"--page: {self._place} is in use", "end the other program, or name another port"
                ) from None
            raise bad_input(f"--page: no page at {self._place}: {_why(error)}", "check the address") from None

    def put(self, item: Happening) -> None:
        """Take what happened: pictures have changed."""
        del item
        self.changed()

    def changed(self) -> None:
        """Have the pictures sent soon."""
        self._changed.set()

    async def run(self) -> None:
        """Serve until cancelled; then say that the watch has stopped."""
        if self._server is None:
            await self._listen()
        try:
            await self._push_on()
        except asyncio.CancelledError:
            await self._farewell()
            raise
        finally:
            await self.close()

    async def close(self) -> None:
        """Serve nobody any more."""
        server, self._server = self._server, None
        runner, self._runner = self._runner, None
        if server is not None:
            server.close()
        if runner is not None:
            await runner.cleanup()

    def role_of(self, request: web.Request) -> str | None:
        """Return whose key came with a request."""
        key = request.cookies.get(self._cookie)
        return None if key is None else self._keys.role_of(key)

    async def _listen(self) -> None:
        app = web.Application(middlewares=[self._guard.check], client_max_size=MAX_ORDER_BYTES)
        app.on_response_prepare.append(finish)
        app.add_routes(
            [
                web.get("/", self._index),
                web.get("/static/{name:.+}", self._static),
                web.get("/pictures", self._pictures, allow_head=False),
                web.post("/orders", self._orders),
                *(route for routes in self._routes for route in routes(self.role_of)),
            ]
        )
        runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.1)
        await runner.setup()
        try:
            loop, crowd, manager = asyncio.get_running_loop(), Crowd(), runner.server
            assert manager is not None
            self._server = await loop.create_server(
                lambda: Connection(manager, crowd, loop), self._place.host, self._place.port, backlog=128
            )
        except BaseException:
            await runner.cleanup()
            raise
        self._runner = runner

    async def _push_on(self) -> None:
        loop = asyncio.get_running_loop()
        due_s = loop.time()
        while True:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout_at(due_s + EVERY_S):
                    await self._changed.wait()
            await asyncio.sleep(due_s - loop.time())
            self._changed.clear()
            began_s = loop.time()
            if len(self.streams):
                self._push()
            else:
                self.streams.newest = None
            took_s = loop.time() - began_s
            due_s = began_s + min(max(GAP_S, took_s / SHARE), LONGEST_GAP_S)

    def _push(self, *, stopped: bool = False) -> None:
        """Make the pictures once, for everybody."""
        began_s = asyncio.get_running_loop().time()
        pictures = [*self._scene.pictures()]
        if stopped:
            pictures = [one.model_copy(update={"state": "stopped"}) for one in pictures]
        self.streams.put(b"event: picture\ndata: " + _PICTURES.dump_json(pictures) + b"\n\n")
        took_s = asyncio.get_running_loop().time() - began_s
        self.pushes += 1
        self.spent_s += took_s
        self.longest_s = max(self.longest_s, took_s)

    async def _farewell(self) -> None:
        if len(self.streams):
            with contextlib.suppress(Exception):  # it ends in any case
                self._push(stopped=True)
                await self.streams.sent(FAREWELL_S)

    async def _index(self, request: web.Request) -> web.StreamResponse:
        key = request.query.get("key")
        if key is None:
            return self._asset(request, INDEX)
        if self._keys.role_of(key) is None:
            raise web.HTTPForbidden(
                text="This key is not known here: scan the code anew. Without a key, open the address alone.\n"
            )
        found = web.Response(status=303, headers={"Location": "/"})
        found.set_cookie(self._cookie, key, max_age=COOKIE_S, httponly=True, samesite="Strict", path="/")
        return found

    async def _static(self, request: web.Request) -> web.StreamResponse:
        return self._asset(request, request.match_info["name"])

    def _asset(self, request: web.Request, name: str) -> web.StreamResponse:
        asset = self._assets.get(name)
        if asset is None:
            raise web.HTTPNotFound(text="There is nothing here.\n")
        headers = {"Cache-Control": "no-cache", "ETag": asset.tag}
        if request.headers.get("If-None-Match") == asset.tag:
            return web.Response(status=304, headers=headers)
        return web.Response(body=asset.body, headers={**headers, "Content-Type": asset.kind})

    async def _pictures(self, request: web.Request) -> web.StreamResponse:
        role = self.role_of(request)
        told = json.dumps({"role": role, "can": [] if role is None else MAY[role]})
        if not len(self.streams):
            self.streams.newest = None  # of long ago
        self.changed()
        first = f"retry: 1000\nevent: role\ndata: {told}\n\n".encode()
        return await self.streams.serve(request, first, keyed=role is not None)

    async def _orders(self, request: web.Request) -> web.StreamResponse:
        role = self.role_of(request)
        if role is None:
            return _answer("no key: this page only shows", 403)
        if request.content_type != "application/json":
            return _answer("not application/json", 415)
        try:
            async with asyncio.timeout(BODY_WITHIN_S):
                body = await request.read()
        except web.HTTPRequestEntityTooLarge:
            return _answer(f"longer than {MAX_ORDER_BYTES} bytes", 413)
        except TimeoutError:
            return _answer("it came too slowly", 408)
        asked, reason = read_order(body)
        if asked is None:
            return _answer(reason, 400)
        if asked.action not in MAY[role]:
            return _answer(f"not for the {role} to do", 403)
        if not self._rates[role].lets(self._clock()):
            return _answer("too many orders", 429)
        order = asked.for_engine(role, afar=not from_here(request))
        try:
            reason = await self._carry_out(asked.station, order)
        except Exception:  # noqa: BLE001  (an order from outside must not end the outlet)
            structlog.get_logger().exception("order failed", action=order.action, rule=order.rule)
            reason = "it could not be carried out"
        return _answer(reason)


def _answer(reason: str, status: int = 200) -> web.Response:
    return web.json_response({"done": False, "reason": reason} if reason else {"done": True}, status=status)


def from_here(request: web.Request) -> bool:
    """Whether who asks is at this machine."""
    transport = request.transport
    peer = transport.get_extra_info("peername") if transport is not None else None
    own = transport.get_extra_info("sockname") if transport is not None else None
    if not peer or not own:
        return False
    return is_local(str(peer[0])) or same_host(str(peer[0]), str(own[0]))


def _why(error: OSError) -> str:
    if isinstance(error, OSError) and error.errno == errno.EADDRNOTAVAIL:
        return "this machine has no such address"
    if error.errno in (errno.EACCES, errno.EPERM):
        return "not permitted"
    text = error.strerror or str(error)
    return text[:1].lower() + text[1:]
