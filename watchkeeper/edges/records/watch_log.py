"""The watch log: `decisions.jsonl` (what the engine said) and `deliveries.jsonl` (who was told, when, outcome).

A decision has reached the operating system before any outlet gets it, unless the disk takes longer than
HAND_OVER_S: speech is not held back for a disk. Then, and when the disk is full, the watch says so and goes on;
lines wait up to MAX_WAITING_BYTES and are written when the disk takes them again. A second thread asks the disk
to make lines last (fsync); nobody waits for it.
"""

from __future__ import annotations

import os
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path

from watchkeeper.alerts.events import AlertChange, Happening
from watchkeeper.edges.clock import utc_name, utc_text
from watchkeeper.edges.records.appending import AppendFile
from watchkeeper.edges.records.jsonlines import decision_line, json_line
from watchkeeper.edges.reports import Report, from_any_thread

PART = "log"
DECISIONS, DELIVERIES = "decisions.jsonl", "deliveries.jsonl"
HAND_OVER_S = 0.05
"""The longest that speech waits for a decision to be written: too short for a person to notice."""
MAX_WAITING_BYTES = 4 * 1024 * 1024
"""Ten thousand decisions."""
_RETRY_S = 1.0
_SYNC_EVERY_S = 1.0
_CALM_S = 1.0  # trouble is over when there has been none for so long
SLOW_SYNC_S = 10.0


def state_folder() -> Path:
    """Return where a watch keeps what outlasts it, as the XDG base directory specification has it."""
    base = Path(os.environ.get("XDG_STATE_HOME", ""))
    if not base.is_absolute():  # unset, or relative, which the specification says to ignore
        try:
            base = Path.home() / ".local" / "state"
        except RuntimeError:  # a user without a home
            base = Path.cwd()
    return base / "watchkeeper"


def default_folder(now_us: int) -> Path:
    """Return the folder of a watch without --record."""
    return state_folder() / utc_name(now_us)


class WatchLog:
    """Writes both files into `folder`. `now_us` stamps deliveries."""

    def __init__(self, folder: Path, report: Report, now_us: Callable[[], int], *, exercise: bool = False) -> None:
        self.folder = folder
        self._report = from_any_thread(report)
        self._now_us = now_us
        self._exercise = exercise
        self._files = (AppendFile(folder / DECISIONS), AppendFile(folder / DELIVERIES))
        self._queue: deque[tuple[int, bytes, threading.Event | None]] = deque()
        self._waiting_bytes = 0
        self._lost = [0, 0]
        self._changed = threading.Condition()
        self._closing = threading.Event()
        self._trouble = ""
        self._trouble_s = 0.0
        self._saying = threading.Lock()
        self._sync_since_s: float | None = None
        self._threads = [
            threading.Thread(target=self._work, name="watch-log", daemon=True),
            threading.Thread(target=self._sync, name="watch-log-sync", daemon=True),
        ]
        for thread in self._threads:
            thread.start()

    def decided(self, happenings: Sequence[Happening]) -> None:
        """Write decisions; returns when the operating system has them, or after HAND_OVER_S.

        While the disk is known to be slow or full, does not wait at all.
        """
        data = "".join(decision_line(one, exercise=self._exercise) + "\n" for one in happenings).encode()
        if self._trouble:
            self._put(0, data, len(happenings), None)
            return
        written = threading.Event()
        self._put(0, data, len(happenings), written)
        if not written.wait(HAND_OVER_S):
            self._say("Log not written in time. Check the disk.")

    def delivered(self, outlet: str, item: Happening, outcome: str, detail: str = "") -> None:
        """Enter that an outlet did something with an item."""
        record = {
            "time": utc_text(self._now_us()),
            "outlet": outlet,
            "outcome": outcome,
            "detail": detail,
            "decided": utc_text(item.time_us),
            "aircraft": item.aircraft,
            "rule": item.rule,
            "change": item.change.value if isinstance(item, AlertChange) else None,
        }
        self._put(1, (json_line(record) + "\n").encode(), 1, None)

    def close(self, timeout_s: float = 0.5) -> None:
        """Write what waits, but no longer than about `timeout_s`."""
        self._closing.set()
        with self._changed:
            self._changed.notify()
        deadline_s = time.monotonic() + timeout_s
        for thread in self._threads:
            thread.join(max(deadline_s - time.monotonic(), 0.0))
        if not any(thread.is_alive() for thread in self._threads):
            for file in self._files:
                file.close()

    def _put(self, which: int, data: bytes, lines: int, written: threading.Event | None) -> None:
        with self._changed:
            if self._waiting_bytes + len(data) > MAX_WAITING_BYTES:
                self._lost[which] += lines
                return
            if self._lost[which]:  # the gap is told where it is
                data = (json_line({"lost_lines": self._lost[which]}) + "\n").encode() + data
                self._lost[which] = 0
            self._queue.append((which, data, written))
            self._waiting_bytes += len(data)
            self._changed.notify()

    def _work(self) -> None:
        while True:
            with self._changed:
                if not self._queue and not self._closing.is_set():
                    self._changed.wait(_RETRY_S)
                items = [*self._queue]
                self._queue.clear()
            error = self._write(items)
            with self._changed:
                rest = sum(file.waiting for file in self._files)
                self._waiting_bytes = rest + sum(len(data) for _, data, _ in self._queue)
                done = not self._queue
            if error:
                self._say(f"Log not written. {error}.")
            elif self._sync_since_s is not None and time.monotonic() - self._sync_since_s > SLOW_SYNC_S:
                self._say("Disk slow. Log not safe yet.")
            elif done and time.monotonic() - self._trouble_s >= _CALM_S:
                self._say("")
            if self._closing.is_set() and (done or error):
                return

    def _write(self, items: Sequence[tuple[int, bytes, threading.Event | None]]) -> str:
        """Write items, and what waited from before; returns what went wrong, if anything."""
        error = ""
        for which, data, written in [*items, (0, b"", None), (1, b"", None)]:
            try:
                if data or self._files[which].waiting:
                    self._files[which].write(data)
            except OSError as caught:
                error = caught.strerror or str(caught)
            else:
                if written is not None:
                    written.set()
        return error

    def _sync(self) -> None:
        while not self._closing.wait(_SYNC_EVERY_S):
            self._sync_since_s = time.monotonic()
            for file in self._files:
                file.sync()
            self._sync_since_s = None
        self._threads[0].join()
        for file in self._files:
            file.sync()

    def _say(self, trouble: str) -> None:
        """Report when trouble begins and when it ends."""
        with self._saying:
            began, ended = bool(trouble and not self._trouble), bool(self._trouble and not trouble)
            self._trouble = trouble
            if trouble:
                self._trouble_s = time.monotonic()
        if began or ended:
            self._report(PART, ended, trouble or "log written again")
