"""Messages that wait for the broker, in one file a station: a watch that is killed leaves them to the next.

A thread of its own reads the file once and then appends to it. The file is written anew, all or nothing, when most
of it is over, and after every trouble. `put` waits for the operating system to have the message, but no longer
than HAND_OVER_S; what it does not have yet is not to be sent (`safe`), unless the disk takes longer than SLOW_S or
is full: that is reported, and messages are kept in memory only until the disk takes them again. A second thread
asks the disk to make lines last (fsync); nobody waits for it. A lock keeps a second watch off the file.
"""

from __future__ import annotations

import contextlib
import os
import threading
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from watchkeeper.edges.kept import write_whole
from watchkeeper.edges.mqtt.address import Topics
from watchkeeper.edges.mqtt.outbox import Waiting
from watchkeeper.edges.mqtt.spool_file import lock_beside, read_spool, spool_file
from watchkeeper.edges.mqtt.spool_lines import Kept, done_line, head_line, put_line, stands_line
from watchkeeper.edges.reports import Report, from_any_thread

PART: Final = "outbox"
HAND_OVER_S = 0.05
"""The longest that the watch waits for a message to be written: too short for a person to notice."""
SLOW_S = 5.0
OPEN_S = 2.0
"""The longest that the start of a watch waits for the messages of the last one."""
_SLACK_BYTES: Final = 1024 * 1024
_MAX_BEHIND_BYTES: Final = 4 * 1024 * 1024
_RETRY_S: Final = 1.0
_CALM_S: Final = 5.0  # trouble is over when there has been none for so long
_SYNC_EVERY_S: Final = 1.0

ANOTHERS: Final = "Another watch has this outbox"
AGAIN: Final = "messages kept on disk again"


class Spool:
    """One station's file. Nothing here raises or blocks beyond the stated bounds."""

    def __init__(self, folder: Path, station: str, *, exercise: bool, report: Report, now_us: int) -> None:
        self.path = spool_file(folder, station, exercise=exercise)
        self._station, self._exercise, self._topics = station, exercise, Topics(station)
        self._report = from_any_thread(report)
        self._now_us = now_us
        self._changed = threading.Condition()
        self._live: dict[int, bytes] = {}
        self._standing: dict[str, bytes] = {}
        self._live_bytes = 0
        self._file_bytes = 0
        self._behind: list[bytes] = []
        self._behind_bytes = 0
        self._unsafe: set[int] = set()
        self._rewrite = True
        self._kept: Kept | None = None
        self._read = False
        self._opened = False
        self._lock: int | None = None
        self._fd: int | None = None
        self._unsynced = False
        self._closing = threading.Event()
        self._busy_since_s: float | None = time.monotonic()
        self._failing = False
        self._trouble = ""
        self._trouble_s = 0.0
        self._threads = [
            threading.Thread(target=self._work, name="mqtt-spool", daemon=True),
            threading.Thread(target=self._sync, name="mqtt-spool-sync", daemon=True),
        ]
        for thread in self._threads:
            thread.start()
        with self._changed:
            self._changed.wait_for(lambda: self._opened or self._failing, OPEN_S)

    def put(self, message: Waiting) -> None:
        """Keep a message; returns when the operating system has it, or after HAND_OVER_S."""
        line = put_line(message)
        with self._changed:
            self._live[message.number] = line
            self._live_bytes += len(line)
            if message.alert is not None:
                self._standing.pop(message.alert, None)
                if message.stands:
                    self._standing[message.alert] = stands_line(message)
            self._unsafe.add(message.number)
            self._append(line)
            self._changed.notify_all()
            if self._opened and not self._failing:
                self._changed.wait_for(lambda: message.number not in self._unsafe, HAND_OVER_S)
        self._look()

    def done(self, messages: Iterable[Waiting]) -> None:
        """Forget messages. Does not wait."""
        with self._changed:
            gone = [one for one in messages if one.number in self._live]
            for one in gone:
                self._live_bytes -= len(self._live.pop(one.number))
                self._unsafe.discard(one.number)
            if gone:
                self._append(done_line(gone))
                self._changed.notify_all()

    def safe(self, message: Waiting) -> bool:
        """Whether a message may be sent: the operating system has it, or cannot take it, and that is said."""
        self._look()
        with self._changed:
            return message.number not in self._unsafe or self._failing

    def sound(self) -> bool:
        """Whether everything that was put will be there for the next watch."""
        with self._changed:
            return self._opened and not self._failing and not self._unsafe

    def collect(self) -> Kept | None:
        """Return, once, what the last watch has left: at the start, or when the disk lets it be read."""
        with self._changed:
            kept, self._kept = self._kept, None
        return kept

    def close(self, timeout_s: float = 0.5) -> None:
        """Write what waits, but wait no longer than about `timeout_s`; let another watch have the file."""
        self._closing.set()
        with self._changed:
            self._changed.notify_all()
        deadline_s = time.monotonic() + timeout_s
        for thread in self._threads:
            thread.join(max(deadline_s - time.monotonic(), 0.0))

    def _append(self, line: bytes) -> None:
        if self._rewrite:
            return  # everything that is still wanted is written then
        self._behind.append(line)
        self._behind_bytes += len(line)
        if self._behind_bytes > _MAX_BEHIND_BYTES:
            self._give_up_behind()

    def _give_up_behind(self) -> None:
        self._behind.clear()
        self._behind_bytes = 0
        self._rewrite = True

    # --- the thread that writes ---

    def _work(self) -> None:
        while True:
            error = ""
            try:
                if not self._opened:
                    self._open()
                self._write()
            except BlockingIOError:
                error = ANOTHERS
            except OSError as caught:
                error = caught.strerror or str(caught)
            with self._changed:
                self._busy_since_s = None
                self._failing = bool(error)
                if error:
                    self._shut()
                    self._give_up_behind()
                    self._say(f"Messages kept in memory only. {error}.")
                elif time.monotonic() - self._trouble_s >= _CALM_S:
                    self._say("")
                self._changed.notify_all()
                if self._closing.is_set() and (error or not (self._behind or self._rewrite)):
                    self._shut()
                    self._let_go()
                    return
                self._changed.wait_for(lambda: self._closing.is_set() or self._behind, _RETRY_S)
                self._busy_since_s = time.monotonic()

    def _open(self) -> None:
        """Lock the file, read it once, begin it anew. OSError if that fails (BlockingIOError: another has it)."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        if self._lock is None:
            self._lock = lock_beside(self.path)
        if not self._read:
            kept, trouble = read_spool(
                self.path, self._topics, self._station, exercise=self._exercise, now_us=self._now_us
            )
            self._take(kept)
            self._read = True
            if trouble:
                self._say(trouble)
        self._write()
        with self._changed:
            self._opened = True

    def _take(self, kept: Kept) -> None:
        lines = {message.number: put_line(message) for message in kept.waiting}
        standing = {topic: stands_line(message) for topic, message in kept.standing.items()}
        with self._changed:
            self._live = {**lines, **self._live}
            self._live_bytes += sum(map(len, lines.values()))
            self._standing = {**standing, **self._standing}
            self._kept = kept

    def _write(self) -> None:
        gone = self._fd is not None and not self._named()
        with self._changed:
            anew = gone or self._rewrite or self._file_bytes > 2 * self._live_bytes + _SLACK_BYTES
            head = head_line(self._station, exercise=self._exercise)
            data = b"".join([head, *self._standing.values(), *self._live.values()] if anew else self._behind)
            self._behind.clear()
            self._behind_bytes = 0
            self._rewrite = False
            going = [*self._unsafe]
        if anew:
            self._shut()
            write_whole(self.path, data)
            self._fd = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CLOEXEC)
            self._file_bytes = len(data)
        elif data and self._fd is not None:
            self._file_bytes += len(data)
            while data:
                data = data[os.write(self._fd, data) :]
            self._unsynced = True
        with self._changed:
            self._unsafe.difference_update(going)
            self._changed.notify_all()

    def _named(self) -> bool:
        """Whether the file still has its name: a person may have deleted it."""
        try:
            return self._fd is not None and os.path.samestat(self.path.stat(), os.fstat(self._fd))
        except FileNotFoundError:
            return False

    def _shut(self) -> None:
        with self._changed:
            fd, self._fd = self._fd, None
        if fd is not None:
            with contextlib.suppress(OSError):  # some disks tell only now that an earlier write failed
                os.close(fd)

    def _let_go(self) -> None:
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    def _sync(self) -> None:
        while not self._closing.wait(_SYNC_EVERY_S):
            with self._changed:
                fd = os.dup(self._fd) if self._unsynced and self._fd is not None else None
                self._unsynced = False
            if fd is not None:
                with contextlib.suppress(OSError):  # an error of the disk shows with the next write
                    os.fsync(fd)
                os.close(fd)

    # --- trouble ---

    def _look(self) -> None:
        """Say so if the disk takes too long."""
        with self._changed:
            since_s = self._busy_since_s
            if since_s is not None and time.monotonic() - since_s > SLOW_S:
                self._failing = True
                self._say("Messages kept in memory only. Disk slow.")

    def _say(self, trouble: str) -> None:
        """Report when trouble begins and when it ends."""
        with self._changed:
            began, ended = bool(trouble and not self._trouble), bool(self._trouble and not trouble)
            self._trouble = trouble
            if trouble:
                self._trouble_s = time.monotonic()
        if began or ended:
            self._report(PART, ended, trouble or AGAIN)
