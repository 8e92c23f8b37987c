"""Scenarios: what happens in a scripted flight, and which alerts a good watch raises by when.

A scenario is a YAML file. Its numbers over time stand as [[seconds, value], …]; units are fixed by the key.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from simulators.series import Series, Steps, series, steps
from watchkeeper.documents import Document, parse_document
from watchkeeper.errors import BadInputError, Fault, bad_input, did_you_mean

FOLDER: Final = Path(__file__).resolve().parent / "scenarios"
DEFAULT: Final = "four-faults"
MODES: Final = ("position_hold", "altitude_hold", "mission", "safe_recovery", "land", "takeoff")
LANDED: Final = ("ground", "air", "takeoff", "landing")
MAX_BYTES: Final = 1_000_000

Points = list[tuple[float, float]]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Expected(_Part):
    """An alert that a good watch raises: not before `begins`, not after `by` (seconds from the start)."""

    rule: str
    fault: str
    begins: float = Field(ge=0)
    by: float = Field(gt=0)

    @model_validator(mode="after")
    def _in_order(self) -> Expected:
        if self.by <= self.begins:
            raise ValueError("'by' is not after 'begins'")
        return self


class Battery(_Part):
    """Two or more equal packs in parallel, at rest before the flight."""

    packs: int = Field(default=2, ge=1, le=8)
    cells: int = Field(default=12, ge=1, le=14)
    capacity_ah: float = Field(default=22.0, gt=0, le=200)
    resistance_mohm: float = Field(default=18.0, gt=0, le=500)
    charge_pct: float = Field(ge=1, le=100)
    temperature_degc: float = 18.0


class Values(_Part):
    """The values over time. Distance runs along the scenario's bearing; sag is volts a cell under load."""

    height_m: Points
    distance_m: Points
    power_kw: Points
    satellites: Points = [(0.0, 24.0)]
    dilution: Points = [(0.0, 0.7)]
    margin_db: Points = [(0.0, 30.0)]
    sag_v: Points = [(0.0, 0.0)]
    loss_pct: Points = [(0.0, 0.0)]
    wind_m_s: Points = [(0.0, 4.0)]
    wind_from_deg: Points = [(0.0, 250.0)]
    armed: list[tuple[float, bool]]
    mode: list[tuple[float, str]]
    landed: list[tuple[float, str]]

    @field_validator("mode")
    @classmethod
    def _known_modes(cls, value: list[tuple[float, str]]) -> list[tuple[float, str]]:
        return _known(value, MODES)

    @field_validator("landed")
    @classmethod
    def _known_states(cls, value: list[tuple[float, str]]) -> list[tuple[float, str]]:
        return _known(value, LANDED)

    @field_validator("*")
    @classmethod
    def _increasing(cls, value: Any) -> Any:
        times = [point[0] for point in value]
        if not times or any(b <= a for a, b in zip(times, times[1:], strict=False)):
            raise ValueError("times must increase")
        return value


class _Written(_Part):
    scenario: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,59}$")
    about: str
    start: datetime
    duration_s: float = Field(gt=0, le=7200)
    system: int = Field(ge=1, le=250)
    home: tuple[float, float]
    bearing_deg: float = Field(ge=0, lt=360)
    aircraft: str | None = None
    sortie: str | None = None
    battery: Battery
    values: Values
    texts: list[tuple[float, int, str]] = []
    expect: list[Expected] = []


@dataclass(frozen=True, slots=True)
class Scenario:
    """A scenario ready to fly. Times in seconds from `start`; crew files by their paths."""

    name: str
    about: str
    start: datetime
    duration_s: float
    system: int
    home: tuple[float, float]
    bearing_deg: float
    battery: Battery
    numbers: Mapping[str, Series]
    words: Mapping[str, Steps]
    texts: tuple[tuple[float, int, str], ...]
    expect: tuple[Expected, ...]
    aircraft: Path | None
    sortie: Path | None


def list_scenarios() -> list[str]:
    """Return the names of the shipped scenarios."""
    return sorted(path.stem for path in FOLDER.glob("*.yaml"))


def find(name: str) -> Path:
    """Return the file of a shipped scenario, or the file that is named. BadInputError if there is neither."""
    shipped = FOLDER / f"{name}.yaml"
    if name in list_scenarios():
        return shipped
    path = Path(name)
    if path.is_file():
        return path
    raise bad_input(
        f"no scenario '{name}'", did_you_mean(name, list_scenarios(), otherwise="see 'watchkeeper drill --list'")
    )


def load(path: Path) -> Scenario:
    """Read and check a scenario. Raises BadInputError with every fault and its place."""
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
        text = raw.decode("utf-8")
    except (OSError, UnicodeDecodeError):
        raise bad_input("cannot read the scenario", "name a YAML file in UTF-8", file=str(path)) from None
    document = parse_document(text, str(path))
    if not isinstance(document.data, dict):
        raise BadInputError([document.fault((), "is not a list of keys and values", "see a shipped scenario")])
    try:
        written = _Written.model_validate(document.data)
    except ValidationError as error:
        raise BadInputError([_fault(document, one) for one in error.errors()]) from None
    values = written.values
    numbers = {
        name: series(getattr(values, name))
        for name in Values.model_fields
        if name not in {"armed", "mode", "landed"}
    }
    words = {
        "armed": steps([(t, "armed" if armed else "disarmed") for t, armed in values.armed]),
        "mode": steps(values.mode),
        "landed": steps(values.landed),
    }
    start = written.start if written.start.tzinfo is not None else written.start.replace(tzinfo=UTC)
    return Scenario(
        name=written.scenario,
        about=written.about,
        start=start,
        duration_s=written.duration_s,
        system=written.system,
        home=written.home,
        bearing_deg=written.bearing_deg,
        battery=written.battery,
        numbers=numbers,
        words=words,
        texts=tuple(written.texts),
        expect=tuple(written.expect),
        aircraft=None if written.aircraft is None else path.parent / written.aircraft,
        sortie=None if written.sortie is None else path.parent / written.sortie,
    )


def _known(points: list[tuple[float, str]], words: tuple[str, ...]) -> list[tuple[float, str]]:
    for _, word in points:
        if word not in words:
            raise ValueError(f"unknown word '{word}', one of {', '.join(words)}")
    return points


def _fault(document: Document, detail: Any) -> Fault:
    path = tuple(detail["loc"])
    last = str(path[-1])
    if detail["type"] == "extra_forbidden":
        model: type[BaseModel] = {"values": Values, "battery": Battery, "expect": Expected}.get(
            str(path[0]) if len(path) > 1 else "", _Written
        )
        return document.fault(path, f"unknown key '{last}'", did_you_mean(last, model.model_fields), key=True)
    if detail["type"] == "missing":
        return document.fault(path[:-1], f"'{last}' is missing", f"add '{last}: …'")
    message = str(detail["msg"]).removeprefix("Value error, ")
    return document.fault(path, f"{last}: {message[:1].lower()}{message[1:]}", "correct it")
