"""`--record DIR`: keeps all that the engine was given, so that a replay decides what the live watch decided.

A record folder holds one telemetry log a source (8-byte big-endian microseconds before each frame),
`sources.json` (which log is whose) and `actions.jsonl` (start, stop, orders, reports).
How their bytes are kept stands in wrapping.py.
"""

from __future__ import annotations

import contextlib
import json
import os
import threading
import time
from collections import deque
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from watchkeeper import __version__
from watchkeeper.alerts.events import Order
from watchkeeper.edges.clock import utc_name, utc_text
from watchkeeper.edges.records.appending import AppendFile
from watchkeeper.edges.records.jsonlines import json_line, order_record
from watchkeeper.edges.records.wrapping import log_records
from watchkeeper.edges.reports import Report, from_any_thread
from watchkeeper.errors import bad_input
from watchkeeper.link.encode import Encoder

PART = "record"
SOURCES, ACTIONS = "sources.json", "actions.jsonl"
MAX_SOURCES = 64
MAX_WAITING_BYTES = 16 * 1024 * 1024
"""A quarter of an hour of a busy radio link."""
FLUSH_S = 0.5
CALM_S = 5.0
"""Trouble is over when there has been none for so long."""
_SUMMARY_S = 10.0
_MARK_US = 1_000_000
_PER_ITEM = 64  # bytes that an item costs beside its data


def prepare_folder(folder: Path, now_us: int) -> Path:
    """Make the folder to record into and return it: `folder`, or one named by the time within if it is not empty.

    Raises BadInputError if it cannot be made or written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not any(folder.iterdir()):
            chosen = folder
        else:
            names = [utc_name(now_us), *(f"{utc_name(now_us)}-{n}" for n in range(2, 100))]
            chosen = next(folder / name for name in names if not (folder / name).exists())
            chosen.mkdir()
    except OSError as error:
        raise bad_input(
            f"cannot record here: {error.strerror}", "name a folder that can be written", file=str(folder)
        ) from None
    if not os.access(chosen, os.W_OK | os.X_OK):
        raise bad_input("cannot record here: not writable", "name a folder that can be written", file=str(folder))
    return chosen


@dataclass(slots=True)
class _Log:
    """One source's log."""

    name: str
    file: AppendFile
    file_name: str
    first_us: int
    last_us: int
    calls: int = 0
    bytes: int = 0
    dropped_calls: int = 0

    def summary(self) -> dict[str, Any]:
        """Return the entry in `sources.json`."""
        return {
            "name": self.name,
            "file": self.file_name,
            "first": utc_text(self.first_us),
            "last": utc_text(self.last_us),
            "calls": self.calls,
            "bytes": self.bytes,
            "dropped_calls": self.dropped_calls,
        }


class Recorder:
    """Writes a record folder from a thread of its own; a slow or full disk never holds back the watch.

    Give it every call of the engine with the call's time, in their order. `patient` waits for the disk instead of
    dropping, for a drill that runs faster than time.
    """

    def __init__(
        self,
        folder: Path,
        report: Report,
        now_us: int,
        *,
        station: str = "",
        patient: bool = False,
        calm_s: float = CALM_S,
    ) -> None:
        self.folder = folder
        self._report = from_any_thread(report)
        self._about = {"watchkeeper": __version__, "station": station, "started": utc_text(now_us)}
        self._patient = patient
        self._calm_s = calm_s
        self._trouble_s = 0.0
        self._logs: dict[str, _Log] = {}
        self._actions = AppendFile(folder / ACTIONS)
        self._wrapper = Encoder(0, 0)
        self._queue: deque[tuple[str | None, bytes, int]] = deque()
        self._waiting_bytes = 0
        self._dropped: dict[str | None, int] = {}
        self._changed = threading.Condition()
        self._closing = False
        self._trouble = ""
        self._marked_us = now_us
        self._summed_s = -_SUMMARY_S
        self._action("start", now_us)
        self._thread = threading.Thread(target=self._work, name="recorder", daemon=True)
        self._thread.start()

    def received(self, source: str, data: bytes, now_us: int) -> None:
        """Keep the bytes of one `Engine.receive`."""
        self._put(source, data, now_us)

    def ordered(self, order: Order, now_us: int) -> None:
        """Keep one `Engine.order`."""
        self._put(None, (json_line({"time_us": now_us, **order_record(order)}) + "\n").encode(), now_us)

    def ticked(self, now_us: int) -> None:
        """Keep that time passed, once a second where nothing else tells it: a silence is part of a recording."""
        if now_us - self._marked_us >= _MARK_US:
            self._action("tick", now_us)

    def close(self, now_us: int, timeout_s: float = 0.8) -> None:
        """Keep the end (give the engine a tick of the same time) and write what waits, within `timeout_s`."""
        self._action("stop", now_us)
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        self._thread.join(timeout_s)

    def _action(self, action: str, now_us: int) -> None:
        self._put(None, (json_line({"time_us": now_us, "action": action}) + "\n").encode(), now_us)

    def _put(self, source: str | None, data: bytes, now_us: int) -> None:
        self._marked_us = now_us
        size = len(data) + _PER_ITEM
        with self._changed:
            while self._patient and self._waiting_bytes + size > MAX_WAITING_BYTES and not self._trouble:
                self._changed.notify_all()
                self._changed.wait()
            if self._waiting_bytes + size > MAX_WAITING_BYTES:
                if source in self._dropped or len(self._dropped) < MAX_SOURCES:
                    self._dropped[source] = self._dropped.get(source, 0) + 1
                behind = True
            else:
                self._queue.append((source, data, now_us))
                self._waiting_bytes += size
                behind = False
        if behind:
            self._say("Recording has gaps. Check the disk.")

    def _work(self) -> None:
        while True:
            with self._changed:
                if not self._closing:
                    self._changed.wait(FLUSH_S)
                items = [*self._queue]
                self._queue.clear()
                dropped, self._dropped = self._dropped, {}
                closing = self._closing
            error = self._write(items, dropped, closing=closing)
            with self._changed:
                files = [self._actions, *(log.file for log in self._logs.values())]
                self._waiting_bytes = sum(file.waiting for file in files)
                self._waiting_bytes += sum(len(data) + _PER_ITEM for _, data, _ in self._queue)
                self._changed.notify_all()
            if error:
                self._say(f"Recording not written. {error}.")
            elif not dropped and time.monotonic() - self._trouble_s >= self._calm_s:
                self._say("")
            if closing:
                for file in files:
                    file.close()
                return

    def _write(
        self, items: list[tuple[str | None, bytes, int]], dropped: dict[str | None, int], *, closing: bool
    ) -> str:
        """Write items and what waited from before; returns what went wrong, if anything."""
        parts: dict[str | None, list[bytes]] = {None: [], **{name: [] for name in self._logs}}
        new = False
        for source, data, time_us in items:
            if source is None:
                parts[None].append(data)
                continue
            log = self._logs.get(source)
            if log is None:
                if len(self._logs) >= MAX_SOURCES:
                    dropped[source] = dropped.get(source, 0) + 1
                    continue
                file_name = f"source-{len(self._logs) + 1}.tlog"
                log = _Log(source, AppendFile(self.folder / file_name), file_name, time_us, time_us)
                self._logs[source] = log
                parts[source] = []
                new = True
            log.last_us = time_us
            log.calls += 1
            log.bytes += len(data)
            parts[source] += log_records(data, time_us, self._wrapper)
        for source, count in dropped.items():
            if source in self._logs:
                self._logs[source].dropped_calls += count
        error = ""
        try:
            if new or closing or time.monotonic() - self._summed_s >= _SUMMARY_S:
                self._summarise()
        except OSError as caught:
            error = caught.strerror or str(caught)
        for source, pieces in parts.items():
            file = self._actions if source is None else self._logs[source].file
            try:
                if pieces or file.waiting:
                    file.write(b"".join(pieces))
            except OSError as caught:
                error = caught.strerror or str(caught)
        return error

    def _summarise(self) -> None:
        """Write `sources.json` anew, all or nothing."""
        text = json.dumps(self._about | {"sources": [log.summary() for log in self._logs.values()]}, indent=2)
        beside = self.folder / f"{SOURCES}.new"
        try:
            beside.write_text(text + "\n", encoding="utf-8")
            beside.replace(self.folder / SOURCES)
        except OSError:
            with contextlib.suppress(OSError):
                beside.unlink()
            raise
        self._summed_s = time.monotonic()

    def _say(self, trouble: str) -> None:
        """Report when trouble begins and when it ends."""
        with self._changed:
            began, ended = bool(trouble and not self._trouble), bool(self._trouble and not trouble)
            self._trouble = trouble
            if trouble:
                self._trouble_s = time.monotonic()
        if began or ended:
            self._report(PART, ended, trouble or "recording again")
