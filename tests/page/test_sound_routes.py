"""The routes of the sound behind the page's real server: who may, rubbish, and one who never reads."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator
from typing import Any

import aiohttp
import pytest

from tests.edges.test_voice import Ear
from tests.page.page_parts import COOKIE, Served, serving
from tests.page.phone_parts import a_phone, running
from watchkeeper.page.listeners import MOST_LISTENERS
from watchkeeper.page.phone import Phone
from watchkeeper.page.sound_routes import sound_routes


@contextlib.asynccontextmanager
async def station() -> AsyncIterator[tuple[Phone, Served, aiohttp.ClientSession]]:
    phone = a_phone(Ear())
    async with (
        running(phone),
        serving(routes=[sound_routes(phone)]) as served,
        aiohttp.ClientSession(
            served.url, cookies=served.cookies("observer"), cookie_jar=aiohttp.CookieJar(unsafe=True)
        ) as session,
    ):
        yield phone, served, session


async def test_a_phone_gets_mpeg_audio_without_end_and_its_word_counts() -> None:
    async with station() as (phone, _, session), session.get("/audio") as stream:
        assert (stream.status, stream.content_type) == (200, "audio/mpeg")
        assert stream.headers["Cache-Control"] == "no-store"
        heard = await asyncio.wait_for(stream.content.readexactly(3000), 30)
        assert heard[:2] == b"\xff\xf3"  # ISO/IEC 13818-3: sync, layer III, no check sum
        async with session.post("/heard", json={"at_s": 1.5}) as answer:
            assert (answer.status, await answer.json()) == (200, {"hears": True})
        assert phone.hearing.by_role()["observer"] is True
        async with session.post("/heard", json={"at_s": 1.5, "stopped": True}) as answer:
            assert await answer.json() == {"hears": False}
        assert phone.hearing.by_role()["observer"] is None


async def test_without_a_key_nothing_is_heard() -> None:
    async with station() as (phone, served, _), aiohttp.ClientSession(served.url) as stranger:
        for cookies in ({}, {COOKIE: "x" * 43}):
            async with stranger.get("/audio", cookies=cookies) as answer:
                assert answer.status == 403
            async with stranger.post("/heard", json={"at_s": 1.0}, cookies=cookies) as answer:
                assert answer.status == 403
        assert len(phone.stream.listeners) == 0


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"data": b'{"at_s": 1}', "headers": {"Content-Type": "text/plain"}}, 415),
        ({"json": {"at_s": 1.0, "phone": "x" * 600}}, 413),
        ({"data": b"\xff\xfe{", "headers": {"Content-Type": "application/json"}}, 400),
        ({"data": b"[" * 400, "headers": {"Content-Type": "application/json"}}, 400),
        ({"data": b'{"at_s": NaN}', "headers": {"Content-Type": "application/json"}}, 400),
        ({"data": b'{"at_s": 1e400}', "headers": {"Content-Type": "application/json"}}, 400),
        ({"json": []}, 400),
        ({"json": {}}, 400),
        ({"json": {"at_s": -1}}, 400),
        ({"json": {"at_s": True}}, 400),
        ({"json": {"at_s": "1"}}, 400),
        ({"json": {"at_s": 1e9}}, 400),
        ({"json": {"at_s": 1, "role": "pilot"}}, 400),
        ({"json": {"at_s": 1, "stopped": "no"}}, 400),
        ({"json": {"at_s": 1, "phone": ""}}, 400),
        ({"json": {"at_s": 1, "phone": "../x"}}, 400),
        ({"json": {"at_s": 1, "phone": 7}}, 400),
    ],
)
async def test_rubbish_is_refused(body: dict[str, Any], status: int) -> None:
    async with station() as (phone, _, session):
        async with session.post("/heard", **body) as answer:
            assert answer.status == status
        assert phone.hearing.by_role()["observer"] is None


async def test_no_more_than_can_listen() -> None:
    async with station() as (phone, _, session), contextlib.AsyncExitStack() as stack:
        for _ in range(MOST_LISTENERS):
            stream = await stack.enter_async_context(session.get("/audio"))
            assert stream.status == 200
        async with session.get("/audio") as refused:
            assert refused.status == 503
            assert "Retry-After" in refused.headers
        assert len(phone.stream.listeners) == MOST_LISTENERS


async def test_one_who_never_reads_is_let_go_and_others_hear_on() -> None:
    async with station() as (phone, served, session), session.get("/audio") as stream:
        plug = socket.socket()
        plug.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        plug.setblocking(False)
        loop = asyncio.get_running_loop()
        with plug:
            await loop.sock_connect(plug, ("127.0.0.1", served.port))
            cookie = f"{COOKIE}={served.keys.by_role['observer']}"
            asked = f"GET /audio HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nCookie: {cookie}\r\n\r\n"
            await loop.sock_sendall(plug, asked.encode())
            async with asyncio.timeout(60):
                while len(phone.stream.listeners) < 2:
                    await stream.content.read(10_000)
                for _ in range(400):  # minutes of stream, as fast as the other reads it
                    phone.stream.listeners.put(b"\xff" * 20_000, 0.5)
                    got = 0
                    while got < 20_000:
                        got += len(await stream.content.read(20_000))
                    if len(phone.stream.listeners) == 1:
                        break
            [left] = phone.stream.listeners
            assert not left.gone
            assert await asyncio.wait_for(stream.content.readexactly(2000), 30)
            last = b""
            async with asyncio.timeout(30):
                with contextlib.suppress(ConnectionError):
                    while part := await loop.sock_recv(plug, 1_000_000):
                        last = part
            assert not last.endswith(b"0\r\n\r\n")  # cut, not ended: it is to connect anew if it still lives
