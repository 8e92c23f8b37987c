"""Where the file of waiting messages is, who may have it, and what is done with one that cannot be used."""

from __future__ import annotations

import fcntl
import hashlib
import os
from pathlib import Path
from typing import Final
from urllib.parse import quote

import structlog

from watchkeeper.edges.mqtt.address import Topics
from watchkeeper.edges.mqtt.outbox import MAX_WAITING_BYTES
from watchkeeper.edges.mqtt.spool_lines import Kept, read_lines
from watchkeeper.edges.records.appending import read_whole

MAX_BYTES: Final = 4 * MAX_WAITING_BYTES
"""Well above the size at which a file is written anew."""
DAMAGED: Final = "Kept messages damaged. Some may be lost."
UNREADABLE: Final = "Kept messages cannot be read. They are set aside."
_LONGEST_NAME: Final = 180


def spool_file(folder: Path, station: str, *, exercise: bool) -> Path:
    """Return the file of a station, whose name may hold anything that a file name may not."""
    name = quote(station, safe=" ")
    if len(name) > _LONGEST_NAME:
        name = hashlib.sha256(station.encode()).hexdigest()
    return folder / f"outbox-{name}.{'exercise' if exercise else 'real'}.jsonl"


def lock_beside(path: Path) -> int:
    """Return a locked descriptor. The lock ends with it, or the process. BlockingIOError if another has it."""
    fd = os.open(path.with_suffix(".lock"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(fd)
        raise
    return fd


def read_spool(path: Path, topics: Topics, station: str, *, exercise: bool, now_us: int) -> tuple[Kept, str]:
    """Return what a file holds, and what is to be said of it, if anything. OSError if it cannot be read.

    One that is damaged, or not ours, is set aside under another name, so that a person can look at it.
    """
    try:
        kept = read_lines(read_whole(path, MAX_BYTES), topics, station, exercise=exercise, now_us=now_us)
        trouble, why = (DAMAGED, f"{kept.damaged} lines not understood") if kept.damaged else ("", "")
    except FileNotFoundError:
        return Kept(), ""
    except ValueError as error:
        kept, trouble, why = Kept(), UNREADABLE, str(error)
    if trouble:
        aside = path.with_suffix(".damaged")
        structlog.get_logger().warning("mqtt outbox set aside", file=str(path), error=why, now=str(aside))
        path.replace(aside)
    return kept, trouble
