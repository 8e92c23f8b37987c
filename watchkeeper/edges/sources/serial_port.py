"""Telemetry from a serial port: opens it and listens. Nothing is ever sent, and no modem line is moved.

The lines DTR and RTS. Systems raise both when a port is opened, and lower them when it is closed for good.
A change of DTR resets some boards, a low RTS holds back radios with flow control, and a USB port of an aircraft
may be silent without DTR. So both are left raised as the system does it; that they fall on closing is switched
off, so that opening again, or another program after us, does not move them. The first opening after plugging in
is the system's own and cannot be avoided.
Bytes: echo and flow control by characters, by which a system writes by itself, are switched off when the port is
set up; no code here writes. The port is taken for ourselves: two readers would each get half of the bytes.

Opening and reading are done in threads, since a device may hang; the same code serves every system.
"""

from __future__ import annotations

import asyncio
import contextlib
import getpass
import os
import stat
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import serial

from watchkeeper.edges.aside import aside
from watchkeeper.edges.sources.serial_trouble import (
    GONE,
    HANGS,
    MISSING,
    NOT_SERIAL,
    RUBBISH,
    of_opening,
    of_reading,
)
from watchkeeper.edges.sources.stream import CHUNK
from watchkeeper.edges.sources.stream_health import Trouble, TroubleError

if sys.platform != "win32":
    import fcntl
    import termios

HANGS_S = 5.0
"""Opening a port that works takes less than a second."""
FIRST_S = 2.0
LOOK_S: Final = 0.25
"""How often a silent port is looked at: is it still the device of that name?"""
GATHER_S: Final = 0.01
"""Bytes of so long are taken together: a third of the work, and nobody hears the difference."""
MOST_WAITING: Final = 4 * CHUNK
"""Bytes read that the watch has not taken; then reading waits."""


class SerialStream:
    """One open port, read by a thread of its own."""

    def __init__(self, port: Any, still_there: Callable[[], bool]) -> None:
        self._port = port
        self._still_there = still_there
        self._loop = asyncio.get_running_loop()
        self._came = asyncio.Event()
        self._changed = threading.Condition()
        self._waiting = bytearray()
        self._closed = False
        self._ended: Trouble | None = None
        threading.Thread(target=self._work, name="serial port", daemon=True).start()

    async def read(self) -> bytes:
        """Return the next bytes. Raises TroubleError at the end. Nothing is lost if it is cancelled."""
        await self._came.wait()
        with self._changed:
            data = bytes(self._waiting[:CHUNK])
            del self._waiting[:CHUNK]
            ended = self._ended
            if not self._waiting and ended is None:
                self._came.clear()
            self._changed.notify_all()
        if data:
            return data
        assert ended is not None
        raise TroubleError(ended)

    def silent(self) -> Trouble | None:
        """Stay: a port that is there is open, and opening it again would tell nothing."""
        return None

    def close(self) -> None:
        """Let the thread close the port; nobody waits for it, for it may hang."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def _work(self) -> None:
        trouble = GONE
        try:
            while not self._closed:
                data = self._port.read(1)
                if data:
                    time.sleep(GATHER_S)
                    self._put(data + self._port.read(min(self._port.in_waiting, CHUNK)))
                elif not self._still_there():
                    break
        except Exception as error:  # noqa: BLE001  (pyserial lets out whatever the system's modules raise)
            trouble = of_reading(error)
        with contextlib.suppress(Exception):
            self._port.close()
        with self._changed:
            self._ended = trouble
        self._wake()

    def _put(self, data: bytes) -> None:
        with self._changed:
            while len(self._waiting) >= MOST_WAITING and not self._closed:
                self._changed.wait()
            first = not self._waiting
            self._waiting += data
        if first:
            self._wake()

    def _wake(self) -> None:
        with contextlib.suppress(RuntimeError):  # the loop has ended: nobody listens
            self._loop.call_soon_threadsafe(self._came.set)


class SerialOpener:
    """Opens one device, by its name or by a link to it, wherever the link leads then."""

    rubbish = RUBBISH

    def __init__(self, device: Path, baud: int) -> None:
        self._device = device
        self._baud = baud
        self._opening: asyncio.Future[tuple[Any, Callable[[], bool]]] | None = None

    async def first(self) -> SerialStream | None:
        """Open it if it is there and answers."""
        return await self._open(FIRST_S)

    async def open(self) -> SerialStream:
        """Open it. Raises TroubleError."""
        return await self._open(HANGS_S)

    async def _open(self, patience_s: float) -> SerialStream:
        if self._opening is None:  # else an earlier try still hangs: another would hang as well
            device, baud = self._device, self._baud
            self._opening = aside(lambda: open_port(device, baud), "serial port opening")
        try:
            async with asyncio.timeout(patience_s):
                port, still_there = await asyncio.shield(self._opening)
        except TimeoutError:
            raise TroubleError(HANGS) from None
        except TroubleError:
            self._opening = None
            raise
        self._opening = None
        return SerialStream(port, still_there)


def open_port(device: Path, baud: int) -> tuple[Any, Callable[[], bool]]:
    """Return the device as an open `serial.Serial`, and what tells whether its name still means it.

    Raises TroubleError. May hang.
    """
    user, group = _user(), ""
    if sys.platform != "win32":
        try:
            found = device.stat()
        except OSError:
            raise TroubleError(MISSING) from None
        if not stat.S_ISCHR(found.st_mode):
            raise TroubleError(NOT_SERIAL)
        with contextlib.suppress(KeyError, OSError):
            group = device.group()
    port = serial.Serial()
    try:
        port.port = str(device)
        port.baudrate = baud
        port.timeout = LOOK_S
        port.exclusive = True  # a lock that other programs may heed; Windows always gives one
        port.open()
        _take_for_ourselves(port)
        still_there = _still_there(port, device)
    except Exception as error:  # noqa: BLE001  (pyserial lets out whatever the system's modules raise)
        with contextlib.suppress(Exception):
            port.close()
        raise TroubleError(of_opening(error, user, group)) from None
    return port, still_there


def _take_for_ourselves(port: Any) -> None:
    """Leave the modem lines raised when the port is closed, and let no other program open it."""
    if sys.platform != "win32":
        number = port.fileno()
        settings = termios.tcgetattr(number)
        settings[2] &= ~termios.HUPCL
        termios.tcsetattr(number, termios.TCSANOW, settings)
        # An opened port is one device; a program that heeds no lock is told EBUSY by this one.
        with contextlib.suppress(OSError):
            fcntl.ioctl(number, termios.TIOCEXCL)


def _still_there(port: Any, device: Path) -> Callable[[], bool]:
    """Return what tells whether the name still means the open device; where it cannot be asked, it does."""
    if sys.platform == "win32":
        return lambda: True
    number = os.fstat(port.fileno()).st_rdev

    def look() -> bool:
        try:
            return device.stat().st_rdev == number
        except FileNotFoundError:
            return False

    return look


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return "NAME"
