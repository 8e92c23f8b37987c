"""The table of what autopilots' parameters mean: autopilots.yaml, checked whole and made ready for reading.

Its head says how it is read. A fault in it is raised with its place; nothing of a faulty table is used.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import Final, NamedTuple

from pydantic import ValidationError
from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.autopilot_file import EVER, Autopilot, Channels, File, Result, Stage, Step, Told
from watchkeeper.aircraft.vocabulary import QUANTITY, STAGE, THRESHOLD, VOCABULARY, Kind, Value
from watchkeeper.documents import Document, Path, parse_document
from watchkeeper.errors import BadInputError, Fault, did_you_mean
from watchkeeper.units import UNITS

FILE: Final = "autopilots.yaml"
LONGEST_NAME: Final = 16
"""Of a parameter (PARAM_VALUE.param_id)."""


class Outcome(NamedTuple):
    """A result made ready: a value, or the next step, or why neither."""

    value: Value | None = None
    next: bool = False
    why: str = ""
    note: str = ""


class Reader(NamedTuple):
    """A step made ready. Its number times `factor`, within bounds, is one of the setting's if `numeric`."""

    name: str
    optional: bool
    constant: Outcome | None
    numeric: bool
    factor: float
    cotangent: bool
    plus: str
    least: float
    most: float
    means: dict[float, Outcome]
    negative: Outcome | None
    otherwise: Outcome | None
    bit: int
    by_bit: tuple[Outcome, Outcome] | None
    """If clear, if set."""
    bits: dict[int, str | None] | None
    digits: dict[str, str | None] | None
    patterns: tuple[tuple[re.Pattern[str], Outcome], ...] | None
    note: str


class Cell(NamedTuple):
    """The steps that hold from one version to below another, and the names they cannot do without."""

    start: int
    end: int
    steps: tuple[Reader, ...]
    needed: tuple[str, ...]


Readings = tuple[tuple[Cell, ...], ...]


class StageTable(NamedTuple):
    """A stage made ready, with the kind and the readings of each of its parts."""

    name: str
    battery: int | None
    parts: dict[str, tuple[Kind, Readings]]


class Table(NamedTuple):
    """One autopilot made ready."""

    vehicles: frozenset[int]
    known_by: frozenset[str]
    lifetimes: dict[str, tuple[int, int]]
    settings: dict[str, Readings]
    stages: tuple[StageTable, ...]
    channels: Channels | None
    """None: not known what gives a channel a function."""


@cache
def tables() -> dict[int, Table]:
    """Return the shipped tables by MAV_AUTOPILOT. Raises BadInputError with places for a faulty file."""
    return load_tables(files("watchkeeper.aircraft").joinpath(FILE).read_text(encoding="utf-8"))


def load_tables(text: str) -> dict[int, Table]:
    """Return the tables in `text`. Raises BadInputError with places."""
    document = parse_document(text, FILE)
    try:
        file = File.model_validate(document.data)
    except ValidationError as error:
        raise BadInputError(
            document.fault(tuple(detail["loc"]), detail["msg"]) for detail in error.errors(include_url=False)
        ) from None
    maker = _Maker(document)
    found = {}
    for index, autopilot in enumerate(file.autopilots):
        at: Path = ("autopilots", index)
        found[maker.enum("MAV_AUTOPILOT", autopilot.autopilot, (*at, "autopilot"))] = maker.table(autopilot, at)
    if maker.faults:
        raise BadInputError(sorted(maker.faults, key=lambda fault: (fault.line, fault.column)))
    return found


class _Maker:
    """Makes tables ready, and gathers what is wrong with them."""

    def __init__(self, document: Document) -> None:
        self._document = document
        self.faults: list[Fault] = []

    def _fault(self, path: Path, what: str, do: str = "", *, key: bool = False) -> None:
        self.faults.append(self._document.fault(path, what, do, key=key))

    def enum(self, enum: str, name: str, path: Path) -> int:
        """Return the number of a name of one of MAVLink's enums."""
        for number, entry in dialect.enums[enum].items():
            if entry.name == name:
                return int(number)
        known = [entry.name for entry in dialect.enums[enum].values()]
        self._fault(path, f"{enum} has no '{name}'", did_you_mean(name, known))
        return -1

    def table(self, autopilot: Autopilot, at: Path) -> Table:
        vehicles = frozenset(
            self.enum("MAV_TYPE", name, (*at, "vehicles", i)) for i, name in enumerate(autopilot.vehicles)
        )
        settings = {}
        for name, readings in autopilot.settings.items():
            path: Path = (*at, "settings", name)
            if name in VOCABULARY:
                settings[name] = self._readings(readings, VOCABULARY[name], path, "")
            else:
                self._fault(path, f"no setting '{name}'", did_you_mean(name, VOCABULARY), key=True)
        stages = tuple(
            made for i, stage in enumerate(autopilot.stages) for made in self._stages(stage, (*at, "stages", i))
        )
        lifetimes = {name: span.span for name, span in autopilot.lifetimes.items()}
        named = {
            name
            for readings in (*settings.values(), *(part[1] for stage in stages for part in stage.parts.values()))
            for reading in readings
            for cell in reading
            for step in cell.steps
            for name in (step.name, step.plus)
        }
        for name in sorted(lifetimes.keys() - named):
            self._fault((*at, "lifetimes", name), f"'{name}' is read nowhere", did_you_mean(name, named), key=True)
        for name in sorted({*autopilot.known_by} - named):
            self._fault((*at, "known_by"), f"'{name}' is read nowhere", did_you_mean(name, named))
        return Table(vehicles, frozenset(autopilot.known_by), lifetimes, settings, stages, autopilot.channels)

    def _stages(self, stage: Stage, at: Path) -> Iterator[StageTable]:
        each = {"": stage.battery} if stage.each is None else stage.each
        kinds = {"quantity": QUANTITY[stage.unit], "threshold": THRESHOLD[stage.unit], **STAGE}
        for of, battery in each.items():
            parts = {
                name: (kind, self._readings(getattr(stage, name), kind, (*at, name), of))
                for name, kind in kinds.items()
            }
            yield StageTable(stage.stage.replace("{of}", of), battery, parts)

    def _readings(self, readings: tuple[tuple[Step, ...], ...], kind: Kind, at: Path, of: str) -> Readings:
        return tuple(self._reading(steps, kind, (*at, i), of) for i, steps in enumerate(readings))

    def _reading(self, steps: tuple[Step, ...], kind: Kind, at: Path, of: str) -> tuple[Cell, ...]:
        made = [self._step(step, kind, (*at, i), of) for i, step in enumerate(steps)]
        edges = sorted({0, EVER, *(edge for step in steps for edge in step.span)})
        cells = []
        for start, end in pairwise(edges):
            held = [one for step, one in zip(steps, made, strict=True) if step.span[0] <= start < step.span[1]]
            if not held:
                continue
            if held[-1].optional or any(outcome.next for outcome in _outcomes(held[-1])):
                self._fault(at, "its last step may go on to a next one", "say what it then is")
            needed = [one.name for one in held if one.name and not one.optional]
            needed += [one.plus for one in held if one.plus]
            cells.append(Cell(start, end, tuple(held), tuple(needed)))
        return tuple(cells)

    def _step(self, step: Step, kind: Kind, at: Path, of: str) -> Reader:
        for result in step.results():
            self._check(result, kind, at)
        name = step.name.removesuffix("?").replace("{of}", of)
        self._check_step(step, name, kind, at)
        unit = UNITS.get(step.unit) if step.unit is not None else None
        into = UNITS[kind.unit]
        if step.unit is not None and (unit is None or unit.kind != into.kind or kind.least > kind.most):
            self._fault((*at, "unit"), f"'{step.unit}' is no unit of this setting", f"like {kind.unit}")
        means = {float(key): _outcome(value) for key, value in step.means.items() if _is_number(key)}
        for key in step.means:
            if key != "negative" and not _is_number(key):
                self._fault((*at, "means", key), f"'{key}' is no number", "give numbers, or 'negative'", key=True)
        return Reader(
            name,
            step.name.endswith("?"),
            None if step.value is None else _outcome(step.value),
            unit is not None,
            step.scale * (unit.factor / into.factor if unit is not None else 1.0),
            step.as_ == "cot",
            step.plus,
            step.least,
            step.most,
            means,
            _outcome(step.means["negative"]) if "negative" in step.means else None,
            None if step.else_ is None else _outcome(step.else_),
            step.bit or 0,
            None if step.set_ is None or step.clear is None else (_outcome(step.clear), _outcome(step.set_)),
            None if step.bits is None else {int(key): word for key, word in step.bits.items() if key.isdigit()},
            None if step.digits is None else dict(step.digits),
            None
            if step.patterns is None
            else tuple((re.compile(key), _outcome(value)) for key, value in step.patterns.items()),
            step.note,
        )

    def _check_step(self, step: Step, name: str, kind: Kind, at: Path) -> None:
        if bool(step.name) == (step.value is not None):
            self._fault(at, "a step has either a name or a value", "give one")
        if len(name) > LONGEST_NAME or len(step.plus) > LONGEST_NAME or not name.isascii():
            self._fault((*at, "name"), f"'{name}' cannot be a parameter's name", "see PARAM_VALUE")
        given = [step.bits, step.digits, step.patterns, step.bit]
        if sum(one is not None for one in given) + bool(step.means or step.else_ is not None or step.unit) > 1:
            self._fault(at, "a step reads in one way", "give bits, digits, patterns or numbers")
        if (step.bit is None) != (step.set_ is None) or (step.bit is None) != (step.clear is None):
            self._fault(at, "a bit needs 'set' and 'clear'", "say what both mean")
        if (step.else_ is not None or step.bit is not None) and (math.isinf(step.least) or math.isinf(step.most)):
            self._fault(at, "not every number can be meant", "give 'least' and 'most'")
        if step.unit is not None and step.else_ is not None:
            self._fault(at, "a number is read by its unit, or stands for something else", "give one")
        if (step.bits is not None or step.digits is not None) and not kind.several:
            self._fault(at, "this setting is no list", "use means")
        if step.span[0] >= step.span[1]:
            self._fault(at, "ends before it begins", "give a later 'below'")

    def _check(self, result: Result, kind: Kind, at: Path) -> None:
        if isinstance(result, Told):
            if (result.is_ is None) == (not result.refuse):
                self._fault(at, "a result is something or is not understood", "give 'is' or 'not'")
            result = "next" if result.is_ is None else result.is_
        if result == "next":
            return
        value = _outcome(result).value
        if value is None or not kind.allows(value):
            self._fault(at, f"'{value}' is nothing that this setting can be", f"words: {', '.join(kind.words)}")


def _is_number(text: str) -> bool:
    return re.fullmatch(r"-?\d+(\.\d+)?", text) is not None


def _outcome(result: Result) -> Outcome:
    if isinstance(result, Told):
        if result.is_ is None:
            return Outcome(why=result.refuse)
        return _outcome(result.is_)._replace(note=result.note)
    if result == "next":
        return Outcome(next=True)
    if isinstance(result, tuple | str):
        return Outcome(result)
    return Outcome(float(result))


def _outcomes(step: Reader) -> Iterator[Outcome]:
    given = (step.constant, step.negative, step.otherwise, *(step.by_bit or ()), *step.means.values())
    yield from (one for one in given if one is not None)
    yield from (outcome for _, outcome in step.patterns or ())
