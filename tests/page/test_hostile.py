"""Clients that mean harm, or do not know better, cost nobody else anything."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import socket
import tracemalloc
from collections.abc import Iterator

import aiohttp
import pytest
from aiohttp import web

from tests.page.page_parts import COOKIE, Scene, Served, events, serving
from watchkeeper.page import connections
from watchkeeper.page.stream import MAX_STREAMS, MAX_WITHOUT_KEY, Streams

PATIENCE_S = 30.0
LATEST_S = 0.3
"""An alert is on the page within 300 ms (the contract of the routes)."""


@contextlib.contextmanager
def raw(served: Served) -> Iterator[socket.socket]:
    with socket.create_connection(("127.0.0.1", served.port), timeout=PATIENCE_S) as one:
        yield one


def head(served: Served, *lines: str, method: str = "GET", path: str = "/pictures") -> bytes:
    first = [f"{method} {path} HTTP/1.1", f"Host: 127.0.0.1:{served.port}", *lines]
    return ("\r\n".join(first) + "\r\n\r\n").encode()


async def answer_to(served: Served, data: bytes) -> bytes:
    """Return what comes back until the server closes the connection."""
    reader, writer = await asyncio.open_connection("127.0.0.1", served.port)
    try:
        async with asyncio.timeout(PATIENCE_S):
            with contextlib.suppress(ConnectionError):
                writer.write(data)
                await writer.drain()
            found = b""
            with contextlib.suppress(ConnectionError):
                while part := await reader.read(65536):
                    found += part
            return found
    finally:
        writer.close()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()


async def works(served: Served) -> None:
    """Check that others are still served."""
    async with aiohttp.ClientSession(served.url) as client, client.get("/") as page:
        assert page.status == 200


@pytest.mark.parametrize(
    "data",
    [
        b"\x00\x01\x02\x03\r\n\r\n",
        b"GET\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(200) + b"\r\n\r\n",  # a TLS client hello, about
        b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + b"b" * 100_000 + b"\r\n\r\n",
        b"GET / HTTP/1.1\r\n" + b"".join(b"X-%d: 1\r\n" % n for n in range(20_000)) + b"\r\n",
        b"POST /orders HTTP/1.1\r\nHost: localhost\r\nContent-Length: -5\r\n\r\n",
        b"POST /orders HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0",
        b"POST /orders HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"CONNECT elsewhere.example:443 HTTP/1.1\r\nHost: elsewhere.example\r\nConnection: close\r\n\r\n",
    ],
)
async def test_rubbish_is_answered_shortly_or_not_at_all(
    data: bytes, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connections, "IDLE_S", 0.3)
    async with serving() as served:
        found = await answer_to(served, data)
        assert not found or found.split(b"\r\n")[0].split()[1][:1] == b"4", found[:200]
        assert len(found) < 2000
        await works(served)
        assert served.orders.taken == []
    assert "Traceback" not in caplog.text


async def test_pipelined_requests_behind_a_stream_are_bounded() -> None:
    """A stream never ends, so requests behind it are never answered; they must not pile up."""
    async with serving() as served:
        reader, writer = await asyncio.open_connection("127.0.0.1", served.port)
        writer.write(head(served))
        async with asyncio.timeout(PATIENCE_S):
            await reader.readuntil(b"event: role")
        sent = 0
        many = head(served, path="/") * 100
        with contextlib.suppress(ConnectionError, TimeoutError):  # it is cut off, or not read any more
            async with asyncio.timeout(5.0):
                while sent < 50_000_000:
                    writer.write(many)
                    sent += len(many)
                    await writer.drain()
        assert sent < 5_000_000
        writer.close()
        await works(served)


async def test_a_head_that_never_ends_is_cut_off_and_so_is_a_body(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "IDLE_S", 0.2)
    monkeypatch.setattr("watchkeeper.page.server.BODY_WITHIN_S", 0.2)
    async with serving() as served:
        assert await answer_to(served, b"GET / HTTP/1.1\r\nHost: ") == b""
        assert await answer_to(served, b"") == b""
        cookie = f"Cookie: {COOKIE}={served.keys.by_role['pilot']}"
        slow = head(
            served, cookie, "Content-Type: application/json", "Content-Length: 50", method="POST", path="/orders"
        )
        found = await answer_to(served, slow + b'{"action"')
        assert found.startswith(b"HTTP/1.1 408 ")
        assert served.orders.taken == []


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1", 200),
        ("127.0.0.1:{port}", 200),
        ("localhost:{port}", 200),
        ("LOCALHOST", 200),
        (socket.gethostname(), 200),
        ("rebound.example", 421),
        ("127.0.0.1.rebound.example", 421),
        ("192.0.2.7", 421),  # RFC 5737
        ("localhost@rebound.example", 421),
        ("rebound.example#@127.0.0.1", 421),
        ("[::1", 421),
        ("", 421),
    ],
)
async def test_only_who_asks_for_this_host_is_answered(host: str, status: int) -> None:
    """DNS rebinding: a page of a foreign name that is led to this address."""
    async with serving() as served, aiohttp.ClientSession(served.url) as client:
        headers = {"Host": host.format(port=served.port)}
        for path in ("/", "/pictures"):
            async with client.get(path, headers=headers) as answer:
                assert answer.status == status


async def test_ipv6() -> None:
    async with serving(host="::1") as served, aiohttp.ClientSession(f"http://[::1]:{served.port}") as client:
        async with client.get("/") as page:
            assert page.status == 200
        async with client.get("/", headers={"Host": "[2001:db8::1]"}) as refused:  # RFC 3849
            assert refused.status == 421


async def test_a_reader_that_never_reads_costs_nobody_anything() -> None:
    """It gets a few pictures into the system's buffers, then none; others get every change in time."""
    scene = Scene(padding=200_000)
    loop = asyncio.get_running_loop()
    async with (
        serving(scene=scene, streams=Streams(stalled_s=2.0)) as served,
        contextlib.AsyncExitStack() as stack,
    ):
        silent = []
        for _ in range(5):
            one = stack.enter_context(raw(served))
            one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            one.sendall(head(served))
            silent.append(one)
        client = await stack.enter_async_context(aiohttp.ClientSession(served.url, read_bufsize=2**22))
        stream = await stack.enter_async_context(client.get("/pictures"))
        found = events(stream)
        await anext(found)
        await anext(found)
        gc.collect()
        tracemalloc.start()
        late_s = []
        dropped_at = None
        for n in range(40):
            scene.callouts = [f"Caution {n}."]
            changed_s = loop.time()
            served.server.changed()
            async for _, data in found:
                if data[0]["alerts"][0]["callout"] == f"Caution {n}.":
                    break
            late_s.append(loop.time() - changed_s)
            if dropped_at is None and served.server.streams.dropped == 5:
                dropped_at = n
        kept_bytes, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        async with asyncio.timeout(PATIENCE_S):
            while len(served.server.streams) > 1:
                await anext(found)
        assert served.server.streams.dropped == 5
        assert sorted(late_s)[len(late_s) // 2] < LATEST_S
        # 40 pictures of 200 kB for 5 readers would be 40 MB
        assert kept_bytes < 8_000_000
        for one in silent:  # cut off, after a part of a stream
            got = 0
            with contextlib.suppress(ConnectionError):
                while part := await asyncio.to_thread(one.recv, 1 << 20):
                    got += len(part)
            assert got < 3_000_000


async def test_a_slow_reader_gets_the_newest_picture_not_all() -> None:
    scene = Scene(padding=300_000)
    async with serving(scene=scene) as served:
        reader, writer = await asyncio.open_connection("127.0.0.1", served.port, limit=2**14)
        writer.write(head(served))
        await reader.readuntil(b"event: role")
        async with asyncio.timeout(PATIENCE_S):
            while served.server.pushes < 20:  # 20 pictures of 300 kB, of which it takes none
                served.server.changed()
                await asyncio.sleep(0)
            scene.callouts = ["The newest."]
            pushes = served.server.pushes
            while served.server.pushes == pushes:
                served.server.changed()
                await asyncio.sleep(0)
            got = b""
            while b"The newest." not in got:
                got += await reader.read(1 << 20)
        assert got.count(b"event: picture") < 8
        writer.close()


async def test_more_readers_than_there_is_room_for_are_told_so_and_the_crew_still_gets_in() -> None:
    async with serving() as served, contextlib.AsyncExitStack() as stack:
        client = await stack.enter_async_context(
            aiohttp.ClientSession(served.url, connector=aiohttp.TCPConnector(limit=0))
        )
        for _ in range(MAX_WITHOUT_KEY):
            stream = await stack.enter_async_context(client.get("/pictures"))
            assert stream.status == 200
        async with client.get("/pictures") as refused:
            assert refused.status == 503
            assert "Too many" in await refused.text()
        for _ in range(MAX_STREAMS - MAX_WITHOUT_KEY):
            stream = await stack.enter_async_context(client.get("/pictures", cookies=served.cookies("pilot")))
            assert stream.status == 200
        async with client.get("/pictures", cookies=served.cookies("pilot")) as refused:
            assert refused.status == 503


async def test_more_connections_than_there_is_room_for_are_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "MAX_CONNECTIONS", 20)
    async with serving() as served:
        with contextlib.ExitStack() as stack:
            held = [stack.enter_context(raw(served)) for _ in range(30)]
            ended = 0
            for one in held[20:]:
                with contextlib.suppress(ConnectionError):
                    ended += await asyncio.to_thread(one.recv, 1) == b""
            assert ended <= 10
            held[0].sendall(head(served, path="/"))
            assert (await asyncio.to_thread(held[0].recv, 12)).startswith(b"HTTP/1.1 200")
        async with asyncio.timeout(PATIENCE_S):
            while True:  # those that left make room
                with contextlib.suppress(aiohttp.ClientError):
                    await works(served)
                    break


async def test_a_fault_inside_a_request_is_told_and_the_others_are_served() -> None:
    def broken(_: object) -> list[web.AbstractRouteDef]:
        async def fault(_: web.Request) -> web.Response:
            raise RuntimeError("inside")

        return [web.get("/fault", fault)]

    async with serving(routes=[broken]) as served, aiohttp.ClientSession(served.url) as client:
        async with client.get("/fault") as answer:
            assert answer.status == 500
            assert "inside" not in await answer.text()
        await works(served)
