"""A process of ours that answers in lines, on any event loop: that of messages starts none on Windows."""

from __future__ import annotations

import asyncio
import contextlib
import subprocess
import threading
from collections.abc import Mapping, Sequence
from typing import Final

LONGEST: Final = 65_536
"""Bytes of a line."""


class Child:
    """Runs from its making until `kill`, or its own end. Lines it writes wait until they are asked for."""

    def __init__(self, command: Sequence[str], environment: Mapping[str, str]) -> None:
        """Start it, in a session of its own: Ctrl-C is for the watch. Raises OSError."""
        self._loop = asyncio.get_running_loop()
        self._lines: asyncio.Queue[bytes] = asyncio.Queue()
        self._ended = asyncio.Event()
        self._process = subprocess.Popen(  # noqa: S603  (our own module by this interpreter)
            [*command],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=dict(environment),
            start_new_session=True,
            bufsize=0,
        )
        threading.Thread(target=self._read, name="child", daemon=True).start()

    @property
    def pid(self) -> int:
        """Its number."""
        return self._process.pid

    @property
    def running(self) -> bool:
        """Whether it has not ended."""
        return self._process.poll() is None

    def write(self, data: bytes) -> None:
        """Give it a line, less than a pipe holds. Raises OSError where it is gone."""
        assert self._process.stdin is not None
        self._process.stdin.write(data)

    async def line(self, timeout_s: float) -> bytes:
        """Return its next line; without a line feed if it ended, or the line is too long. Raises TimeoutError."""
        async with asyncio.timeout(timeout_s):
            return await self._lines.get()

    async def kill(self, within_s: float) -> None:
        """End it, and wait so long for that."""
        with contextlib.suppress(ProcessLookupError):
            self._process.kill()
        if self._process.stdin is not None:
            with contextlib.suppress(OSError):
                self._process.stdin.close()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(within_s):
                await self._ended.wait()

    def _read(self) -> None:
        """Run in a thread: hand its lines on, and take note of its end."""
        assert self._process.stdout is not None
        with self._process.stdout as out, contextlib.suppress(RuntimeError):  # (the loop has ended: nobody waits)
            rest = b""
            while data := out.read(LONGEST):
                *lines, rest = (rest + data).split(b"\n")
                for line in lines:
                    self._loop.call_soon_threadsafe(self._lines.put_nowait, line + b"\n")
                if len(rest) > LONGEST:
                    break
            self._loop.call_soon_threadsafe(self._lines.put_nowait, rest)
        self._process.wait()
        with contextlib.suppress(RuntimeError):
            self._loop.call_soon_threadsafe(self._ended.set)
