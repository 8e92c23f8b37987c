"""What may go wrong with the page's server and its keys, and who hears of it."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import socket
import stat
import time
from collections.abc import AsyncIterator
from pathlib import Path

import aiohttp
import pytest
from aiohttp.test_utils import make_mocked_request

from tests.page.page_parts import STATION, Orders, Scene
from watchkeeper.alerts.events import (
    AlertChange,
    Change,
    Happening,
    Level,
    Order,
    Preparation,
    Refusal,
    State,
    Step,
)
from watchkeeper.edges.configuration import read_configuration, settle
from watchkeeper.edges.outlets import Hub
from watchkeeper.edges.place import Place
from watchkeeper.errors import BadInputError
from watchkeeper.page.assets import load_assets
from watchkeeper.page.guard import Guard
from watchkeeper.page.keys import Keys, keys_file, load_keys, new_keys
from watchkeeper.page.orders import NOTHING, orders_of, outcome
from watchkeeper.page.server import PageServer, from_here

PATIENCE_S = 20.0
POSIX = pytest.mark.skipif(os.name != "posix", reason="modes of files")


class Reports:
    """What parts report."""

    def __init__(self) -> None:
        self.said: asyncio.Queue[tuple[str, bool, str]] = asyncio.Queue()

    def __call__(self, part: str, ok: bool, text: str) -> None:
        self.said.put_nowait((part, ok, text))

    async def next(self) -> tuple[str, bool, str]:
        async with asyncio.timeout(PATIENCE_S):
            return await self.said.get()


@contextlib.asynccontextmanager
async def in_a_hub(scene: Scene, port: int) -> AsyncIterator[tuple[PageServer, Hub, Reports]]:
    reports = Reports()
    hub = Hub(None, reports, first_pause_s=0.05, sound_after_s=0.3)
    server = PageServer(
        Place("127.0.0.1", port), scene, Orders(), new_keys(), load_assets(), lambda: time.monotonic_ns() // 1000,
        station=STATION,
    )  # fmt: skip
    hub.add(server)
    await server.open()
    running = asyncio.create_task(hub.run())
    try:
        yield server, hub, reports
    finally:
        running.cancel()
        await asyncio.wait([running])


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def change() -> AlertChange:
    return AlertChange(1, 1, 42, "link-lost", Level.WARNING, Change.RAISED, State.UNACKNOWLEDGED, "Words.", "x")


async def test_a_picture_that_cannot_be_made_is_told_and_the_page_comes_back() -> None:
    scene = Scene()
    port = free_port()
    async with (
        in_a_hub(scene, port) as (_, hub, reports),
        aiohttp.ClientSession(f"http://127.0.0.1:{port}") as client,
    ):
        async with client.get("/pictures") as stream:
            assert await stream.content.readuntil(b"\n\n")
            scene.fails = True
            hub.hand([change()])
            assert await reports.next() == ("page", False, "Page failed. Look at another outlet.")
            with contextlib.suppress(aiohttp.ClientError):
                async with asyncio.timeout(PATIENCE_S):  # who looks on is cut off, and so knows
                    await stream.content.read()
        scene.fails = False
        assert await reports.next() == ("page", True, "page works again")
        async with client.get("/") as page:
            assert page.status == 200


async def test_a_port_taken_while_the_page_was_down_is_told_until_it_is_free() -> None:
    scene = Scene()
    port = free_port()
    async with in_a_hub(scene, port) as (server, _, reports):
        with socket.socket() as thief:
            thief.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            scene.fails = True
            async with aiohttp.ClientSession(f"http://127.0.0.1:{port}") as client:
                with contextlib.suppress(aiohttp.ClientError):
                    async with client.get("/pictures") as stream:
                        await stream.content.read()
            scene.fails = False
            thief.bind(("127.0.0.1", port))
            thief.listen()
            assert (await reports.next())[:2] == ("page", False)
            assert (await reports.next())[:2] == ("page", False)
            assert server.port == 0
        while (said := await reports.next())[1] is False:
            pass
        assert said == ("page", True, "page works again")
        assert server.port == port


async def test_open_says_in_words_what_is_wrong() -> None:
    async with in_a_hub(Scene(), free_port()) as (server, _, _):
        other = PageServer(
            Place("127.0.0.1", server.port),
            Scene(),
            Orders(),
            new_keys(),
            load_assets(),
            lambda: 0,
            station=STATION,
        )
        with pytest.raises(BadInputError, match=r"^--page: 127.0.0.1:\d+ is in use; "):
            await other.open()


def test_keys_are_kept_and_only_for_their_owner(tmp_path: Path) -> None:
    file = keys_file(tmp_path / "state", STATION)
    keys, trouble = load_keys(file)
    assert trouble == ""
    assert load_keys(file) == (keys, "")
    # 32 bytes at least: OWASP asks for 16 of a session's id ("Session Management Cheat Sheet")
    assert all(len(key) >= 43 for key in keys.by_role.values())
    assert new_keys() != new_keys()
    assert all(key not in repr(keys) for key in keys.by_role.values())


@POSIX
def test_keys_that_others_could_read_are_closed_to_them(tmp_path: Path) -> None:
    file = keys_file(tmp_path, STATION)
    load_keys(file)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    file.chmod(0o644)
    load_keys(file)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


@pytest.mark.parametrize(
    "content",
    [
        b"", b"{}", b"[]", b"\xff", b"x" * 10_000, b"[" * 3000, b'{"format": 2}',
        json.dumps({"format": 1, "pilot": "a" * 43, "observer": "a" * 43, "post": "a" * 43}).encode(),
        json.dumps({"format": 1, "pilot": "a" * 43, "observer": "b" * 43}).encode(),
        json.dumps({"format": 1, "pilot": "a", "observer": "b" * 43, "post": "c" * 43}).encode(),
        json.dumps({"format": 1, "pilot": 7, "observer": "b" * 43, "post": "c" * 43}).encode(),
    ],
)  # fmt: skip
def test_damaged_keys_are_made_anew_and_told(content: bytes, tmp_path: Path) -> None:
    file = keys_file(tmp_path, STATION)
    file.write_bytes(content)
    keys, trouble = load_keys(file)
    assert "new keys" in trouble
    assert len(set(keys.by_role.values())) == 3
    assert load_keys(file) == (keys, "")


def test_keys_that_cannot_be_kept_hold_for_this_run_and_that_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    keys, trouble = load_keys(keys_file(tmp_path / "file", STATION))
    assert "until the watch ends" in trouble
    assert keys.role_of(keys.by_role["post"]) == "post"


def test_a_station_of_any_name_has_a_file_of_its_own(tmp_path: Path) -> None:
    names = ["a", "A b", "../up", "ü" * 64, "ü" * 63, "con:\\", "."]
    files = {keys_file(tmp_path, name) for name in names}
    assert len(files) == len(names)
    assert all(file.parent == tmp_path and len(file.name.encode()) < 255 for file in files)


def test_only_the_whole_key_counts() -> None:
    keys = Keys({"pilot": "a" * 43, "observer": "b" * 43, "post": "ü"})
    assert keys.role_of("a" * 43) == "pilot"
    for wrong in ("", "a" * 42, "a" * 44, "A" * 43, "\ud800"):
        assert keys.role_of(wrong) is None


@pytest.mark.parametrize(
    ("peer", "own", "here"),
    [
        (("127.0.0.1", 5), ("127.0.0.1", 80), True),
        (("::1", 5, 0, 0), ("::1", 80, 0, 0), True),
        (("::ffff:127.0.0.1", 5, 0, 0), ("::ffff:127.0.0.1", 80, 0, 0), True),
        (("192.0.2.7", 5), ("192.0.2.7", 80), True),  # a browser of this machine that used its outer address
        (("192.0.2.8", 5), ("192.0.2.7", 80), False),
        (("2001:db8::8", 5, 0, 0), ("2001:db8::7", 80, 0, 0), False),
        (None, None, False),
    ],
)
def test_orders_of_another_machine_come_from_afar(peer: object, own: object, here: bool) -> None:
    class Transport:
        def get_extra_info(self, name: str) -> object:
            return {"peername": peer, "sockname": own}.get(name)

    request = make_mocked_request("POST", "/orders", transport=Transport())
    assert from_here(request) is here


def test_what_became_of_an_order() -> None:
    asked = Order("acknowledge", "link-lost", 42, "pilot")
    refused = Refusal(1, 1, 42, "link-lost", "acknowledge", "nothing to acknowledge", "pilot")
    done = AlertChange(
        1, 1, 42, "link-lost", Level.WARNING, Change.ACKNOWLEDGED, State.ACKNOWLEDGED, "Words.", "x", by="pilot"
    )
    assert outcome(asked, [refused]) == "nothing to acknowledge"
    assert outcome(asked, [done]) == ""
    assert outcome(asked, [change()]) == NOTHING
    every = Order("acknowledge", role="pilot")
    assert outcome(every, [done]) == ""
    assert outcome(every, []) == NOTHING
    check = Order("check", aircraft=42, role="pilot", text="latches")
    assert outcome(check, [Preparation(1, 1, 42, Step.CHECKED, "pilot", item="latches")]) == ""
    assert outcome(check, [Preparation(1, 1, 42, Step.CHECKED, "pilot", item="others")]) == NOTHING


async def test_orders_for_another_station_are_not_given_here() -> None:
    given: list[Order] = []

    def give(order: Order) -> list[Happening]:
        given.append(order)
        return []

    assert await orders_of("ridge", give)("valley", Order("acknowledge")) == "no such station here"
    assert given == []


def test_the_page_may_stand_in_the_configuration(tmp_path: Path) -> None:
    file = tmp_path / "watch.toml"
    file.write_text('page = "127.0.0.1:8080"\npage-names = ["ridge.camp.example"]\n')
    options = settle({"page": None}, read_configuration(file))
    assert (options.page, options.page_names) == ("127.0.0.1:8080", ["ridge.camp.example"])
    assert settle({"page": "127.0.0.1:8081"}, read_configuration(file)).page == "127.0.0.1:8081"
    transport = type(
        "T", (), {"get_extra_info": lambda _, name: ("127.0.0.1", 80) if name == "sockname" else None}
    )()
    guard = Guard(options.page_names)
    for name, known in (("ridge.camp.example:80", True), ("Ridge.camp.example.", True), ("camp.example", False)):
        assert guard.knows(make_mocked_request("GET", "/", headers={"Host": name}, transport=transport)) is known
