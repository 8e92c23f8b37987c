"""Reads recordings, one telemetry log or a folder of `--record`: in bounded memory, through damage, by time."""

from __future__ import annotations

import heapq
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple, Protocol

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from watchkeeper.alerts.events import Happening, Level, Order
from watchkeeper.edges.records.recorder import ACTIONS, MAX_SOURCES, SOURCES
from watchkeeper.edges.records.wrapping import unwrapped
from watchkeeper.errors import bad_input
from watchkeeper.link.framing import Framer
from watchkeeper.link.recording import RecordingReader

CHUNK: Final = 1 << 16
SINGLE: Final = "recording"
"""What the source of a single log is called."""
_HEAD_BYTES: Final = 4 * 1024 * 1024
"""A file without one whole frame in so many bytes is no recording."""
_LONGEST_LINE: Final = 1 << 24
"""Longer than a reload of as many packs as a watch takes (`pack_files.MAX_BYTES`), each character escaped."""
_MAX_SOURCES_BYTES: Final = 1 << 20
_TICKS: Final = ("start", "stop", "tick")


class Player(Protocol):
    """What a recording is played into: the engine."""

    def receive(self, source: str, data: bytes, now_s: float) -> list[Happening]:
        """Take bytes of one source."""

    def order(self, order: Order, now_s: float) -> list[Happening]:
        """Take an order, or a report of a part of the program."""

    def tick(self, now_s: float) -> list[Happening]:
        """Let time pass."""


class Event(NamedTuple):
    """One thing that the engine was given: bytes of `source`; or an order; or, with neither, time that passed."""

    time_us: int
    source: str | None = None
    data: bytes = b""
    order: Order | None = None

    def into(self, engine: Player) -> list[Happening]:
        """Give it to an engine, and return what happened."""
        now_s = self.time_us / 1e6
        if self.source is not None:
            return engine.receive(self.source, self.data, now_s)
        if self.order is not None:
            return engine.order(self.order, now_s)
        return engine.tick(now_s)


class _Action(BaseModel):
    """One line of `actions.jsonl`."""

    model_config = ConfigDict(extra="forbid", strict=True)

    time_us: int = Field(ge=0, lt=1 << 52)
    action: Literal[
        "start", "stop", "tick", "acknowledge", "shelve", "unshelve", "reset", "report", "resume",
        "reload", "check", "uncheck", "test", "given", "confirm", "settings", "sighted",
    ]  # fmt: skip
    rule: str | None = None
    aircraft: int | None = None
    role: str = "pilot"
    by: str = ""
    minutes: float | None = Field(default=None, allow_inf_nan=False)
    ok: bool = True
    text: str = ""
    level: Level = Field(default=Level.CAUTION, strict=False)
    afar: bool = False
    kept: dict[str, Any] | None = None
    packs: tuple[tuple[str, str], ...] = ()

    def event(self) -> Event:
        if self.action in _TICKS:
            return Event(self.time_us)
        return Event(self.time_us, order=Order(**self.model_dump(exclude={"time_us"})))


class Recording:
    """A recording that can be gone through as often as wanted."""

    def __init__(self, path: Path, logs: list[tuple[str, Path]], actions: Path | None, remarks: list[str]) -> None:
        self.path = path
        self._logs = logs
        self._actions = actions
        self._remarks = remarks
        self.skipped_bytes: dict[str, int] = {}
        """Bytes of damage by source, in what has been read since `events` was last begun."""
        self.skipped_lines = 0
        self.cut_off: list[str] = []
        """Sources whose log ends within a frame (the power failed, or the disk was full)."""

    @property
    def sources(self) -> list[str]:
        """Names of the sources, in the order in which they were first heard."""
        return [name for name, _ in self._logs]

    def events(self) -> Iterator[Event]:
        """Yield everything by time; at equal times by source, actions last; within a source in its order.

        A single log's times are given as they stand, steps back included. Where several logs are merged, one
        that steps back is carried on from its latest time, so that the others are not torn from it.
        Raises BadInputError if a file cannot be read.
        """
        self.skipped_bytes = {}
        self.skipped_lines = 0
        self.cut_off = []
        parts = [self._log(name, path) for name, path in self._logs]
        if self._actions is not None:
            parts.append(self._orders(self._actions))
        if len(parts) == 1:
            yield from parts[0]
            return
        yield from heapq.merge(*(_forward(part) for part in parts), key=_time_us)

    def remarks(self) -> list[str]:
        """Return in plain words what was damaged or odd, as far as it has been read."""
        said = [*self._remarks]
        for name, count in self.skipped_bytes.items():
            if count:
                said.append(f"{name}: {count} damaged bytes passed over")
        said += [f"{name}: ends within a frame" for name in self.cut_off]
        if self.skipped_lines:
            said.append(f"{ACTIONS}: {self.skipped_lines} damaged lines passed over")
        return said

    def _log(self, name: str, path: Path) -> Iterator[Event]:
        reader = RecordingReader()
        self.skipped_bytes[name] = 0
        for chunk in _chunks(path):
            for time_us, raw in reader.feed(chunk):
                yield Event(time_us, name, unwrapped(raw))
            self.skipped_bytes[name] = reader.skipped_bytes
        if reader.end():
            self.cut_off.append(name)

    def _orders(self, path: Path) -> Iterator[Event]:
        for line in _lines(path):
            try:
                yield _Action.model_validate_json(line).event()
            except ValidationError:
                self.skipped_lines += 1


def open_recording(path: Path) -> Recording:
    """Open a telemetry log, or a folder of `--record`. Raises BadInputError that says what to do."""
    name = str(path)
    try:
        if path.is_dir():
            return _open_folder(path)
        if not path.exists():
            raise bad_input("no such recording", "name a telemetry log, or a folder of --record", file=name)
        if not path.is_file():
            raise bad_input("is not a file", "name a telemetry log, or a folder of --record", file=name)
        if path.stat().st_size == 0:
            raise bad_input("is empty", "name a telemetry log with frames in it", file=name)
        if not _holds_frames(path):
            what = "is not a telemetry log (8-byte big-endian microseconds before each MAVLink frame)"
            raise bad_input(what, "name a recorded log, or a folder of --record", file=name)
    except OSError as error:
        raise bad_input(f"cannot be read: {error.strerror}", "check the file", file=name) from None
    return Recording(path, [(SINGLE, path)], None, [])


def _open_folder(folder: Path) -> Recording:
    remarks: list[str] = []
    logs = _named_logs(folder, remarks)
    known = {path.name for _, path in logs}
    for path in sorted(folder.glob("*.tlog")):  # a log that was begun after the list was last written
        if path.name not in known and path.is_file() and len(logs) < MAX_SOURCES:
            logs.append((path.stem, path))
            remarks.append(f"{path.name}: not in {SOURCES}; its source is called '{path.stem}'")
    actions = folder / ACTIONS
    within = [inside.name for inside in sorted(folder.iterdir()) if (inside / ACTIONS).is_file()]
    if not logs and not actions.is_file():
        do = f"name the folder within: {within[-1]}" if within else "name a telemetry log, or a folder of --record"
        raise bad_input("holds no recording", do, file=str(folder))
    if within:
        remarks.append(f"{folder}: holds later recordings too, named by their own folders: {', '.join(within)}")
    return Recording(folder, logs, actions if actions.is_file() else None, remarks)


def _named_logs(folder: Path, remarks: list[str]) -> list[tuple[str, Path]]:
    """Return (source, log) as `sources.json` has them. What is not a plain file name in the folder is left out."""
    listed: Any = []
    try:
        with (folder / SOURCES).open("rb") as file:
            listed = json.loads(file.read(_MAX_SOURCES_BYTES))["sources"]
    except FileNotFoundError:
        pass
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        remarks.append(f"{SOURCES}: damaged; sources are called after their files")
    logs: list[tuple[str, Path]] = []
    for entry in listed if isinstance(listed, list) else []:
        given = entry if isinstance(entry, dict) else {}
        name, file_name = str(given.get("name", "")), str(given.get("file", ""))
        if not name or name in dict(logs) or not _plain_name(file_name) or len(logs) >= MAX_SOURCES:
            remarks.append(f"{SOURCES}: an entry that cannot be used was passed over")
            continue
        path = folder / file_name
        if path.is_file():
            logs.append((name, path))
        else:
            remarks.append(f"{file_name}: missing")
    return logs


def _plain_name(name: str) -> bool:
    """Return whether a name means a file in the folder itself, never one elsewhere."""
    return Path(name).name == name and name.isprintable()


def _forward(events: Iterator[Event]) -> Iterator[Event]:
    """Yield events so that time never runs back: after a step back it goes on from the latest time."""
    offset_us = last_us = 0
    for event in events:
        time_us = event.time_us + offset_us
        if time_us < last_us:
            offset_us += last_us - time_us
            time_us = last_us
        last_us = time_us
        yield event._replace(time_us=time_us) if offset_us else event


def _time_us(event: Event) -> int:
    return event.time_us


def _chunks(path: Path) -> Iterator[bytes]:
    try:
        with path.open("rb") as file:
            while chunk := file.read(CHUNK):
                yield chunk
    except OSError as error:
        raise bad_input(f"cannot be read: {error.strerror}", "check the file", file=str(path)) from None


def _lines(path: Path) -> Iterator[bytes]:
    """Yield lines, none longer than _LONGEST_LINE (a longer one comes in pieces, which are no valid lines)."""
    try:
        with path.open("rb") as file:
            while line := file.readline(_LONGEST_LINE):
                if line.strip():
                    yield line
    except OSError as error:
        raise bad_input(f"cannot be read: {error.strerror}", "check the file", file=str(path)) from None


def _holds_frames(path: Path) -> bool:
    reader, framer, seen = RecordingReader(), Framer(), 0
    for chunk in _chunks(path):
        for _, raw in reader.feed(chunk):
            if framer.feed(raw):
                return True
        seen += len(chunk)
        if seen > _HEAD_BYTES:
            break
    return False
