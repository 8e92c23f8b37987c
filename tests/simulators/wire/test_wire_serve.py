"""Clients at the simulated aircraft over real sockets."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymavlink import mavutil

from simulators.wire.clients import FORGOTTEN_S, MOST_CLIENTS
from simulators.wire.commands import CommandProtocol
from simulators.wire.endpoint import Endpoint
from simulators.wire.missions import MissionProtocol
from simulators.wire.packing import Sender, kind
from simulators.wire.parameters import Parameter, ParameterProtocol, ParameterSet
from simulators.wire.schedule import Schedule
from simulators.wire.serve import Link, ServeUrl, parse_serve_url, serve
from tests.simulators.wire.plain_client import SYSTEM, PlainClient
from watchkeeper.errors import BadInputError

UDP = ServeUrl("udp", "127.0.0.1", 0)
TCP = ServeUrl("tcp", "127.0.0.1", 0)
BEAT = Sender(SYSTEM, 1).frame(kind("HEARTBEAT"), 5, 13, 0, 129, 4, 3)


def aircraft() -> Endpoint:
    sender, schedule = Sender(SYSTEM, 1), Schedule({"HEARTBEAT": 1.0})
    parameters = ParameterSet([Parameter(f"P{i}", i, 0, 100) for i in range(5)])
    return Endpoint(
        sender,
        ParameterProtocol(sender, parameters),
        MissionProtocol(sender),
        CommandProtocol(sender, schedule, {}),
        schedule,
    )


def answering(end: Endpoint) -> Any:
    return lambda data: end.receive(data, 0.0)


class UdpClient(asyncio.DatagramProtocol):
    """A socket of its own, and what came in."""

    def __init__(self) -> None:
        self.arrived: asyncio.Queue[bytes] = asyncio.Queue()
        self.plain = PlainClient()
        self.transport: Any = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self.transport = transport

    def datagram_received(self, data: bytes, addr: tuple[Any, ...]) -> None:  # noqa: ARG002  # asyncio's signature
        self.arrived.put_nowait(data)

    def say(self, data: bytes) -> None:
        self.transport.sendto(data)

    async def hear(self) -> Any:
        """Return the next message."""
        [message] = self.plain.read(await asyncio.wait_for(self.arrived.get(), 10))
        return message

    async def ping(self, number: int = 1) -> int:
        """Send a ping, return the number of the next that is answered."""
        self.say(self.plain.encode("ping", 0, number, 0, 0))
        return int((await self.hear()).seq)


@asynccontextmanager
async def udp_clients(port: int, count: int) -> AsyncIterator[list[UdpClient]]:
    loop = asyncio.get_running_loop()
    clients: list[UdpClient] = []
    for _ in range(count):
        _, client = await loop.create_datagram_endpoint(UdpClient, remote_addr=("127.0.0.1", port))
        clients.append(client)
    try:
        yield clients
    finally:
        for client in clients:
            client.transport.close()
        await asyncio.sleep(0)


async def test_udp_answers_go_to_who_asked_and_telemetry_to_all() -> None:
    async with serve(UDP, answering(aircraft())) as link, udp_clients(link.port, 2) as (one, two):
        assert link.clients == 0
        link.send(BEAT)  # to nobody
        assert await one.ping(5) == 5
        assert await two.ping(6) == 6
        assert link.clients == 2
        link.send(BEAT)
        assert [(await client.hear()).custom_mode for client in (one, two)] == [5, 5]
        assert one.arrived.empty()
        assert two.arrived.empty()


async def test_udp_rubbish_makes_no_client_and_spoils_nobody() -> None:
    end = aircraft()
    async with serve(UDP, answering(end)) as link, udp_clients(link.port, 2) as (good, bad):
        assert await good.ping(1) == 1
        for rubbish in (b"", b"\xfd\xff\x00", b"\xfd" * 1000, bytes(65_000)):
            bad.say(rubbish)
            assert await good.ping(2) == 2
        assert link.clients == 1
        assert await bad.ping(3) == 3  # what came before of it is forgotten
        bad.say(b"\xfd\xff\x00")  # now it is a client, and begins a frame that never ends
        assert await good.ping(4) == 4
        assert end.framer.garbage_bytes == 0


async def test_udp_clients_are_bounded_and_forgotten_after_a_minute() -> None:
    now_s = [0.0]
    async with (
        serve(UDP, answering(aircraft()), clock=lambda: now_s[0]) as link,
        udp_clients(link.port, MOST_CLIENTS + 1) as clients,
    ):
        for client in clients[:MOST_CLIENTS]:
            assert await client.ping() == 1
        late = clients[-1]
        late.say(late.plain.encode("ping", 0, 2, 0, 0))
        now_s[0] = FORGOTTEN_S
        assert await clients[0].ping() == 1  # after it, so the late one was refused before
        assert (link.clients, link.refused) == (MOST_CLIENTS, 1)
        now_s[0] = FORGOTTEN_S + 0.1
        assert link.clients == 1
        assert await late.ping(3) == 3
        link.send(BEAT)
        assert (await clients[0].hear()).get_type() == "HEARTBEAT"
        assert clients[1].arrived.empty()


async def test_a_udp_client_that_has_gone_disturbs_nothing() -> None:
    async with serve(UDP, answering(aircraft())) as link, udp_clients(link.port, 1) as (stays,):
        async with udp_clients(link.port, 1) as (goes,):
            await goes.ping()
        await stays.ping()
        for _ in range(20):
            link.send(BEAT)
            assert (await stays.hear()).get_type() == "HEARTBEAT"


class TcpClient:
    """A connection, read message by message."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader = reader
        self.writer = writer
        self.plain = PlainClient()
        self.waiting: list[Any] = []

    async def hear(self) -> Any:
        """Return the next message, None at the end."""
        while not self.waiting:
            try:
                data = await asyncio.wait_for(self.reader.read(4096), 10)
            except ConnectionResetError:
                data = b""
            if not data:
                return None
            self.waiting.extend(self.plain.read(data))
        return self.waiting.pop(0)

    async def ping(self, number: int) -> int:
        self.writer.write(self.plain.encode("ping", 0, number, 0, 0))
        return int((await self.hear()).seq)


@asynccontextmanager
async def tcp_client(link: Link) -> AsyncIterator[TcpClient]:
    reader, writer = await asyncio.open_connection("127.0.0.1", link.port)
    try:
        yield TcpClient(reader, writer)
    finally:
        writer.close()
        await asyncio.gather(writer.wait_closed(), return_exceptions=True)


async def count_becomes(link: Link, count: int) -> None:
    async with asyncio.timeout(10):
        while link.clients != count:  # noqa: ASYNC110  # nobody tells
            await asyncio.sleep(0)


async def test_tcp_clients_are_answered_each_and_get_telemetry() -> None:
    async with serve(TCP, answering(aircraft())) as link, tcp_client(link) as one:
        async with tcp_client(link) as two:
            frame = one.plain.encode("ping", 0, 7, 0, 0)
            for byte in frame[:-1]:  # a frame in pieces, another client's between them
                one.writer.write(bytes([byte]))
                await one.writer.drain()
            assert await two.ping(8) == 8
            one.writer.write(frame[-1:])
            assert (await one.hear()).seq == 7
            link.send(BEAT)
            assert [(await client.hear()).get_type() for client in (one, two)] == ["HEARTBEAT"] * 2
        await count_becomes(link, 1)
        link.send(BEAT)
        assert (await one.hear()).get_type() == "HEARTBEAT"


async def test_a_tcp_client_that_does_not_read_is_dropped_and_holds_nobody_up() -> None:
    async with serve(TCP, answering(aircraft()), most_unsent=100_000) as link, tcp_client(link) as good:
        assert await good.ping(1) == 1
        with socket.create_connection(("127.0.0.1", link.port)) as slow:
            await count_becomes(link, 2)
            beats = BEAT * 1000
            sent = 0
            while link.clients == 2:
                link.send(beats)
                sent += 1000
                assert sent < 5_000_000
                for _ in range(1000):
                    assert (await good.hear()).get_type() == "HEARTBEAT"
            assert link.dropped == 1
            assert await good.ping(2) == 2
            assert slow.fileno() >= 0


async def test_tcp_clients_are_bounded() -> None:
    async with serve(TCP, answering(aircraft())) as link:
        sockets = [socket.create_connection(("127.0.0.1", link.port)) for _ in range(MOST_CLIENTS)]
        try:
            await count_becomes(link, MOST_CLIENTS)
            async with tcp_client(link) as late:
                assert await late.hear() is None
            assert (link.clients, link.refused) == (MOST_CLIENTS, 1)
        finally:
            for one in sockets:
                one.close()
        await count_becomes(link, 0)


@pytest.mark.parametrize("where", [UDP, TCP])
async def test_a_port_in_use_is_told_in_one_line_and_free_again_afterwards(where: ServeUrl) -> None:
    async with serve(where, answering(aircraft())) as link:
        url = f"{where.scheme}://127.0.0.1:{link.port}"
        with pytest.raises(BadInputError, match=f"port {link.port} is in use") as told:
            async with serve(url, answering(aircraft())):
                pass
        assert len(str(told.value).splitlines()) == 1
    async with serve(url, answering(aircraft())) as again:
        assert again.port == link.port


async def test_an_address_of_another_machine_cannot_be_had() -> None:
    with pytest.raises(BadInputError, match="cannot serve at"):  # RFC 5737: nobody's
        async with serve("udp://192.0.2.7:14580", answering(aircraft()), beyond=True):
            pass
    for name in ("." * 5, "a" * 100, "x\0y"):
        with pytest.raises(BadInputError, match="cannot serve at"):
            async with serve(f"tcp://{name}:14580", answering(aircraft()), beyond=True):
                pass


@pytest.mark.parametrize("where", [UDP, TCP])
async def test_pymavlink_as_a_whole_client_reads_the_parameters(where: ServeUrl) -> None:
    end = aircraft()

    def fetch(port: int) -> list[str]:
        scheme = "udpout" if where.scheme == "udp" else "tcp"
        with_it = mavutil.mavlink_connection(f"{scheme}:127.0.0.1:{port}", source_system=255, autoreconnect=False)
        try:
            with_it.mav.param_request_list_send(SYSTEM, 1)
            found = [with_it.recv_match(type="PARAM_VALUE", blocking=True, timeout=10) for _ in range(5)]
        finally:
            with_it.close()
        return [one.param_id for one in found]

    def paced(data: bytes) -> list[bytes]:
        answers = end.receive(data, 0.0)
        return answers + [frame for step in range(5) for frame in end.pending(step * 0.05 + 0.01)]

    async with serve(where, paced) as link:
        assert await asyncio.to_thread(fetch, link.port) == [f"P{i}" for i in range(5)]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("127.0.0.1:14580", "not a URL"),
        ("", "not a URL"),
        ("udp://" + "1" * 5000, "not a URL"),
        ("tpc://127.0.0.1:1", "did you mean 'tcp'"),
        ("serial://127.0.0.1:1", "cannot serve 'serial'"),
        ("udp://127.0.0.1", "not HOST:PORT"),
        ("udp://127.0.0.1:0", "not HOST:PORT"),
        ("udp://127.0.0.1:70000", "not HOST:PORT"),
        ("tcp://127.0.0.1:80/path", "not HOST:PORT"),
        ("udp://0.0.0.0:14580", "another machine"),
        ("udp://user@127.0.0.1:14580", "another machine"),
    ],
)
def test_nonsense_is_told_in_one_line(text: str, what: str) -> None:
    with pytest.raises(BadInputError, match=what) as told:
        parse_serve_url(text)
    assert len(str(told.value).splitlines()) == 1
    assert len(str(told.value)) < 500


def test_what_may_be_served() -> None:
    assert parse_serve_url("udp://127.0.0.1:14580") == ("udp", "127.0.0.1", 14580)
    assert parse_serve_url("tcp://[::1]:5760/") == ("tcp", "::1", 5760)
    assert parse_serve_url("tcp://localhost:5760") == ("tcp", "localhost", 5760)
    assert parse_serve_url("udp://0.0.0.0:1", beyond=True) == ("udp", "0.0.0.0", 1)  # noqa: S104  # asked for


@settings(deadline=None)  # a loaded machine is no fault
@given(st.text(max_size=40), st.booleans())
def test_any_text_is_a_url_or_told(text: str, beyond: bool) -> None:
    for whole in (text, f"udp://{text}", f"tcp://{text}:80"):
        told = ""
        try:
            parse_serve_url(whole, beyond=beyond)
        except BadInputError as error:
            told = str(error)
        assert len(told.splitlines()) <= 1
