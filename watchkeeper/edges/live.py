"""The outlet that keeps a live status below the lines of the terminal."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

from watchkeeper.alerts.events import Happening
from watchkeeper.alerts.language import ENGLISH, Language
from watchkeeper.edges.status import rendered, status_lines
from watchkeeper.edges.terminal import Terminal
from watchkeeper.picture.models import StationPicture

EVERY_S: Final = 1.0
LEAST_S: Final = 0.2
"""Between two drawings, however many alerts come."""
LATE_S: Final = 3.0
"""After such a pause (the process was stopped, the computer slept) it is drawn anew, whatever stands there."""
FREE_ROWS: Final = 3
"""Rows for lines that are always left."""
_SIGNALS: Final = [getattr(signal, name) for name in ("SIGWINCH", "SIGCONT") if hasattr(signal, name)]


class LiveStatus:
    """Draws the picture when something happens and once a second, if it has changed. Never waits for anybody."""

    name = "status"

    def __init__(
        self,
        terminal: Terminal,
        picture: Callable[[], StationPicture],
        language: Language = ENGLISH,
        heard: Callable[[], str] = str,
    ) -> None:
        """`heard` is who is heard on each source, in one line."""
        self._terminal = terminal
        self._picture = picture
        self._language = language
        self._heard = heard
        self._colour = terminal.colours()
        self._shown: list[str] = []
        self._anew = False
        self._news = asyncio.Event()

    def put(self, _item: Happening) -> None:
        """Draw soon: something happened."""
        self._news.set()

    async def run(self) -> None:
        """Draw until cancelled; then take the status away."""
        loop = asyncio.get_running_loop()
        try:
            with self._told_of_size():
                while not self._terminal.out_gone():
                    began_s = loop.time()
                    self._draw()
                    await asyncio.sleep(LEAST_S)
                    with contextlib.suppress(TimeoutError):
                        async with asyncio.timeout(EVERY_S - LEAST_S):
                            await self._news.wait()
                    self._news.clear()
                    self._anew |= loop.time() - began_s > LATE_S
        finally:
            self._terminal.block([])
            self._shown = []
        await asyncio.Event().wait()  # the terminal has gone, and the console says so

    def _draw(self) -> None:
        rows = self._rows()
        if rows != self._shown or self._anew:
            self._shown, self._anew = rows, False
            self._terminal.block(rows)

    def _rows(self) -> list[str]:
        room = self._terminal.room()
        if room is None:
            return []
        width, height = room
        lines = status_lines(
            self._picture(), width, min(height - 1 - FREE_ROWS, height // 2 + 2), language=self._language,
            heard=self._heard(), keys=self._terminal.keys,
        )  # fmt: skip
        return rendered(lines, width, colour=self._colour)

    @contextmanager
    def _told_of_size(self) -> Iterator[None]:
        """Draw anew, too, when the terminal has taken another size or this process is continued."""

        def changed() -> None:
            self._anew = True
            self._news.set()

        loop = asyncio.get_running_loop()
        taken = []
        for number in _SIGNALS:
            with contextlib.suppress(
                NotImplementedError, RuntimeError, ValueError
            ):  # not in this thread, or system
                loop.add_signal_handler(number, changed)
                taken.append(number)
        try:
            yield
        finally:
            for number in taken:
                loop.remove_signal_handler(number)
