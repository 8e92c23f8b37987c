"""Sources on real sockets and real files."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest

from watchkeeper.edges.clock import Clock
from watchkeeper.edges.playback import FileSource
from watchkeeper.edges.sources import make_source, parse_source
from watchkeeper.edges.udp import MAX_SENDERS, SILENT_US, UdpSource
from watchkeeper.errors import BadInputError
from watchkeeper.link.encode import Encoder
from watchkeeper.link.recording import record

NAME = "udp://127.0.0.1:14570"
ANY_PORT = ("127.0.0.1", 0)


class SetClock(Clock):
    """A clock that stands until it is set."""

    at_us = 1_000_000

    def now_us(self) -> int:
        self.at_us += 1
        return self.at_us


class Gathered:
    """What a source delivered and reported, to be waited for."""

    def __init__(self) -> None:
        self.calls: list[tuple[str, bytes, float]] = []
        self.reports: list[tuple[str, bool, str]] = []
        self._came = asyncio.Event()

    def received(self, source: str, data: bytes, now_s: float) -> None:
        self.calls.append((source, data, now_s))
        self._came.set()

    def report(self, part: str, ok: bool, text: str) -> None:
        self.reports.append((part, ok, text))
        self._came.set()

    async def until(self, calls: int = 0, reports: int = 0) -> None:
        async with asyncio.timeout(5):
            while len(self.calls) < calls or len(self.reports) < reports:
                self._came.clear()
                await self._came.wait()


@contextlib.contextmanager
def sender(family: int = socket.AF_INET) -> Iterator[socket.socket]:
    with socket.socket(family, socket.SOCK_DGRAM) as one:
        one.bind(("127.0.0.1" if family == socket.AF_INET else "::1", 0))
        one.setblocking(False)
        yield one


@contextlib.asynccontextmanager
async def listening(source: UdpSource) -> AsyncIterator[tuple[str, int]]:
    await source.open()
    task = asyncio.create_task(source.run())
    await asyncio.sleep(0)
    try:
        yield source.address
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def test_datagrams_arrive_whole_with_their_time_and_nothing_is_sent_back() -> None:
    got = Gathered()
    clock = Clock()
    async with listening(UdpSource(NAME, ANY_PORT, clock, got.received, got.report)) as address:
        with sender() as one:
            for data in (b"\xfd" + bytes(50), b"noise", bytes(60_000)):
                one.sendto(data, address)
            await got.until(calls=3)
            with pytest.raises(BlockingIOError):
                one.recv(1)
    assert [(source, data) for source, data, _ in got.calls] == [
        ("udp://127.0.0.1:14570", b"\xfd" + bytes(50)),
        ("udp://127.0.0.1:14570", b"noise"),
        ("udp://127.0.0.1:14570", bytes(60_000)),
    ]
    stamps = [now_s for _, _, now_s in got.calls]
    assert stamps == sorted(set(stamps))
    assert abs(clock.now_s() - stamps[0]) < 5
    assert got.reports == []


async def test_several_senders_on_one_port_are_told_apart() -> None:
    got = Gathered()
    async with listening(UdpSource(NAME, ANY_PORT, Clock(), got.received, got.report)) as address:
        with sender() as one, sender() as two, sender() as three:
            for n, (who, data) in enumerate(
                [(one, b"a"), (two, b"b"), (one, b"c"), (three, b"d"), (two, b"e")], 1
            ):
                who.sendto(data, address)
                await got.until(calls=n)
    name = "udp://127.0.0.1:14570"
    assert [(source, data) for source, data, _ in got.calls] == [
        (name, b"a"),
        (f"{name}#2", b"b"),
        (name, b"c"),
        (f"{name}#3", b"d"),
        (f"{name}#2", b"e"),
    ]


async def test_too_many_senders_are_counted_and_reported_once_until_a_silent_one_gives_up_its_name() -> None:
    got = Gathered()
    clock = SetClock()
    source = UdpSource(NAME, ANY_PORT, clock, got.received, got.report)
    async with listening(source) as address:
        with contextlib.ExitStack() as stack:
            senders = [stack.enter_context(sender()) for _ in range(MAX_SENDERS + 1)]
            for n, one in enumerate(senders[:-1], 1):
                one.sendto(b"x", address)
                await got.until(calls=n)
            senders[-1].sendto(b"late", address)
            senders[-1].sendto(b"late", address)
            senders[0].sendto(b"still heard", address)
            await got.until(calls=MAX_SENDERS + 1)
            assert source.refused == 2
            assert [(part, ok) for part, ok, _ in got.reports] == [("source", False)]
            clock.at_us += SILENT_US
            senders[0].sendto(b"still heard", address)
            senders[-1].sendto(b"now heard", address)
            await got.until(calls=MAX_SENDERS + 3)
    assert got.calls[-1][:2] == ("udp://127.0.0.1:14570#2", b"now heard")  # the second was silent longest
    assert [(part, ok) for part, ok, _ in got.reports] == [("source", False), ("source", True)]


async def test_ipv6() -> None:
    if not socket.has_ipv6:
        pytest.skip("this computer has no IPv6")
    url = parse_source("udp://[::1]:14570")
    assert (url.host, url.port) == ("::1", 14570)
    got = Gathered()
    source = UdpSource(url.text, (url.host, 0), Clock(), got.received, got.report)
    try:
        async with listening(source) as address:
            with sender(socket.AF_INET6) as one:
                one.sendto(b"six", address)
                await got.until(calls=1)
    except (BadInputError, OSError):
        pytest.skip("no IPv6 loopback here")
    assert got.calls[0][:2] == ("udp://[::1]:14570", b"six")


async def test_a_port_in_use_is_said_in_one_line_with_what_to_do() -> None:
    got = Gathered()
    with sender() as taken:
        port = taken.getsockname()[1]
        source = make_source(parse_source(f"udp://127.0.0.1:{port}"), Clock(), got.received, got.report)
        with pytest.raises(BadInputError) as caught:
            await source.open()
    assert str(caught.value) == (
        f"source 'udp://127.0.0.1:{port}': the port is in use; "
        "end the program that listens there, or name another port with --from"
    )


async def test_an_address_that_is_not_ours_is_said() -> None:
    got = Gathered()
    url = parse_source("udp://192.0.2.1:14570")  # RFC 5737: never assigned
    with pytest.raises(BadInputError, match="this computer has no such address; use "):
        await make_source(url, Clock(), got.received, got.report).open()


async def test_a_port_that_the_system_closes_is_opened_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("watchkeeper.edges.udp._FIRST_PAUSE_S", 0.0)
    got = Gathered()
    source = UdpSource(NAME, ANY_PORT, Clock(), got.received, got.report, "source-2")
    async with listening(source):
        assert source._transport is not None
        source._transport.abort()
        await got.until(reports=2)
        with sender() as one:
            one.sendto(b"again", source.address)
            await got.until(calls=1)
    assert [(part, ok) for part, ok, _ in got.reports] == [("source-2", False), ("source-2", True)]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("tcp://127.0.0.1:5760", "tcp cannot be listened to yet; use udp:// or file://"),
        ("serial:///dev/ttyUSB0?baud=57600", "serial cannot be listened to yet"),
        ("upd://127.0.0.1:14570", "unknown kind 'upd'; did you mean 'udp'"),
        ("udp://127.0.0.1", "needs an address and a port"),
        ("udp://:14570", "needs an address and a port"),
        ("udp://127.0.0.1:99999", "not a URL"),
        ("udp://127.0.0.1:14570?x=1", "nothing else"),
        ("127.0.0.1:14570", "write it like udp://127.0.0.1:14570"),
        ("file://flight.tlog", "needs a whole path"),
        ("", "unknown kind ''"),
    ],
)
def test_wrong_urls_are_told_what_would_be_right(text: str, says: str) -> None:
    with pytest.raises(BadInputError) as caught:
        parse_source(text)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


async def test_a_recording_plays_as_if_it_came_now(tmp_path: Path) -> None:
    encoder = Encoder(42, 1)
    frames = [encoder.encode("HEARTBEAT", custom_mode=n) for n in range(4)]
    stamps_us = [1_000_000, 1_030_000, 500_000, 510_000]  # steps back once
    log = tmp_path / "a flight.tlog"
    log.write_bytes(b"".join(record(us, raw) for us, raw in zip(stamps_us, frames, strict=True)))
    got = Gathered()
    url = parse_source(log.as_uri())
    source = make_source(url, Clock(), got.received, got.report)
    assert isinstance(source, FileSource)
    await source.open()
    began_s = asyncio.get_running_loop().time()
    async with asyncio.timeout(5):
        await source.run()
    # at its own pace: 30 ms, a step back that takes no time, 10 ms (the loop's timers may be 1 ms early)
    assert asyncio.get_running_loop().time() - began_s >= 0.038
    assert [(name, data) for name, data, _ in got.calls] == [(url.text, raw) for raw in frames]
    stamps_s = [now_s for _, _, now_s in got.calls]
    assert stamps_s == sorted(stamps_s)
    assert got.reports == [("source", False, "Recording has ended.")]
