"""Scenarios: what happens in a scripted flight, and which alerts a good watch raises by when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from pydantic import ValidationError

from simulators.scenario_file import Battery, Expected, ScenarioFile, Text, Values, disorder, fault_of
from simulators.scripted.series import Series, Steps, series, steps
from watchkeeper.documents import parse_document
from watchkeeper.errors import BadInputError, bad_input, did_you_mean

FOLDER: Final = Path(__file__).resolve().parent / "scenarios"
DEFAULT: Final = "four-faults"
MAX_BYTES: Final = 1_000_000
_WORDS: Final = ("armed", "mode", "landed", "item")


@dataclass(frozen=True, slots=True)
class Scenario:
    """A scenario ready to fly. Times in seconds from `start`; crew files by their paths."""

    name: str
    about: str
    start: datetime
    duration_s: float
    system: int
    home: tuple[float, float]
    altitude_m: float
    bearing_deg: float
    plan_items: int
    battery: Battery
    numbers: Mapping[str, Series]
    words: Mapping[str, Steps]
    texts: tuple[Text, ...]
    expect: tuple[Expected, ...]
    aircraft: Path | None
    sortie: Path | None


def list_scenarios() -> list[str]:
    """Return the names of the shipped scenarios."""
    return sorted(path.stem for path in FOLDER.glob("*.yaml"))


def find(name: str) -> Path:
    """Return the file of a shipped scenario, or the file that is named. BadInputError if there is neither."""
    shipped = list_scenarios()
    if name in shipped:
        return FOLDER / f"{name}.yaml"
    path = Path(name)
    if path.is_file():
        return path
    raise bad_input(f"no scenario '{name}'", did_you_mean(name, shipped, otherwise=f"one of {', '.join(shipped)}"))


def load(path: Path) -> Scenario:
    """Read and check a scenario. Raises BadInputError with every fault and its place."""
    try:
        with path.open("rb") as file:
            text = file.read(MAX_BYTES + 1).decode("utf-8")
    except (OSError, UnicodeDecodeError):
        raise bad_input("cannot read the scenario", "name a YAML file in UTF-8", file=str(path)) from None
    document = parse_document(text, str(path))
    if not isinstance(document.data, dict):
        raise BadInputError([document.fault((), "is not a list of keys and values", "see a shipped scenario")])
    try:
        written = ScenarioFile.model_validate(document.data)
    except ValidationError as error:
        raise BadInputError([fault_of(document, detail) for detail in error.errors()]) from None
    faults = list(disorder(document, written))
    beside: dict[str, Path | None] = {}
    for key, name in (("aircraft", written.aircraft), ("sortie", written.sortie)):
        beside[key] = None if name is None else path.parent / name
        if name is not None and not (path.parent / name).is_file():
            faults.append(document.fault((key,), f"no {key} file '{name}'", "name it from the scenario's folder"))
    if faults:
        raise BadInputError(faults)
    return _scenario(written, beside)


def _scenario(written: ScenarioFile, beside: Mapping[str, Path | None]) -> Scenario:
    values = written.values
    return Scenario(
        name=written.scenario,
        about=written.about.strip(),
        start=written.start,
        duration_s=written.duration_s,
        system=written.system,
        home=written.home,
        altitude_m=written.altitude_m,
        bearing_deg=written.bearing_deg,
        plan_items=written.plan_items,
        battery=written.battery,
        numbers={name: series(getattr(values, name)) for name in Values.model_fields if name not in _WORDS},
        words={
            "armed": steps([(time, "armed" if armed else "disarmed") for time, armed in values.armed]),
            "mode": steps(values.mode),
            "landed": steps(values.landed),
            "item": steps([(time, str(item)) for time, item in values.item]),
        },
        texts=tuple(written.texts),
        expect=tuple(written.expect),
        aircraft=beside["aircraft"],
        sortie=beside["sortie"],
    )
