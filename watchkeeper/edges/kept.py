"""What was learned in flight, in one file a station: written every few seconds, read by a watch that starts anew.

A thread of its own reads the file once and then writes it, all or nothing (beside it, to the disk, renamed). The
watch never waits for it: only the newest state waits to be written. A disk that is slow or full is reported, and
so what was learned may be lost; nothing else is.
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import json
import os
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, NoReturn
from urllib.parse import quote

import structlog
from pydantic import ValidationError

from watchkeeper import __version__
from watchkeeper.alerts.events import Order
from watchkeeper.edges.records.appending import read_whole, settle_names
from watchkeeper.edges.reports import Report, from_any_thread
from watchkeeper.estimate.learning import JSON, plain
from watchkeeper.estimate.resuming import Kept

PART: Final = "learned"
KEEP_EVERY_S: Final = 5.0
FORMAT: Final = 1
MAX_AIRCRAFT: Final = 64
MAX_AIRCRAFT_BYTES: Final = 32 * 1024
"""Half of the longest line that a recording is read with, in which it stands as an order."""
MAX_BYTES: Final = MAX_AIRCRAFT * MAX_AIRCRAFT_BYTES
MAX_VALUES: Final = 10_000
SLOW_S: Final = 10.0
_LONGEST_NAME: Final = 180

Take = Callable[[Sequence[Order]], None]
"""take(orders): give these to the engine. Called on the event loop."""


def kept_file(folder: Path, station: str) -> Path:
    """Return the file of a station, whose name may hold anything that a file name may not."""
    name = quote(station, safe=" ")
    if len(name) > _LONGEST_NAME:
        name = hashlib.sha256(station.encode()).hexdigest()
    return folder / f"learned-{name}.json"


class Keeper:
    """Keeps one station's file. What it holds at the start is given to `take` as orders."""

    def __init__(self, path: Path, report: Report, take: Take, *, slow_s: float = SLOW_S) -> None:
        self._path = path
        self._report = from_any_thread(report)
        self._take = take
        self._slow_s = slow_s
        try:
            self._loop: asyncio.AbstractEventLoop | None = asyncio.get_running_loop()
        except RuntimeError:
            self._loop = None
        self._newest: Mapping[str, JSON] | None = None
        self._changed = threading.Condition()
        self._closing = False
        self._busy_since_s: float | None = time.monotonic()
        self._trouble = ""
        self._thread = threading.Thread(target=self._work, name="keeper", daemon=True)
        self._thread.start()

    def put(self, learned: Mapping[str, JSON]) -> None:
        """Write this as soon as the disk takes it; what has not been written yet is not written any more."""
        with self._changed:
            self._newest = learned
            self._changed.notify_all()
            slow = self._busy_since_s is not None and time.monotonic() - self._busy_since_s > self._slow_s
        if slow:
            self._say("Learned state not kept. Disk slow.")

    def close(self, learned: Mapping[str, JSON], timeout_s: float = 0.5) -> None:
        """Write this, but wait no longer than `timeout_s`."""
        with self._changed:
            self._newest = learned
            self._closing = True
            self._changed.notify_all()
        self._thread.join(timeout_s)

    def _work(self) -> None:
        empty = not self._read()
        while True:
            with self._changed:
                self._busy_since_s = None
                while self._newest is None and not self._closing:
                    self._changed.wait()
                learned, self._newest = self._newest, None
                self._busy_since_s = time.monotonic()
            if learned is None:
                return
            if empty and not learned["aircraft"]:
                continue  # nobody in flight, and the file says nothing else
            trouble = ""
            try:
                data, trouble = file_bytes(learned)
                write_whole(self._path, data)
                empty = not learned["aircraft"]
            except OSError as error:
                trouble = f"Learned state not kept. {error.strerror or error}."
            self._say(trouble)

    def _read(self) -> bool:
        """Give the engine what the file holds; return whether there is a file."""
        try:
            orders = read_kept(self._path)
        except FileNotFoundError:
            return False
        except (OSError, ValueError) as error:
            why = error.strerror if isinstance(error, OSError) else str(error)
            structlog.get_logger().warning("learned state not read", file=str(self._path), why=why)
            return True
        if self._loop is None:
            self._take(orders)
        else:
            with contextlib.suppress(RuntimeError):  # the loop has ended
                self._loop.call_soon_threadsafe(self._take, orders)
        return True

    def _say(self, trouble: str) -> None:
        """Report when trouble begins and when it ends."""
        with self._changed:
            began, ended = bool(trouble and not self._trouble), bool(self._trouble and not trouble)
            self._trouble = trouble
        if began or ended:
            self._report(PART, ended, trouble or "learned state kept again")


def file_bytes(learned: Mapping[str, Any]) -> tuple[bytes, str]:
    """Return the file's content, of bounded size, and what could not be kept, if anything."""
    lines = [json.dumps(one, allow_nan=False, separators=(",", ":")) for one in learned["aircraft"]]
    fitting = [line for line in lines if len(line) <= MAX_AIRCRAFT_BYTES][:MAX_AIRCRAFT]
    head = json.dumps({"format": FORMAT, "watchkeeper": __version__})[:-1]
    data = (head + ', "aircraft": [\n' + ",\n".join(fitting) + "\n]}\n").encode()
    return data, "" if len(fitting) == len(lines) else "Learned state not kept. Too large."


def write_whole(path: Path, data: bytes) -> None:
    """Write a file, all or nothing, so that it lasts. OSError leaves the old one."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f"{path.name}.{os.getpid()}.new")
    try:
        fd = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o600)  # it says where home is
        with os.fdopen(fd, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(fd)
        beside.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise
    settle_names(path.parent)


def read_kept(path: Path) -> list[Order]:
    """Return the orders that give the engine what a file holds.

    OSError if it cannot be read; ValueError, with the reason, for content that no watch of this version writes.
    """
    try:
        found = json.loads(read_whole(path, MAX_BYTES), parse_constant=_no_number)
    except RecursionError:
        raise ValueError("nested too deeply") from None
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise ValueError("of another format")
    if found.get("watchkeeper") != __version__:
        raise ValueError("of another version")
    listed = found.get("aircraft")
    if not isinstance(listed, list) or len(listed) > MAX_AIRCRAFT:
        raise ValueError("no list of aircraft")
    return [_order(one) for one in listed]


def _order(kept: Any) -> Order:
    copy = plain(kept, MAX_VALUES)
    try:
        system = Kept.model_validate(copy).system
    except ValidationError as error:
        first = error.errors()[0]
        raise ValueError(f"{'.'.join(str(part) for part in first['loc'])}: {first['msg']}") from None
    if len(json.dumps(copy)) > MAX_AIRCRAFT_BYTES or not isinstance(copy, Mapping):
        raise ValueError("too large")
    return Order("resume", aircraft=system, role="watch", kept=copy)


def _no_number(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number")
