"""Single keys from the terminal, without waiting for the enter key. Nothing where there is no terminal."""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
import termios
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager

_AT_ONCE = 64


class Keys:
    """Calls what stands behind a key. Other keys do nothing; Ctrl-C stays what it is."""

    def __init__(self, handlers: Mapping[str, Callable[[], None]], fd: int | None = None) -> None:
        """Take what each key does, in lower case. `fd` is the terminal's descriptor (standard input)."""
        self._handlers = handlers
        self._fd = fd

    @contextmanager
    def listening(self) -> Iterator[bool]:
        """Listen while the block runs; gives whether there is a terminal to listen to."""
        fd = _terminal(self._fd)
        if fd is None:
            yield False
            return
        before = termios.tcgetattr(fd)
        changed = termios.tcgetattr(fd)
        changed[3] &= ~(termios.ICANON | termios.ECHO)
        termios.tcsetattr(fd, termios.TCSADRAIN, changed)
        loop = asyncio.get_running_loop()
        loop.add_reader(fd, self._read, fd)
        try:
            yield True
        finally:
            loop.remove_reader(fd)
            with contextlib.suppress(termios.error):  # the terminal has been closed
                termios.tcsetattr(fd, termios.TCSADRAIN, before)

    def _read(self, fd: int) -> None:
        try:
            data = os.read(fd, _AT_ONCE)
        except OSError:
            data = b""
        if not data:  # the terminal has gone
            asyncio.get_running_loop().remove_reader(fd)
        for key in data.decode("ascii", "ignore").lower():
            handler = self._handlers.get(key)
            if handler is not None:
                handler()


def _terminal(fd: int | None) -> int | None:
    """Return the descriptor of a terminal that this process may read from, or None."""
    try:
        number = sys.stdin.fileno() if fd is None else fd
    except (OSError, ValueError, AttributeError):
        return None
    if not os.isatty(number):
        return None
    with contextlib.suppress(OSError):
        if os.tcgetpgrp(number) == os.getpgrp():
            return number
    return None
