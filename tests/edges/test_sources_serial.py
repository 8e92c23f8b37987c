"""The serial source on pseudo-terminals that are plugged in and out behind a link."""

from __future__ import annotations

import asyncio
import errno
import fcntl
import os
import random
import termios
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import serial

from tests.edges.source_parts import Device, Gathered, SetClock, heartbeats, running
from watchkeeper.edges.clock import Clock
from watchkeeper.edges.sources import serial_port
from watchkeeper.edges.sources.serial_port import MOST_WAITING, SerialOpener, SerialStream
from watchkeeper.edges.sources.serial_trouble import of_opening, of_reading
from watchkeeper.edges.sources.stream import CHUNK
from watchkeeper.edges.sources.stream_health import TroubleError
from watchkeeper.edges.sources.urls import Source, make_source, parse_source
from watchkeeper.errors import BadInputError

MISSING = "Telemetry: serial device missing. Plug it in."
WELL = "telemetry works again"


@pytest.fixture
def device(tmp_path: Path) -> Iterator[Device]:
    device = Device(tmp_path / "radio")
    yield device
    device.unplug()


@pytest.fixture(autouse=True)
def _without_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("watchkeeper.edges.sources.stream_health.FIRST_PAUSE_S", 0.0)
    monkeypatch.setattr("watchkeeper.edges.sources.stream_health.LONGEST_PAUSE_S", 0.01)


def source_of(device: Device, got: Gathered, clock: Clock | None = None, baud: int = 57600) -> Source:
    url = parse_source(f"serial://{device.link}?baud={baud}")
    return make_source(url, clock or Clock(), got.received, got.report)


@pytest.mark.parametrize("raw", [True, False], ids=["raw", "as a system begins it: with echo and line editing"])
async def test_bytes_arrive_and_not_one_goes_back(device: Device, raw: bool) -> None:
    device.plug(raw=raw)
    got = Gathered()
    sent = b"".join(heartbeats(200)) + bytes(range(256)) + b"\x03\x04\x11\x13\x1a\r\n"
    async with running(source_of(device, got)):
        for at in range(0, len(sent), 11):
            await device.send(sent[at : at + 11])
        await got.when(lambda: len(got.data) >= len(sent))
        assert device.came() == b""
    assert device.came() == b""
    assert got.data == sent
    assert {name for name, _, _ in got.calls} == {f"serial://{device.link}?baud=57600"}
    assert got.reports == []


async def test_one_byte_at_a_time(device: Device) -> None:
    device.plug()
    got = Gathered()
    sent = heartbeats(1)[0]
    async with running(source_of(device, got)):
        for n in range(len(sent)):
            await device.send(sent[n : n + 1])
            await got.when(lambda n=n: len(got.data) == n + 1)  # type: ignore[misc]
    assert got.data == sent
    assert len(got.calls) == len(sent)


@pytest.mark.parametrize("baud", [57600, 921600, 100_000])
async def test_how_the_port_is_set(device: Device, baud: int) -> None:
    device.plug(raw=False)
    async with running(source_of(device, Gathered(), baud=baud)):
        iflag, oflag, cflag, lflag, speed, _, _ = termios.tcgetattr(device.number)
        if os.geteuid() == 0:  # root may open it all the same, but is told by the lock (ioctl_tty(2), flock(2))
            other = os.open(device.link, os.O_RDONLY | os.O_NOCTTY)
            with pytest.raises(BlockingIOError):
                fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
            os.close(other)
        else:
            with pytest.raises(OSError, match="busy"):
                os.open(device.link, os.O_RDONLY | os.O_NOCTTY)
    assert not lflag & (termios.ECHO | termios.ICANON | termios.ISIG)
    assert not iflag & (termios.IXON | termios.IXOFF | termios.ICRNL)
    assert not oflag & termios.OPOST
    assert not cflag & (termios.HUPCL | termios.CRTSCTS | termios.PARENB | termios.CSTOPB)
    assert cflag & (termios.CSIZE | termios.CREAD | termios.CLOCAL) == termios.CS8 | termios.CREAD | termios.CLOCAL
    if baud != 100_000:  # that one has no name in termios
        assert speed == getattr(termios, f"B{baud}")


async def test_no_modem_line_is_lowered_and_no_break_sent(device: Device, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    real = fcntl.ioctl

    def noting(number: int, request: int, *rest: Any) -> Any:
        asked.append(request)
        return real(number, request, *rest)

    monkeypatch.setattr(fcntl, "ioctl", noting)
    device.plug()
    got = Gathered()
    async with running(source_of(device, got)):
        await device.send(b"x")
        await got.until(calls=1)
    set_break = 0x5427  # TIOCSBRK in Linux asm-generic/ioctls.h
    lowering = {termios.TIOCMBIC, termios.TIOCMSET, set_break, termios.TCSBRK, termios.TCSBRKP}
    assert termios.TIOCEXCL in asked
    assert not lowering & set(asked)


async def test_a_device_that_is_missing_is_waited_for(device: Device) -> None:
    got = Gathered()
    async with running(source_of(device, got)):
        await got.until(reports=1)
        assert got.reports == [("source", False, MISSING)]
        device.plug()
        await got.until(reports=2)
        await device.send(b"here")
        await got.when(lambda: got.data == b"here")
    assert got.reports[1:] == [("source", True, WELL)]


async def test_unplugged_and_plugged_in_again_as_another_device_behind_the_same_link(
    device: Device, tmp_path: Path
) -> None:
    device.plug()
    between = Device(tmp_path / "another")
    got = Gathered()
    frame = heartbeats(1)[0]
    try:
        async with running(source_of(device, got)):
            await device.send(frame[:9])
            await got.when(lambda: got.data == frame[:9])
            first = device.link.readlink()
            device.unplug()
            await got.until(reports=1)
            between.plug()  # takes the number of the first
            device.plug()
            assert device.link.readlink() != first
            await got.until(reports=2)
            await device.send(frame)
            await got.when(lambda: got.data == frame[:9] + frame)
    finally:
        between.unplug()
    assert [data for _, data, _ in got.calls] == [frame[:9], b"", frame]
    assert got.reports == [("source", False, MISSING), ("source", True, WELL)]


async def test_a_link_that_leads_elsewhere_is_followed_though_the_first_device_says_nothing(
    device: Device, tmp_path: Path
) -> None:
    device.plug()
    other = Device(tmp_path / "other")
    other.plug()
    got = Gathered()
    try:
        async with running(source_of(device, got)):
            await device.send(b"x")
            await got.until(calls=1)
            device.link.unlink()
            device.link.symlink_to(other.link.readlink())
            await got.until(calls=2)
            await other.taken()
            await other.send(b"y")
            await got.when(lambda: got.data == b"xy")
    finally:
        other.unplug()
    assert got.cuts == 1


async def test_a_wrong_rate_is_said_and_ends_with_the_first_frame(device: Device) -> None:
    device.plug()
    got = Gathered()
    clock = SetClock()
    noise = random.Random(5).randbytes(300)
    async with running(source_of(device, got, clock)):
        for n in range(1, 4):
            await device.send(noise)
            await got.when(lambda n=n: len(got.data) == n * len(noise))  # type: ignore[misc]
            clock.at_us += 3_000_000
        await device.send(noise)
        await got.until(reports=1)
        await device.send(bytes(300) + b"".join(heartbeats(3)))
        await got.until(reports=2)
    assert got.reports == [
        ("source", False, "Telemetry: no MAVLink. Check the baud rate."),
        ("source", True, WELL),
    ]


async def test_a_port_in_use_is_refused_at_the_start_and_waited_for_later(device: Device) -> None:
    device.plug()
    got = Gathered()
    other = serial.Serial(str(device.link), exclusive=True)
    source = source_of(device, got)
    with pytest.raises(BadInputError) as caught:
        await source.open()
    assert str(caught.value) == (
        f"source 'serial://{device.link}?baud=57600': the port is in use by another program; "
        "end the other program, or let it copy its stream to udp://127.0.0.1:14570"
    )
    task = asyncio.create_task(source.run())
    await got.until(reports=1)
    other.close()
    await got.until(reports=2)
    task.cancel()
    said = "Telemetry: serial port busy. End the other program."
    assert got.reports == [("source", False, said), ("source", True, WELL)]


async def test_what_is_no_serial_port_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for path in (tmp_path / "file", tmp_path, Path("/dev/null")):
        source = make_source(parse_source(f"serial://{path}"), Clock(), Gathered().received, Gathered().report)
        with pytest.raises(BadInputError, match="not a serial port; name a device such as /dev/ttyUSB0"):
            await source.open()


async def test_a_device_that_hangs_holds_up_nothing_and_is_tried_by_one_thread(
    device: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    device.plug()
    hangs = threading.Event()
    tries: list[Path] = []
    real = serial_port.open_port

    def hanging(path: Path, baud: int) -> Any:
        tries.append(path)
        hangs.wait()
        return real(path, baud)

    monkeypatch.setattr(serial_port, "open_port", hanging)
    monkeypatch.setattr(serial_port, "HANGS_S", 0.02)
    monkeypatch.setattr(serial_port, "FIRST_S", 0.02)
    got = Gathered()
    async with running(source_of(device, got)):
        await got.until(reports=1)
        assert got.reports == [("source", False, "Telemetry: serial device hangs. Plug it in anew.")]
        for _ in range(3):
            await asyncio.sleep(0.02)  # the time that a few tries take
        hangs.set()
        await got.until(reports=2)
        await device.send(b"x")
        await got.until(calls=1)
    assert len(tries) == 1


def _full(stream: SerialStream) -> None:
    with stream._changed:
        while len(stream._waiting) < MOST_WAITING:
            stream._changed.wait(0.01)


async def test_what_the_watch_does_not_take_waits_in_bounds(device: Device) -> None:
    device.plug()
    stream = await SerialOpener(device.link, 57600).open()
    size = 40 * CHUNK
    sending = asyncio.create_task(device.send(bytes(size)))
    async with asyncio.timeout(20):
        await asyncio.to_thread(_full, stream)
        got = 0
        while got < size:
            assert len(stream._waiting) <= MOST_WAITING + CHUNK + 1
            data = await stream.read()
            assert len(data) <= CHUNK
            got += len(data)
    await sending
    stream.close()


async def test_a_read_that_is_cancelled_loses_nothing(device: Device) -> None:
    device.plug()
    stream = await SerialOpener(device.link, 57600).open()
    reading = asyncio.create_task(stream.read())
    await asyncio.sleep(0)
    stream._put(b"kept")
    reading.cancel()
    await asyncio.wait([reading])
    assert reading.cancelled()
    assert await stream.read() == b"kept"
    stream.close()


async def test_the_end_comes_after_what_was_read() -> None:
    class Ends:
        in_waiting = 3

        def __init__(self) -> None:
            self.left = [b"a", b"bcd"]

        def read(self, _: int) -> bytes:
            if not self.left:
                raise serial.SerialException("device reports readiness to read but returned no data")
            return self.left.pop(0)

        def close(self) -> None:
            pass

    stream = SerialStream(Ends(), lambda: True)
    assert await stream.read() == b"abcd"
    with pytest.raises(TroubleError, match="the device is gone"):
        await stream.read()


def hidden(error: Exception, text: str) -> serial.SerialException:
    """Return what pyserial makes of an error of termios."""
    try:
        try:
            raise error
        except termios.error:
            raise serial.SerialException(text)  # noqa: B904  (as pyserial does)
    except serial.SerialException as raised:
        return raised


@pytest.mark.parametrize(
    ("error", "why"),
    [
        (serial.SerialException(errno.ENOENT, "could not open port"), "no such device"),
        (serial.SerialException(errno.ENXIO, "could not open port"), "no such device"),
        (hidden(termios.error(errno.EIO, "x"), "Could not configure port: (5, 'Input/output error')"), "no such"),
        (hidden(termios.error(errno.ENOTTY, "x"), "Could not configure port: (25, '…')"), "not a serial port"),
        (serial.SerialException(errno.EBUSY, "could not open port"), "in use by another program"),
        (serial.SerialException(errno.EAGAIN, "Could not exclusively lock port"), "in use by another program"),
        (serial.SerialException(errno.EACCES, "could not open port"), "no permission to use it"),
        (ValueError("Failed to set custom baud rate (31): …"), "it does not take this rate"),
        # the texts of pyserial 3.5 on Windows: serialwin32.py puts the system's error into them
        (
            serial.SerialException("could not open port 'COM9': FileNotFoundError(2, '…', None, 2)"),
            "no such device",
        ),
        (serial.SerialException("could not open port 'COM3': PermissionError(13, '…', None, 5)"), "in use"),
        (serial.SerialException("Cannot configure port, something went wrong."), "something went wrong"),
    ],
)
def test_what_an_error_means(error: Exception, why: str) -> None:
    assert why in of_opening(error, "pat", "dialout").why


def test_an_error_while_reading_that_is_no_unplugging_is_told_in_its_own_words() -> None:
    assert (
        of_reading(serial.SerialException("read failed: [Errno 5] Input/output error")).why == "the device is gone"
    )
    assert of_reading(serial.SerialException("ClearCommError failed")).why == "ClearCommError failed"


def test_without_permission_one_line_says_what_to_do() -> None:
    error = serial.SerialException(errno.EACCES, "could not open port")
    assert of_opening(error, "pat", "dialout").do == "sudo usermod -aG dialout pat, then log in anew"
    assert of_opening(error, "pat", "root").do == "let your user read and write this device"


async def test_no_permission_is_refused_at_the_start(device: Device, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(self: Any) -> None:
        raise serial.SerialException(errno.EACCES, f"could not open port {self.port}")

    device.plug()
    monkeypatch.setattr(serial.Serial, "open", denied)
    with pytest.raises(BadInputError, match="no permission to use it; "):
        await source_of(device, Gathered()).open()
