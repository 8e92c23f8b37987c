"""The crew's pack ledger on disk: read with suspicion, brought up to date after a flight, all or nothing.

A thread of its own does it, so that a slow disk holds nothing up. What goes wrong is reported; the watch goes on.
What could not be written waits for the next flight's end, or the watch's. Two watches take turns by a lock on the
folder, and each adds to what then stands in the file.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import stat
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Final, NamedTuple

import structlog

from watchkeeper.aircraft.ledger import Ledger, read_ledger, rewritten
from watchkeeper.documents import MAX_BYTES
from watchkeeper.edges.records.appending import read_whole, settle_names
from watchkeeper.edges.reports import Report, from_any_thread
from watchkeeper.errors import BadInputError, bad_input
from watchkeeper.estimate.packs.packseen import Flown, PackSeen, booked, is_booked

PART: Final = "ledger"
MAX_WAITING: Final = 64
"""Packs seen that wait to be written."""
LOCK_S: Final = 5.0
"""An update takes milliseconds; who holds the lock for longer hangs."""
_LOCK_EVERY_S: Final = 0.05
_RETRY_S: Final = 60.0
UNREADABLE: Final = "Pack ledger not written. It cannot be read."
UNLABELLED: Final = "Packs not booked. Fitted packs unknown since power-up."


def read_ledger_file(path: Path) -> tuple[Ledger, str]:
    """Return a ledger and its text. Raises BadInputError, with places, for anything else."""
    try:
        text = read_whole(path, MAX_BYTES).decode("utf-8")
    except FileNotFoundError:
        raise bad_input(
            "no such pack ledger", "check the name, or let `brief` begin one", file=str(path)
        ) from None
    except UnicodeDecodeError:
        raise bad_input("the pack ledger is not UTF-8 text", "save it as UTF-8", file=str(path)) from None
    except (OSError, ValueError) as error:
        why = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise bad_input(f"cannot read the pack ledger: {why}", "check the file", file=str(path)) from None
    return read_ledger(text, str(path)), text


class Update(NamedTuple):
    """Labels of packs: brought up to date; of a flight that was in the ledger already; not in the ledger."""

    done: list[str]
    before: list[str]
    unknown: list[str]


def update(path: Path, seen: Sequence[PackSeen], when: str) -> Update:
    """Bring a ledger up to date with what a flight showed of packs; `when` is its end, UTC text, or only a day.

    Raises BadInputError if it is no ledger any more, OSError if it cannot be written; the old one then stays.
    """
    path = path.resolve()  # a link stays one
    with _locked(path.parent):
        ledger, text = read_ledger_file(path)
        packs = dict(ledger.packs)
        labelled = [one for one in seen if one.label in packs]
        known = [one for one in labelled if not is_booked(packs[one.label], when)]
        for one in known:
            packs[one.label] = booked(packs[one.label], one, when)
        if known:
            changed = {one.label: packs[one.label] for one in known}
            _write_whole(path, rewritten(text, str(path), changed).encode())
    return Update(
        [one.label for one in known],
        [one.label for one in labelled if one not in known],
        [one.label for one in seen if one not in labelled],
    )


@contextlib.contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Hold the folder's lock, which leaves nothing behind, and ends with the process at the latest."""
    fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        until_s = time.monotonic() + LOCK_S
        while True:
            try:
                fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > until_s:
                    raise OSError("In use by another watch") from None
                time.sleep(_LOCK_EVERY_S)
        yield
    finally:
        os.close(fd)


def _write_whole(path: Path, data: bytes) -> None:
    """Write a file that exists, all or nothing, so that it lasts, with the rights it had."""
    beside = path.with_name(f".{path.name}.new")  # one left over is written anew: only who holds the lock writes
    try:
        fd = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
        with os.fdopen(fd, "wb") as file:
            file.write(data)
            file.flush()
            with contextlib.suppress(OSError):  # a card knows no rights
                os.fchmod(fd, stat.S_IMODE(path.stat().st_mode))
            os.fsync(fd)
        beside.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise
    settle_names(path.parent)


class LedgerKeeper:
    """Writes what flights showed into the crew's ledger."""

    def __init__(self, path: Path, report: Report, when: Callable[[], str]) -> None:
        """`when` returns the time as UTC text to the second, 2026-11-02T10:15:00Z; a day alone will do."""
        self._path = path
        self._report = from_any_thread(report)
        self._when = when
        self._waiting: deque[tuple[PackSeen, str]] = deque(maxlen=MAX_WAITING)
        self._changed = threading.Condition()
        self._due = self._closing = False
        self._trouble = ""
        self._thread = threading.Thread(target=self._work, name="ledger", daemon=True)
        self._thread.start()

    def put(self, flown: Sequence[Flown]) -> None:
        """Write what these flights showed as soon as the disk takes it."""
        if any(flight.unlabelled for flight in flown):
            self._say(UNLABELLED)
        when = self._when()
        with self._changed:
            self._waiting.extend((one, when) for flight in flown for one in flight.packs)
            self._due = bool(self._waiting)
            self._changed.notify_all()

    def close(self, timeout_s: float = 1.0) -> None:
        """Write what waits, but wait no longer than `timeout_s`."""
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        self._thread.join(timeout_s)

    def _work(self) -> None:
        while True:
            with self._changed:
                if not (self._due or self._closing):
                    self._changed.wait(_RETRY_S if self._waiting else None)
                closing, self._due = self._closing, False
                items = [*self._waiting]
            if items:
                self._write(items)
            if closing:
                return

    def _write(self, items: Sequence[tuple[PackSeen, str]]) -> None:
        """Write these, a flight at a time; what was written or can never be waits no longer."""
        log, trouble = structlog.get_logger(), ""
        for when in dict.fromkeys(when for _, when in items):
            of_flight = [one for one, its in items if its == when]
            try:
                unknown = update(self._path, of_flight, when).unknown
            except BadInputError as error:
                log.warning("pack ledger not written", why=str(error.faults[0]))
                trouble = UNREADABLE
            except OSError as error:
                log.warning("pack ledger not written", file=str(self._path), why=str(error))
                trouble = f"Pack ledger not written. {error.strerror or error}."
            else:
                if unknown:
                    trouble = f"Pack {unknown[0]} is not in the pack ledger."
                with self._changed:
                    for one in of_flight:
                        with contextlib.suppress(ValueError):
                            self._waiting.remove((one, when))
        self._say(trouble)

    def _say(self, trouble: str) -> None:
        """Report when trouble begins, changes and ends."""
        with self._changed:
            before, self._trouble = self._trouble, trouble
        if trouble == before:
            return
        if before:
            self._report(PART, True, "pack ledger written again")
        if trouble:
            self._report(PART, False, trouble)
