"""Tells a service manager how the watch is: begun, reloading, alive, ending.

The protocol is that of sd_notify(3): lines VARIABLE=value in a datagram to the socket named by NOTIFY_SOCKET, with
a null byte in place of a leading `@`. A few lines of our own: the libraries for it either bind to the manager's
C library or wait in `send`, and a watch waits for nobody. Nothing here raises, whatever the manager does.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable, MutableMapping
from typing import Final

import structlog

from watchkeeper.edges.terminal import plain

STATUS_EVERY_S: Final = 1.0
MAX_STATUS: Final = 300
"""Characters."""


class ServiceManager:
    """The service manager that started this process. `ticked` is to be called where the watch really works."""

    def __init__(
        self,
        address: str,
        watchdog_s: float | None,
        status: Callable[[], str],
        *,
        monotonic_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        """`watchdog_s`: it acts when it hears nothing for that long; None: it does not mind.

        `status` tells of the watch in one line; it is asked for once a second.
        """
        self._address = b"\0" + os.fsencode(address[1:]) if address.startswith("@") else os.fsencode(address)
        self._beat_every_s = None if watchdog_s is None else watchdog_s / 2
        self._monotonic_ns = monotonic_ns
        self._socket: socket.socket | None = None
        self._ready = False
        self._beat_s = 0.0
        self._looked_s = 0.0
        self._status = ""
        self._failing = False
        self._tell = status

    @classmethod
    def of_environment(
        cls, environment: MutableMapping[str, str], status: Callable[[], str]
    ) -> ServiceManager | None:
        """Return the one named in the environment, and take it out of there: no child speaks for the watch."""
        address = environment.pop("NOTIFY_SOCKET", "")
        period_us = environment.pop("WATCHDOG_USEC", "")
        process = environment.pop("WATCHDOG_PID", "")
        if len(address) < 2 or address[0] not in "/@" or not hasattr(socket, "AF_UNIX"):
            return None
        minds = period_us.isascii() and period_us.isdecimal() and process in ("", str(os.getpid()))
        watchdog_s = int(period_us) / 1e6 if minds else 0.0
        return cls(address, watchdog_s or None, status)

    def ticked(self) -> None:
        """Tell that the watch has begun, that it is alive, what it hears: whatever is due."""
        now_s = self._monotonic_ns() / 1e9
        if not self._ready:
            self._ready = self._send("READY=1", self._line())
            self._beat_s = self._looked_s = now_s
            return
        if (
            self._beat_every_s is not None
            and now_s - self._beat_s >= self._beat_every_s
            and self._send("WATCHDOG=1")
        ):
            self._beat_s = now_s
        if now_s - self._looked_s >= STATUS_EVERY_S:
            self._looked_s = now_s
            before, line = self._status, self._line()
            if self._status != before and not self._send(line):
                self._status = before

    def reloading(self) -> None:
        """Tell that files are being read anew."""
        self._send("RELOADING=1", f"MONOTONIC_USEC={self._monotonic_ns() // 1000}")

    def reloaded(self) -> None:
        """Tell that this is over."""
        self._ready = self._send("READY=1")  # else the next tick tells it

    def stopping(self) -> None:
        """Tell that the watch ends."""
        self._send("STOPPING=1")
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _line(self) -> str:
        try:
            self._status = plain(self._tell())[:MAX_STATUS]
        except Exception as error:  # noqa: BLE001  (a line for people must not end the watch)
            self._status = f"not known: {type(error).__name__}"
        return f"STATUS={self._status}"

    def _send(self, *lines: str) -> bool:
        """Send, or not: a manager that does not read is not waited for. Whether it went out."""
        try:
            if self._socket is None:
                self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
                self._socket.setblocking(False)
            self._socket.sendto("\n".join(lines).encode("utf-8", "replace"), self._address)
        except OSError as error:
            if not self._failing:
                self._failing = True
                structlog.get_logger().warning("service manager not told", error=repr(error), what=lines[0])
            return False
        self._failing = False
        return True
