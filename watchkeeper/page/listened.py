"""Whether the observer was listening by phone when the watch ended, however it ended: the next one is to know.

A mark in the state folder that is touched while the observer listens, and taken away when they stop. A watch that
finds a young one expects the observer's phone back, and tells if it does not come.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from watchkeeper.page.keys import keys_file

YOUNG_S: Final = 600.0
"""A watch that begins later is another flight (our choice)."""
TOUCH_EVERY_S: Final = 30.0


def listened_file(folder: Path, station: str) -> Path:
    """Return the mark of a station, beside its keys."""
    return keys_file(folder, station).with_suffix(".listened")


class Listened:
    """The mark. No file: nothing is kept, as in an exercise. Troubles with the file count as no mark."""

    def __init__(self, path: Path | None, clock_s: Callable[[], float] = time.time) -> None:
        """`clock_s` is the wall's, seconds since 1970; one that was set back since makes a mark young."""
        self._path = path
        self._clock_s = clock_s
        self._kept: bool | None = None
        self._touched_s = 0.0

    def lately(self) -> bool:
        """Whether the observer was listening a moment ago, when there was another watch here."""
        if self._path is None:
            return False
        try:
            return self._clock_s() - self._path.stat().st_mtime < YOUNG_S
        except OSError:
            return False

    async def keep(self, listens: bool) -> None:
        """Note whether the observer listens, or is expected to; called now and then."""
        now_s = time.monotonic()
        due = self._kept is not listens or (listens and now_s - self._touched_s >= TOUCH_EVERY_S)
        if self._path is not None and due:
            self._kept, self._touched_s = listens, now_s
            await asyncio.to_thread(_mark if listens else _unmark, self._path)


def _mark(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch(mode=0o600)


def _unmark(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)
