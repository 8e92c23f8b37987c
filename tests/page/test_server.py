"""The page's server, asked by a real client over a real socket."""

from __future__ import annotations

import asyncio
import json
from http.cookies import SimpleCookie
from pathlib import Path

import aiohttp
import pytest
from aiohttp import web

from tests.page.page_parts import COOKIE, STATION, events, serving
from watchkeeper.page.server import RoleOf

PATIENCE_S = 20.0
ACKNOWLEDGE = {"action": "acknowledge", "station": STATION, "aircraft": 7, "rule": "link-lost"}


async def test_everybody_may_read_the_page_and_its_files_and_nothing_else(tmp_path: Path) -> None:
    (tmp_path / "index.html").write_text("<!doctype html><title>x</title>")
    (tmp_path / "js").mkdir()
    (tmp_path / "js" / "page.js").write_text("export const a = 1;")
    (tmp_path / "notes.secret").write_text("no")
    async with serving(assets=tmp_path) as served, aiohttp.ClientSession(served.url) as client:
        async with client.get("/") as page:
            assert (page.status, page.content_type) == (200, "text/html")
            policy = page.headers["Content-Security-Policy"]
            assert "default-src 'self'" in policy
            assert "media-src 'self' blob:" in policy
            assert "unsafe" not in policy
            assert page.headers["X-Content-Type-Options"] == "nosniff"
            assert page.headers["Referrer-Policy"] == "no-referrer"
            assert "Server" not in page.headers
        async with client.get("/static/js/page.js") as script:
            # RFC 9239 section 6: text/javascript
            assert (script.status, script.content_type) == (200, "text/javascript")
            tag = script.headers["ETag"]
        async with client.get("/static/js/page.js", headers={"If-None-Match": tag}) as again:
            assert again.status == 304
        for name in (
            "notes.secret",
            "js",
            "",
            "../server.py",
            "js/../../server.py",
            "..%2Fserver.py",
            "/etc/passwd",
        ):
            async with client.get(f"/static/{name}") as nothing:
                assert nothing.status == 404, name


async def test_the_role_comes_first_then_a_picture_at_once_and_one_every_second() -> None:
    async with serving() as served, aiohttp.ClientSession(served.url) as client:
        began_s = asyncio.get_running_loop().time()
        async with asyncio.timeout(PATIENCE_S), client.get("/pictures") as stream:
            assert stream.content_type == "text/event-stream"
            assert stream.headers["Cache-Control"] == "no-store"
            found = events(stream)
            assert await anext(found) == ("role", {"role": None, "can": []})
            pictures = [await anext(found) for _ in range(3)]
        took_s = asyncio.get_running_loop().time() - began_s
    assert [name for name, _ in pictures] == ["picture"] * 3
    assert all(data[0]["station"] == STATION for _, data in pictures)
    assert took_s >= 2 * 0.9  # two more, a second apart


async def test_a_key_becomes_a_cookie_and_the_cookie_a_role() -> None:
    async with serving() as served, aiohttp.ClientSession(served.url) as client:
        for role in ("pilot", "observer", "post"):
            key = served.keys.by_role[role]
            async with client.get("/", params={"key": key}, allow_redirects=False) as found:
                assert (found.status, found.headers["Location"]) == (303, "/")
                cookie = SimpleCookie(found.headers["Set-Cookie"])[COOKIE]
                assert cookie.value == key
                assert cookie["httponly"]
                assert cookie["samesite"] == "Strict"
            async with (
                asyncio.timeout(PATIENCE_S),
                client.get("/pictures", cookies=served.cookies(role)) as stream,
            ):
                name, told = await anext(events(stream))
                assert (name, told["role"]) == ("role", role)
                assert ("sighted" in told["can"]) is (role == "observer")
        async with client.get("/", params={"key": "guessed"}, allow_redirects=False) as refused:
            assert refused.status == 403
            assert "Set-Cookie" not in refused.headers


async def test_an_order_carries_the_role_of_its_key() -> None:
    async with serving() as served, aiohttp.ClientSession(served.url) as client:
        for role in ("pilot", "observer", "post"):
            async with client.post("/orders", json=ACKNOWLEDGE, cookies=served.cookies(role)) as answer:
                assert (answer.status, await answer.json()) == (200, {"done": True})
        sighted = {"action": "sighted", "station": STATION, "aircraft": None, "rule": None, "text": "people"}
        async with client.post("/orders", json=sighted, cookies=served.cookies("observer")) as answer:
            assert await answer.json() == {"done": True}
        served.orders.reason = "nothing to acknowledge"
        async with client.post("/orders", json=ACKNOWLEDGE, cookies=served.cookies("pilot")) as answer:
            assert (answer.status, await answer.json()) == (
                200,
                {"done": False, "reason": "nothing to acknowledge"},
            )
    taken = [(station, one.action, one.role, one.by, one.afar) for station, one in served.orders.taken[:4]]
    assert taken == [
        (STATION, "acknowledge", "pilot", "page", False),
        (STATION, "acknowledge", "observer", "page", False),
        (STATION, "acknowledge", "post", "page", False),
        (STATION, "sighted", "observer", "page", False),
    ]
    assert served.orders.taken[3][1].text == "people"


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        (b"{", {}, 400),
        (b"[]", {}, 400),
        (b"\xff\xfe", {}, 400),
        (json.dumps({**ACKNOWLEDGE, "role": "pilot"}).encode(), {}, 400),
        (json.dumps({**ACKNOWLEDGE, "aircraft": "7"}).encode(), {}, 400),
        (json.dumps({**ACKNOWLEDGE, "action": "fly"}).encode(), {}, 400),
        (json.dumps({**ACKNOWLEDGE, "minutes": 1e9}).encode(), {}, 400),
        (json.dumps({**ACKNOWLEDGE, "rule": "a\nb"}).encode(), {}, 400),
        (json.dumps({**ACKNOWLEDGE, "action": "check"}).encode(), {}, 400),
        (json.dumps(ACKNOWLEDGE).encode() + b" " * 3000, {}, 413),
        (json.dumps(ACKNOWLEDGE).encode(), {"Content-Type": "text/plain"}, 415),
        (json.dumps(ACKNOWLEDGE).encode(), {"Content-Type": "application/x-www-form-urlencoded"}, 415),
        (json.dumps(ACKNOWLEDGE).encode(), {"Origin": "http://elsewhere.example"}, 403),
        (json.dumps(ACKNOWLEDGE).encode(), {"Origin": "null"}, 403),
        (json.dumps(ACKNOWLEDGE).encode(), {"Sec-Fetch-Site": "cross-site"}, 403),
        (json.dumps(ACKNOWLEDGE).encode(), {"Host": "elsewhere.example"}, 421),
        (json.dumps(ACKNOWLEDGE).encode(), {"Cookie": f"{COOKIE}=guessed"}, 403),
        (json.dumps(ACKNOWLEDGE).encode(), {"Cookie": ""}, 403),
        (json.dumps({**ACKNOWLEDGE, "action": "sighted", "text": "people"}).encode(), {}, 403),
    ],
)
async def test_what_is_no_order_reaches_nobody(body: bytes, headers: dict[str, str], status: int) -> None:
    async with serving() as served, aiohttp.ClientSession(served.url) as client:
        all_headers = {
            "Content-Type": "application/json",
            "Cookie": f"{COOKIE}={served.keys.by_role['pilot']}",
            **headers,
        }
        async with client.post("/orders", data=body, headers=all_headers) as answer:
            assert answer.status == status, await answer.text()
        assert served.orders.taken == []


async def test_an_order_that_fails_inside_is_answered() -> None:
    async with serving() as served, aiohttp.ClientSession(served.url, cookies=served.cookies("pilot")) as client:
        served.orders.error = RuntimeError("inside")
        async with client.post("/orders", json=ACKNOWLEDGE) as answer:
            assert await answer.json() == {"done": False, "reason": "it could not be carried out"}


async def test_more_orders_than_hands_can_press_are_refused_by_role() -> None:
    async with serving() as served, aiohttp.ClientSession(served.url) as client:
        statuses = []
        for _ in range(40):
            async with client.post("/orders", json=ACKNOWLEDGE, cookies=served.cookies("post")) as answer:
                statuses.append(answer.status)
        assert statuses[:10] == [200] * 10
        assert 429 in statuses
        async with client.post("/orders", json=ACKNOWLEDGE, cookies=served.cookies("pilot")) as answer:
            assert answer.status == 200


async def test_other_parts_add_routes_that_stand_behind_the_same_guard() -> None:
    def routes(role_of: RoleOf) -> list[web.AbstractRouteDef]:
        async def heard(request: web.Request) -> web.Response:
            return web.json_response({"role": role_of(request)})

        return [web.post("/heard", heard)]

    async with serving(routes=[routes]) as served, aiohttp.ClientSession(served.url) as client:
        async with client.post("/heard", cookies=served.cookies("observer")) as answer:
            assert await answer.json() == {"role": "observer"}
        async with client.post("/heard", headers={"Origin": "http://elsewhere.example"}) as answer:
            assert answer.status == 403
