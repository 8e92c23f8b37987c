"""Reads the watch log of a recording, what was decided and who was told: bounded, with suspicion."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Annotated, Final, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from watchkeeper.alerts.events import AlertChange, Change, Level, State
from watchkeeper.debrief.timeline import Delivered
from watchkeeper.edges.records.watch_log import DECISIONS, DELIVERIES

MOST_LINES: Final = 50_000
_LONGEST_LINE: Final = 1 << 20


def _micros(value: object) -> object:
    """Return UTC text as microseconds since 1970."""
    if not isinstance(value, str):
        raise ValueError("no time")  # noqa: TRY004  (pydantic wants it so)
    at = datetime.fromisoformat(value)
    if at.tzinfo is None:
        raise ValueError("no time zone")
    seconds = at.replace(microsecond=0).timestamp()
    return round(seconds) * 1_000_000 + at.microsecond


_Time = Annotated[int, BeforeValidator(_micros)]


class _Line(BaseModel):
    model_config = ConfigDict(extra="ignore", allow_inf_nan=False)


class _Decision(_Line):
    time: _Time
    elapsed_s: float
    exercise: bool
    kind: Literal["alert"]
    aircraft: int | None
    rule: str
    level: Level
    change: Change
    state: State
    callout: str | None
    reason: str
    evidence: dict[str, float | bool | str | None] = Field(default_factory=dict)
    spoken: bool = False
    trial: bool = False
    by: str | None = None


class _Delivery(_Line):
    time: _Time
    decided: _Time
    outlet: str
    outcome: str
    detail: str = ""
    aircraft: int | None
    rule: str | None
    change: str | None


class _Other(_Line):
    exercise: bool = False


_Model = TypeVar("_Model", bound=_Line)


class WatchLogFound:
    """What of a watch's log stands in a folder."""

    def __init__(self, folder: Path) -> None:
        self.there = (folder / DECISIONS).is_file()
        self.exercise = False
        self.damaged = 0
        self.decisions: list[AlertChange] = []
        self.deliveries: list[Delivered] = []
        if self.there:
            self._read(folder)

    def _read(self, folder: Path) -> None:
        for line in _lines(folder / DECISIONS):
            found = _parsed(_Decision, line)
            if found is None:
                other = _parsed(_Other, line)
                self.damaged += other is None
                self.exercise |= other is not None and other.exercise
                continue
            self.exercise |= found.exercise
            self.decisions.append(
                AlertChange(
                    found.time, round(found.elapsed_s * 1e6), found.aircraft, found.rule, found.level,
                    found.change, found.state, found.callout, found.reason, found.evidence,
                    found.spoken, found.trial, found.by,
                )
            )  # fmt: skip
        for line in _lines(folder / DELIVERIES):
            told = _parsed(_Delivery, line)
            if told is None:
                self.damaged += 1
                continue
            self.deliveries.append(
                Delivered(
                    told.time, told.decided, told.outlet, told.outcome, told.detail, told.aircraft, told.rule,
                    told.change,
                )
            )  # fmt: skip


def _parsed(model: type[_Model], line: bytes) -> _Model | None:
    try:
        return model.model_validate_json(line)
    except (ValidationError, ValueError, OverflowError):
        return None


def _lines(path: Path) -> Iterator[bytes]:
    """Yield lines of bounded length and number; none of a file that cannot be read."""
    try:
        with path.open("rb") as file:
            for _ in range(MOST_LINES):
                line = file.readline(_LONGEST_LINE)
                if not line:
                    return
                if line.strip():
                    yield line
    except OSError:
        return
