"""Whole lines to the terminal from a thread of their own: never garbled, never holding anybody up.

Below the lines there may be a block that is drawn anew in its place. The cursor rests at the start of the block's
first row, which is empty: whatever size the terminal takes, and whoever else writes a line there, erasing from the
cursor to the end of the screen takes the block away and no line with it.
"""

from __future__ import annotations

import contextlib
import os
import select
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from typing import Final

MAX_LINES = 1000
"""Lines waiting for a terminal that does not take them: some minutes of a busy watch."""
MAX_LINE = 4096
# ECMA-48: CR, ED 0 (erase below), EL 0 (erase to the right), CUU (cursor up); DEC private mode 7, wrapping of
# lines, off while a block is drawn, so that a row stays a row on a terminal that has become narrower meanwhile.
_ERASE: Final = b"\r\x1b[J"
_ROW: Final = b"\x1b[K\r\n"
_NO_WRAP: Final = b"\x1b[?7l"
_WRAP: Final = b"\x1b[?7h"


def _drawn(rows: Sequence[bytes]) -> bytes:
    """Return what draws a block over the last one and puts the cursor to its start; nothing for no rows."""
    if not rows:
        return _ERASE
    return b"\r" + _NO_WRAP + _ROW.join((b"", *rows)) + b"\x1b[J" + _WRAP + b"\x1b[%dA\r" % len(rows)


def plain(text: str) -> str:
    """Return text in which nothing can steer a terminal: one line, printable characters only, bounded."""
    return "".join(c if c.isprintable() else "?" for c in text[:MAX_LINE].encode("utf-8", "replace").decode())


class LineWriter:
    """Writes lines to file descriptors in the order given.

    `put` never blocks. When the reader does not take what is written, lines wait up to MAX_LINES; then the
    oldest are dropped, and their number is told once the reader takes lines again. A reader that has gone ends
    the writing to that descriptor, not the watch.
    """

    def __init__(self) -> None:
        self._lines: deque[tuple[int, bytes, Callable[[bool], None] | None]] = deque()
        self._changed = threading.Condition()
        self._closing = False
        self._busy_since_s: float | None = None
        self._gone: set[int] = set()
        self.dropped = 0
        """Lines never shown, since the start."""
        self._untold = 0
        self._block: tuple[int, tuple[bytes, ...]] | None = None
        """The newest block and where it goes, until it has been drawn; an older one is not drawn any more."""
        self._standing: tuple[bytes, ...] = ()
        """What stands below the lines. The thread's own, as is where it stands."""
        self._block_fd = -1
        self._thread = threading.Thread(target=self._work, name="terminal", daemon=True)
        self._thread.start()

    def put(self, fd: int, line: str, done: Callable[[bool], None] | None = None) -> None:
        """Hand over one line without its end. `done` is called in another thread: whether it was written."""
        given_up: Callable[[bool], None] | None = None
        with self._changed:
            if len(self._lines) >= MAX_LINES:
                _, _, given_up = self._lines.popleft()
                self.dropped += 1
                self._untold += 1
            self._lines.append((fd, line.encode("utf-8", "replace") + b"\n", done))
            self._changed.notify()
        if given_up is not None:
            given_up(False)

    def block(self, fd: int, rows: Sequence[str]) -> None:
        """Keep these rows below all lines, in place of those given before; none take the block away.

        No row may be wider than the terminal, nor may there be as many as it has.
        """
        with self._changed:
            self._block = fd, tuple(row.encode("utf-8", "replace") for row in rows)
            self._changed.notify()

    def stuck_s(self) -> float:
        """Return for how long the line being written has not been taken; 0 when nothing is being written."""
        since_s = self._busy_since_s
        return 0.0 if since_s is None else time.monotonic() - since_s

    def gone(self, fd: int) -> bool:
        """Return whether the reader of a descriptor has left."""
        return fd in self._gone

    def close(self, timeout_s: float = 0.3) -> None:
        """Write what waits, but no longer than `timeout_s`; what a blocked terminal does not take is given up."""
        with self._changed:
            self._closing = True
            self._changed.notify()
        self._thread.join(timeout_s)

    def _work(self) -> None:
        while True:
            with self._changed:
                while not self._lines and self._block is None and not self._closing:
                    self._changed.wait()
                block, self._block = self._block, None
                waits = self._lines.popleft() if self._lines else None
                untold = self._untold if waits is not None else 0
                self._untold -= untold
            if block is None and waits is None:
                break
            if block is not None:
                self._block_fd, self._standing = block
                self._timed(self._block_fd, _drawn(self._standing))
            if waits is not None:
                self._line(*waits, untold)
        if self._standing:
            self._timed(self._block_fd, _ERASE)

    def _line(self, fd: int, line: bytes, done: Callable[[bool], None] | None, untold: int) -> None:
        """Write a line; the block makes way and comes again once no more lines wait."""
        if untold:
            line = b"(%d lines not shown: the terminal did not take them)\n" % untold + line
        if self._standing:
            line = _ERASE + line + (b"" if self._lines else _drawn(self._standing))
        written = self._timed(fd, line)
        if done is not None:
            done(written)

    def _timed(self, fd: int, data: bytes) -> bool:
        self._busy_since_s = time.monotonic()
        written = self._write(fd, data)
        self._busy_since_s = None
        return written

    def _write(self, fd: int, data: bytes) -> bool:
        if fd in self._gone:
            return False
        while data:
            try:
                data = data[os.write(fd, data) :]
            except BlockingIOError:  # somebody made the terminal non-blocking: wait as a blocking one would
                with contextlib.suppress(OSError, ValueError):
                    select.select([], [fd], [], 1.0)
            except OSError:  # the reader has left (broken pipe), or the terminal hung up
                self._gone.add(fd)
                return False
        return True


class Terminal:
    """Standard output and standard error. Where both lead to the same place, one writer serves both."""

    def __init__(self, out_fd: int = 1, err_fd: int = 2) -> None:
        self._out_fd, self._err_fd = out_fd, err_fd
        self.out = LineWriter()
        self.err = self.out if _same_place(out_fd, err_fd) else LineWriter()
        self.keys = ""
        """What the keys do that are listened to; empty while none are."""

    def print(self, line: str, done: Callable[[bool], None] | None = None) -> None:
        """Put a line on standard output."""
        self.out.put(self._out_fd, line, done)

    def log(self, line: str) -> None:
        """Put a line on standard error."""
        self.err.put(self._err_fd, line)

    def tell_keys(self, text: str) -> None:
        """Say what the keys do, now and for as long as the status is shown."""
        self.keys = text
        self.log(text)

    def block(self, rows: Sequence[str]) -> None:
        """Keep rows below all lines on standard output (LineWriter.block)."""
        self.out.block(self._out_fd, rows)

    def room(self) -> tuple[int, int] | None:
        """Return columns and rows of a terminal on which a block can be kept, or None.

        None also while another program is in front of this one there (a shell that has it in the background).
        """
        if os.environ.get("TERM", "dumb") in ("", "dumb", "unknown"):
            return None
        try:
            if not os.isatty(self._out_fd):
                return None
            with contextlib.suppress(
                OSError
            ):  # not the terminal that this process belongs to: nobody else's either
                if os.tcgetpgrp(self._out_fd) != os.getpgrp():
                    return None
            size = os.get_terminal_size(self._out_fd)
        except OSError:
            return None
        return size.columns, size.lines

    def out_gone(self) -> bool:
        """Return whether the reader of standard output has left."""
        return self.out.gone(self._out_fd)

    def colours(self, *, error: bool = False) -> bool:
        """Return whether colour may be used: on a terminal, unless NO_COLOR is set (no-color.org)."""
        if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
            return False
        try:
            return os.isatty(self._err_fd if error else self._out_fd)
        except OSError:
            return False

    def close(self, timeout_s: float = 0.3) -> None:
        """Write what waits, within about `timeout_s`."""
        self.out.close(timeout_s)
        if self.err is not self.out:
            self.err.close(timeout_s)


def _same_place(one: int, other: int) -> bool:
    try:
        a, b = os.fstat(one), os.fstat(other)
    except OSError:
        return False
    return (a.st_dev, a.st_ino) == (b.st_dev, b.st_ino)
