"""A phone for tests: the page's real server with the routes of the sound, and a browser that listens there."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Iterable
from typing import Any

from aiohttp import web
from playwright.async_api import Page, async_playwright

from tests.edges.test_voice import Ear
from tests.page.page_parts import COOKIE, Served, serving
from watchkeeper.edges.configuration import Voice as VoiceOptions
from watchkeeper.page.phone import Phone
from watchkeeper.page.sound_routes import sound_routes

PAGE = """<!doctype html><html lang="en"><title>phone</title><button id="go">Listen</button><p id="state">off</p>
<script type="module" src="/ear.js"></script></html>"""
SCRIPT = """import { listening } from "/static/listen.js";
window.states = ["off"];
window.tones = 0;
window.shakes = 0;
const Tone = window.OscillatorNode;
window.OscillatorNode = class extends Tone { constructor(...all) { super(...all); window.tones += 1; } };
navigator.vibrate = () => { window.shakes += 1; return true; };
const shown = document.querySelector("#state");
window.ear = listening({ onState(state) { window.states.push(state); shown.textContent = state; } });
document.querySelector("#go").addEventListener("click", () => window.ear.start());
window.meter = () => {  // tells when the element is first loud, and where it is then
  const element = document.querySelector("audio");
  const context = new AudioContext();
  const analyser = new AnalyserNode(context, { fftSize: 256 });
  context.createMediaStreamSource(element.captureStream()).connect(analyser);
  const samples = new Float32Array(256);
  const timer = setInterval(() => {
    analyser.getFloatTimeDomainData(samples);
    if (!samples.some((one) => Math.abs(one) > 0.03)) return;
    clearInterval(timer);
    window.loud = [performance.timeOrigin + performance.now(), element.currentTime];
    const told = document.createElement("p");
    told.id = "loud";
    told.textContent = "loud";
    document.body.append(told);
  }, 5);
};
"""
ELEMENT = """() => { const e = document.querySelector("audio"); const b = e.buffered;
  return {paused: e.paused, at: e.currentTime, ahead: b.length ? b.end(b.length - 1) - e.currentTime : 0}; }"""


class Gate:
    """The routes of the sound, which can be shut."""

    def __init__(self, phone: Phone) -> None:
        self.phone = phone
        self.open = True
        self.asked = 0

    def routes(self, role_of: Callable[[web.Request], str | None]) -> Iterable[web.AbstractRouteDef]:
        def role(request: web.Request) -> str | None:
            self.asked += request.path == "/audio"
            return role_of(request) if self.open else None

        return [
            *sound_routes(self.phone)(role),
            web.get("/ear", _text(PAGE, "text/html")),
            web.get("/ear.js", _text(SCRIPT, "text/javascript")),
        ]


def _text(text: str, kind: str) -> Callable[[web.Request], Any]:
    async def answer(_request: web.Request) -> web.Response:
        return web.Response(text=text, content_type=kind)

    return answer


@contextlib.asynccontextmanager
async def running(phone: Phone) -> AsyncIterator[Phone]:
    task = asyncio.create_task(phone.run())
    try:
        yield phone
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


def a_phone(ear: Ear, **more: Any) -> Phone:
    return Phone(ear.report, ear.delivered, VoiceOptions(), **more)


@contextlib.asynccontextmanager
async def browsed(gate: Gate, *, before: str = "") -> AsyncIterator[tuple[Page, Served]]:
    """Open the phone's page with the observer's key in a browser. `before` is run ahead of all scripts."""
    async with running(gate.phone), serving(routes=[gate.routes]) as served, async_playwright() as playwright:
        browser = await playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        try:
            page = await browser.new_page()
            await page.context.add_cookies(
                [{"name": COOKIE, "value": served.keys.by_role["observer"], "url": served.url}]
            )
            if before:
                await page.add_init_script(before)
            await page.goto(f"{served.url}/ear")
            yield page, served
        finally:
            await browser.close()
