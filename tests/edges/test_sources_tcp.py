"""The TCP source on real sockets that come and go."""

from __future__ import annotations

import asyncio
import errno
import itertools
import random
import socket
import struct
import threading
from collections.abc import Iterator

import pytest

from tests.edges.source_parts import Gathered, Peer, SetClock, heartbeats, running
from watchkeeper.edges.clock import Clock
from watchkeeper.edges.sources import tcp
from watchkeeper.edges.sources.stream import CHUNK, StreamSource
from watchkeeper.edges.sources.stream_health import TroubleError
from watchkeeper.edges.sources.urls import make_source, parse_source

REFUSED = "Telemetry not reached: connection refused. Start the sender."
WELL = "telemetry works again"


@pytest.fixture
def peer() -> Iterator[Peer]:
    peer = Peer()
    yield peer
    peer.close()


@pytest.fixture(autouse=True)
def _without_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("watchkeeper.edges.sources.stream_health.FIRST_PAUSE_S", 0.0)


def source_of(port: int, got: Gathered, clock: Clock | None = None, host: str = "127.0.0.1"):  # type: ignore[no-untyped-def]  # noqa: ANN201
    return make_source(parse_source(f"tcp://{host}:{port}"), clock or Clock(), got.received, got.report)


def all_that_came(connection: socket.socket) -> bytes:
    """Return what the other end sent until it closed."""
    connection.setblocking(True)
    connection.settimeout(10)
    came = b""
    while more := connection.recv(1000):
        came += more
    return came


async def test_bytes_arrive_and_not_one_goes_back(peer: Peer) -> None:
    got = Gathered()
    sent = b"".join(heartbeats(200))
    async with running(source_of(peer.port, got)):
        with await peer.accept() as connection:
            for at in range(0, len(sent), 7):  # frames in pieces
                connection.sendall(sent[at : at + 7])
            await got.when(lambda: len(got.data) == len(sent))
            with pytest.raises(BlockingIOError):
                connection.recv(1, socket.MSG_DONTWAIT)  # neither a byte nor the end of their side
            kept = connection.dup()
    with kept:
        assert all_that_came(kept) == b""
    assert got.data == sent
    assert {name for name, _, _ in got.calls} == {f"tcp://127.0.0.1:{peer.port}"}
    stamps = [now_s for _, _, now_s in got.calls]
    assert stamps == sorted(set(stamps))
    assert got.reports == []


async def test_one_byte_at_a_time(peer: Peer) -> None:
    got = Gathered()
    sent = b"".join(heartbeats(3))
    async with running(source_of(peer.port, got)):
        with await peer.accept() as connection:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            for n, byte in enumerate(sent, 1):
                connection.sendall(bytes([byte]))
                await got.when(lambda n=n: len(got.data) == n)  # type: ignore[misc]
    assert got.data == sent
    assert len(got.calls) == len(sent)


async def test_who_is_not_there_yet_is_waited_for() -> None:
    free = Peer()
    free.close()
    got = Gathered()
    async with running(source_of(free.port, got)):
        await got.until(reports=1)
        assert got.reports == [("source", False, REFUSED)]
        peer = Peer(free.port)
        with await peer.accept() as connection:
            connection.sendall(b"hello")
            await got.until(calls=1, reports=2)
        peer.close()
    assert got.reports[1:] == [("source", True, WELL)]


async def test_a_connection_that_is_back_at_once_is_no_news_but_the_stream_was_cut(peer: Peer) -> None:
    got = Gathered()
    frame = heartbeats(1)[0]
    async with running(source_of(peer.port, got)):
        with await peer.accept() as connection:
            connection.sendall(frame + frame[:9])
            await got.when(lambda: len(got.data) == len(frame) + 9)
        with await peer.accept() as connection:
            connection.sendall(frame)
            await got.when(lambda: len(got.data) == 2 * len(frame) + 9)
    assert [data for _, data, _ in got.calls if not data or data is got.calls[-1][1]] == [b"", frame]
    assert got.reports == []


async def test_a_sender_that_goes_and_stays_away_is_said_and_its_return_too(peer: Peer) -> None:
    got = Gathered()
    async with running(source_of(peer.port, got)):
        with await peer.accept() as connection:
            connection.sendall(heartbeats(1)[0])
            await got.until(calls=1)
            peer.close()
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))  # by a reset
        await got.until(reports=1)
        back = Peer(peer.port)
        with await back.accept() as connection:
            connection.sendall(heartbeats(1)[0])
            await got.until(reports=2)
        back.close()
    assert got.reports == [("source", False, REFUSED), ("source", True, WELL)]
    assert got.cuts == 1


async def test_one_who_takes_us_and_breaks_off_again_and_again_is_said_once(peer: Peer) -> None:
    got = Gathered()
    clock = SetClock()
    async with running(source_of(peer.port, got, clock)):
        for _ in range(6):
            with await peer.accept() as connection:
                connection.sendall(heartbeats(1)[0])
                have = len(got.data)
                await got.when(lambda have=have: len(got.data) > have)  # type: ignore[misc]
        await got.until(reports=1)
        assert got.reports == [("source", False, "Telemetry keeps breaking off. Check the sender.")]
        with await peer.accept() as connection:
            connection.sendall(heartbeats(1)[0])
            have = len(got.data)
            await got.when(lambda: len(got.data) > have)
            clock.at_us += 6_000_000
            connection.sendall(heartbeats(1)[0])
            await got.until(reports=2)
    assert got.reports[1:] == [("source", True, WELL)]


async def test_a_name_that_nobody_has(monkeypatch: pytest.MonkeyPatch) -> None:
    def nobody(*_: object, **__: object) -> None:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", nobody)
    got = Gathered()
    async with running(source_of(5760, got, host="nobody.invalid")):
        await got.until(reports=1)
    assert got.reports == [("source", False, "Telemetry not reached: name unknown. Check the address.")]


async def test_a_name_that_is_too_long_for_one() -> None:
    got = Gathered()
    async with running(source_of(5760, got, host="x" * 70)):  # RFC 1035: at most 63 in a label
        await got.until(reports=1)
    assert got.reports == [("source", False, "Telemetry not reached: name unknown. Check the address.")]


async def test_a_name_lookup_that_hangs_holds_up_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    hangs = threading.Event()
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: hangs.wait())
    monkeypatch.setattr(tcp, "ANSWER_S", 0.01)
    got = Gathered()
    async with running(source_of(5760, got, host="slow.invalid")):
        await got.until(reports=1)
    hangs.set()
    assert got.reports == [("source", False, "Telemetry not reached: name unknown. Check the address.")]


async def test_an_address_that_does_not_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    # a listener whose queue is full lets no more connections through, without a word (listen(2))
    monkeypatch.setattr(tcp, "ANSWER_S", 0.05)
    full = socket.socket()
    full.bind(("127.0.0.1", 0))
    full.listen(0)
    filling = [socket.socket() for _ in range(4)]
    got = Gathered()
    try:
        for one in filling:
            one.setblocking(False)
            one.connect_ex(full.getsockname())
        async with running(source_of(full.getsockname()[1], got)):
            await got.until(reports=1)
    finally:
        for one in (full, *filling):
            one.close()
    assert got.reports == [("source", False, "Telemetry not reached: no answer. Check the network.")]


async def test_a_computer_that_vanished_is_found_by_keepalive_and_said_at_once(
    peer: Peer, monkeypatch: pytest.MonkeyPatch
) -> None:
    opener = tcp.TcpOpener("127.0.0.1", peer.port)
    stream = await opener.open()
    with await peer.accept():
        ends = stream._connection
        assert ends.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE) == 1
        found = [ends.getsockopt(socket.IPPROTO_TCP, one) for one in (4, 5, 6)]  # linux/tcp.h: IDLE, INTVL, CNT
        assert found == [3, 2, 3]

        async def gone(*_: object) -> bytes:
            raise OSError(errno.ETIMEDOUT, "Connection timed out")

        monkeypatch.setattr(asyncio.get_running_loop(), "sock_recv", gone)
        got = Gathered()
        source = source_of(peer.port, got)
        async with running(source):
            with await peer.accept():
                await got.until(reports=1)
    stream.close()
    assert got.reports[0] == ("source", False, "Telemetry lost: no answer. Check the network.")


async def test_silence_is_no_trouble_of_the_source_but_it_connects_anew(
    peer: Peer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("watchkeeper.edges.sources.stream.SILENT_S", 0.02)
    monkeypatch.setattr("watchkeeper.edges.sources.stream.SOUND_AFTER_S", 0.01)
    got = Gathered()
    clock = SetClock()
    clock.step_us = 30_000_000  # what SILENT_S stands for
    async with running(source_of(peer.port, got, clock)):
        for _ in range(4):
            with await peer.accept() as connection:
                assert await asyncio.get_running_loop().sock_recv(connection, 1) == b""  # it gave us up
        with await peer.accept() as connection:
            connection.sendall(b"after all")
            await got.until(calls=1)
    assert got.calls[0][1] == b"after all"
    assert got.reports == []


async def test_what_is_no_mavlink_is_said_and_what_is_ends_it(peer: Peer) -> None:
    got = Gathered()
    clock = SetClock()
    noise = random.Random(3).randbytes(400)
    async with running(source_of(peer.port, got, clock)):
        with await peer.accept() as connection:
            for n in range(1, 4):
                connection.sendall(noise)
                await got.when(lambda n=n: len(got.data) == n * len(noise))  # type: ignore[misc]
                clock.at_us += 3_000_000
            await got.until(reports=1)
            connection.sendall(bytes(300) + b"".join(heartbeats(3)))
            await got.until(reports=2)
    assert got.reports == [
        ("source", False, "Telemetry is not MAVLink. Check the address."),
        ("source", True, WELL),
    ]


async def test_a_flood_leaves_others_their_turn(peer: Peer) -> None:
    turns = 0
    size = 1 << 20
    at: list[int] = []
    done = asyncio.Event()

    def received(_: str, data: bytes, now_s: float) -> None:  # noqa: ARG001
        assert len(data) <= CHUNK
        at.append(turns)
        nonlocal size
        size -= len(data)
        if size <= 0:
            done.set()

    async def others() -> None:
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0)

    source = make_source(parse_source(f"tcp://127.0.0.1:{peer.port}"), Clock(), received, Gathered().report)
    beside = asyncio.create_task(others())
    async with running(source):
        connection = await peer.accept()
        connection.setblocking(True)
        sender = threading.Thread(target=connection.sendall, args=(b"\xfd" * size,))
        sender.start()
        async with asyncio.timeout(60):
            await done.wait()
        sender.join()
        connection.close()
    beside.cancel()
    assert all(before < after for before, after in itertools.pairwise(at))


def test_a_connection_with_itself_is_none() -> None:
    # RFC 9293 3.5, simultaneous open: a socket that connects to its own port is connected with itself
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        one.connect(one.getsockname())
        with pytest.raises(ConnectionRefusedError):
            tcp._not_with_itself(one)


async def test_other_errors_are_told_in_the_words_of_the_system(monkeypatch: pytest.MonkeyPatch) -> None:
    async def broken(*_: object) -> None:
        raise OSError(errno.EMFILE, "x")

    monkeypatch.setattr(tcp, "_connect", broken)
    with pytest.raises(TroubleError, match="too many open files"):
        await tcp.TcpOpener("127.0.0.1", 5760).open()


async def test_a_read_that_is_cancelled_loses_nothing(peer: Peer) -> None:
    stream = await tcp.TcpOpener("127.0.0.1", peer.port).open()
    with await peer.accept() as connection:
        reading = asyncio.create_task(stream.read())
        await asyncio.sleep(0)
        reading.cancel()
        await asyncio.wait([reading])
        connection.sendall(b"kept")
        async with asyncio.timeout(10):
            assert await stream.read() == b"kept"
    stream.close()


async def test_a_sender_that_is_back_but_silent_is_well_again_once_it_holds(
    peer: Peer, monkeypatch: pytest.MonkeyPatch
) -> None:
    got = Gathered()
    clock = SetClock()
    async with running(source_of(peer.port, got, clock)):
        for _ in range(5):
            (await peer.accept()).close()
        await got.until(reports=1)
        monkeypatch.setattr("watchkeeper.edges.sources.stream.SOUND_AFTER_S", 0.01)
        with await peer.accept():
            await got.until(reports=2)
    assert got.reports == [
        ("source", False, "Telemetry keeps breaking off. Check the sender."),
        ("source", True, WELL),
    ]


class _Endless:
    """A stream that always has more, at once; and what opens it."""

    rubbish = tcp.RUBBISH

    def __init__(self, pieces: int) -> None:
        self.left = pieces

    async def first(self) -> _Endless:
        return self

    async def open(self) -> _Endless:
        await asyncio.Event().wait()
        return self

    async def read(self) -> bytes:
        if not self.left:
            raise TroubleError(tcp.CLOSED)
        self.left -= 1
        return b"x"

    def silent(self) -> None:
        return None

    def close(self) -> None:
        pass


async def test_a_stream_that_never_makes_one_wait_leaves_others_their_turn() -> None:
    turns = 0
    at: list[int] = []
    got = Gathered()

    def received(name: str, data: bytes, now_s: float) -> None:
        at.append(turns)
        got.received(name, data, now_s)

    async def others() -> None:
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0)

    beside = asyncio.create_task(others())
    async with running(StreamSource("x", "Telemetry", _Endless(50), Clock(), received, got.report, "source")):
        await got.when(lambda: got.cuts == 1)
    beside.cancel()
    assert len(at) == 51
    assert all(before < after for before, after in itertools.pairwise(at[:50]))
