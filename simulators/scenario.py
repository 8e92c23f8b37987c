"""Scenarios: what happens in a flight, and which alerts a good watch raises by when. Scripted or flown."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final, TypeVar

from pydantic import BaseModel, ValidationError

from simulators.flown import disorder as flown_disorder
from simulators.flown.scenario import FlownScenario
from simulators.flown.scenario_file import MODELS, FlownFile
from simulators.scenario_faults import empty, faults_of
from simulators.scenario_file import (
    SCRIPTED_MODELS,
    Battery,
    Expected,
    Heading,
    ScriptedFile,
    Text,
    Values,
    disorder,
)
from simulators.scripted.series import Series, Steps, series, steps
from watchkeeper.documents import Document, parse_document
from watchkeeper.errors import BadInputError, Fault, bad_input, did_you_mean, nearest

FOLDER: Final = Path(__file__).resolve().parent / "scenarios"
DEFAULT: Final = "four-faults"
MAX_BYTES: Final = 1_000_000
_WORDS: Final = ("armed", "mode", "landed", "item")


@dataclass(frozen=True, slots=True)
class Scenario:
    """A scripted scenario ready to fly. Times in seconds from `start`; crew files by their paths."""

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
    if _is_file(path):
        return path
    todo = did_you_mean(name, shipped, otherwise=f"one of {', '.join(shipped)}")
    raise bad_input(f"no scenario '{name[:60]}'", todo)


def load(path: Path) -> Scenario | FlownScenario:
    """Read and check a scenario: flown if it has weather or is most like one that is flown, else scripted.

    Raises BadInputError with every fault and its place.
    """
    try:
        with path.open("rb") as file:
            text = file.read(MAX_BYTES + 1).decode("utf-8")
    except (OSError, UnicodeDecodeError):
        raise bad_input("cannot read the scenario", "name a YAML file in UTF-8", file=str(path)) from None
    document = parse_document(text, str(path))
    if not isinstance(document.data, dict):
        raise BadInputError([document.fault((), "is not a list of keys and values", "see a shipped scenario")])
    if _is_flown(document.data):
        flown = _checked(document, FlownFile, MODELS)
        beside = _beside(document, path, flown, list(flown_disorder.disorder(document, flown)))
        return FlownScenario(flown, *beside)
    scripted = _checked(document, ScriptedFile, SCRIPTED_MODELS)
    return _scenario(scripted, *_beside(document, path, scripted, list(disorder(document, scripted))))


def load_scripted(path: Path) -> Scenario:
    """Read and check a scenario that must be scripted. Raises BadInputError."""
    scenario = load(path)
    if not isinstance(scenario, Scenario):
        raise bad_input(
            f"{scenario.name} is flown, not scripted", "fly it with: watchkeeper drill", file=str(path)
        )
    return scenario


def _is_flown(keys: Iterable[str]) -> bool:
    """Tell a flown scenario, also by keys that are not written quite right."""
    flown, scripted = (model.model_fields.keys() - Heading.model_fields for model in (FlownFile, ScriptedFile))
    if "weather" in keys:
        return True
    known = [*Heading.model_fields, *flown, *scripted]
    meant = [nearest(key, known) for key in keys]
    return sum(name in flown for name in meant) > sum(name in scripted for name in meant)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name that no file can have
        return False


_File = TypeVar("_File", bound=Heading)


def _checked(document: Document, model: type[_File], parts: Mapping[str, type[BaseModel]]) -> _File:
    blanks = list(empty(document))
    if blanks:
        raise BadInputError(blanks)
    try:
        return model.model_validate(document.data)
    except ValidationError as error:
        raise BadInputError(faults_of(document, error, model, parts)) from None


def _beside(
    document: Document, path: Path, written: Heading, faults: list[Fault]
) -> tuple[Path | None, Path | None]:
    """Return aircraft and sortie file. Raises BadInputError for these and the faults found before."""
    beside: list[Path | None] = []
    for key, name in (("aircraft", written.aircraft), ("sortie", written.sortie)):
        beside.append(None if name is None else path.parent / name)
        if name is not None and not _is_file(path.parent / name):
            faults.append(
                document.fault((key,), f"no {key} file '{name[:60]}'", "name it from the scenario's folder")
            )
    if faults:
        raise BadInputError(faults)
    return beside[0], beside[1]


def _scenario(written: ScriptedFile, aircraft: Path | None, sortie: Path | None) -> Scenario:
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
        aircraft=aircraft,
        sortie=sortie,
    )
