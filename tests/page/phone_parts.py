"""A phone's page for tests: the routes of the sound behind a small server, and a browser that listens there."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable

from aiohttp import web

from tests.conftest import ROOT
from tests.edges.test_voice import Ear
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.page.phone import Phone
from watchkeeper.page.sound_routes import sound_routes

PAGE = """<!doctype html><html lang="en"><title>phone</title><button id="go">Listen</button><p id="state">off</p>
<script type="module" src="/go.js"></script>"""
GO = """import { listening } from "/static/listen.js";
window.states = ["off"];
const shown = document.querySelector("#state");
window.ear = listening({ onState(state) { window.states.push(state); shown.textContent = state; } });
document.querySelector("#go").addEventListener("click", () => window.ear.start());
"""
POLICY = "default-src 'self'; media-src 'self' blob:"


class PhoneServer:
    """The routes, and a page with one button; `?key=` names the role outright."""

    def __init__(self, phone: Phone, *, port: int = 0, page: str = PAGE, script: str = GO) -> None:
        self.phone = phone
        self.port = port
        self.heard: list[str] = []
        self.asked = 0
        self._texts = {"/": (page, "text/html"), "/go.js": (script, "text/javascript")}
        script_file = ROOT / "watchkeeper" / "page" / "static" / "listen.js"
        self._texts["/static/listen.js"] = (script_file.read_text("utf-8"), "text/javascript")

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    async def _text(self, request: web.Request) -> web.Response:
        text, kind = self._texts[request.path]
        answer = web.Response(text=text, content_type=kind, headers={"Content-Security-Policy": POLICY})
        if "key" in request.query:
            answer.set_cookie("role", request.query["key"])
        return answer

    @staticmethod
    def role_of(request: web.Request) -> str | None:
        return request.cookies.get("role") or request.query.get("key")

    @web.middleware
    async def _note(
        self, request: web.Request, handler: Callable[[web.Request], Awaitable[web.StreamResponse]]
    ) -> web.StreamResponse:
        if request.path == "/heard":
            self.heard.append(await request.text())
        self.asked += request.path == "/audio"
        return await handler(request)

    @contextlib.asynccontextmanager
    async def serving(self) -> AsyncIterator[PhoneServer]:
        app = web.Application(middlewares=[self._note])
        app.add_routes([web.get(path, self._text) for path in self._texts])
        app.add_routes(sound_routes(self.phone)(self.role_of))
        runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.1)
        await runner.setup()
        site = web.TCPSite(runner, "127.0.0.1", self.port, reuse_address=True)
        await site.start()
        self.port = runner.addresses[0][1]
        try:
            yield self
        finally:
            await runner.cleanup()


@contextlib.asynccontextmanager
async def running(phone: Phone) -> AsyncIterator[Phone]:
    task = asyncio.create_task(phone.run())
    try:
        yield phone
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


def a_phone(ear: Ear, **more: object) -> Phone:
    return Phone(ear.report, ear.delivered, VoiceOptions(), **more)  # type: ignore[arg-type]
