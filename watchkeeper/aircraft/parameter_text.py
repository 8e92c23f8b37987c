"""An aircraft's parameters as a crew has them: seen in a recording, or written down as a text.

The text is a form of our own: a parameter a line, its name and its number apart by spaces, tabs, a comma, `=` or
`:`; from `#` on it is a comment. What kind of autopilot it is, a text tells by its names alone.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

from pymavlink.dialects.v20 import all as dialect

from watchkeeper.aircraft.autopilots import LONGEST_NAME, Readings, Table, tables
from watchkeeper.aircraft.parameters import MOST
from watchkeeper.aircraft.settings import read_settings
from watchkeeper.aircraft.vocabulary import Settings
from watchkeeper.errors import BadInputError, Fault

MAX_CHARACTERS: Final = 1_000_000
"""So many parameters as an aircraft can have, with long comments, are a quarter of it."""
_MOST_FAULTS: Final = 20
_LARGEST: Final = 3.4028234663852886e38
"""Of a float32, as which PARAM_VALUE carries numbers."""
_GAP: Final = re.compile(r"[ \t]*[,=:][ \t]*|[ \t]+")
_NAME: Final = re.compile(r"[!-~]+")
_NUMBER: Final = re.compile(r"[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]{1,3})?")
_FORM: Final = "write a name and a number, like: return.height_m 40"


@dataclass(frozen=True, slots=True)
class SeenParameters:
    """Parameters and where they were seen. A value of None was seen and is not understood.

    `autopilot` is MAV_AUTOPILOT (None: cannot be told), `version` AUTOPILOT_VERSION.flight_sw_version, `vehicle`
    MAV_TYPE (None: not told). `complete`: these are all that it has; `total` is how many it says it has. `remarks`
    say in plain words what was odd.
    """

    source: str
    autopilot: int | None
    version: int | None
    vehicle: int | None
    values: Mapping[str, float | None]
    complete: bool
    total: int | None = None
    remarks: tuple[str, ...] = ()


def settings_of(seen: SeenParameters) -> Settings:
    """Return the settings in what was seen; nothing is understood of an autopilot that cannot be told."""
    return read_settings(
        dialect.MAV_AUTOPILOT_INVALID if seen.autopilot is None else seen.autopilot,
        seen.version,
        seen.values,
        vehicle=seen.vehicle,
        complete=seen.complete,
    )


def parse_parameters(text: str, name: str) -> SeenParameters:
    """Return the parameters in a text; `name` is what messages call it. Raises BadInputError with places.

    A text never counts as complete: nobody says in it how many there are.
    """
    if len(text) > MAX_CHARACTERS:
        raise BadInputError([Fault(name, 0, 0, f"larger than {MAX_CHARACTERS} characters", "name the right file")])
    reader = _Reader(name)
    plain = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    for number, line in enumerate(plain.split("\n"), 1):
        reader.line(number, line)
        if len(reader.faults) >= _MOST_FAULTS:
            break
    if not reader.values and not reader.faults:
        reader.faults.append(Fault(name, 0, 0, "holds no parameters", _FORM))
    if reader.faults:
        raise BadInputError(reader.faults)
    return SeenParameters(name, told_by_names(reader.values), None, None, reader.values, complete=False)


def told_by_names(names: Collection[str]) -> int | None:
    """Return the MAV_AUTOPILOT whose table knows an aircraft with these names, if exactly one does, else None.

    A table that is shown by its marks but knows no more of the names than another one is no answer.
    """
    told = set(names)
    shown = [autopilot for autopilot, table in tables().items() if not table.known_by.isdisjoint(told)]
    if len(shown) != 1:
        return None
    known = {autopilot: len(names_in(table) & told) for autopilot, table in tables().items()}
    best = known.pop(shown[0])
    return shown[0] if all(best > other for other in known.values()) else None


def names_in(table: Table) -> frozenset[str]:
    """Return every parameter's name that a table reads."""
    readings: list[Readings] = [*table.settings.values()]
    readings += [part for stage in table.stages for _, part in stage.parts.values()]
    return frozenset(
        name
        for reading in readings
        for cells in reading
        for cell in cells
        for step in cell.steps
        for name in (step.name, step.plus)
        if name
    )


class _Reader:
    """Reads line by line, and gathers what is wrong."""

    def __init__(self, file: str) -> None:
        self._file = file
        self.values: dict[str, float | None] = {}
        self.faults: list[Fault] = []
        self._lines: dict[str, int] = {}
        self._number = 0
        self._shown = ""

    def line(self, number: int, line: str) -> None:
        """Take a line in."""
        self._number, self._shown = number, line
        told = line.partition("#")[0]
        said = told.strip(" \t")
        if not said:
            return
        column = told.index(said) + 1
        name = _NAME.match(re.split(r"[ \t,=:]", said, maxsplit=1)[0])
        if name is None or (len(name[0]) < len(said) and said[len(name[0])] not in " \t,=:"):
            self._fault(column, "a name must be printable ASCII characters", _FORM)
            return
        rest_at = len(name[0])
        gap = _GAP.match(said, rest_at)
        rest = said[gap.end() if gap else rest_at :]
        if not rest:
            self._fault(column + rest_at, f"'{name[0][:LONGEST_NAME]}' has no number", _FORM)
            return
        if len(name[0]) > LONGEST_NAME:
            what = f"'{name[0][:40]}' is longer than {LONGEST_NAME} characters, which no parameter's name is"
            self._fault(column, what, "check the name")
            return
        at = column + len(said) - len(rest)
        value = self._value(rest, at)
        if value is not None:
            self._keep(name[0], value, column)

    def _value(self, rest: str, at: int) -> float | None:
        number = _NUMBER.match(rest)
        if number is None:
            what = f"'{rest[:40]}' is no finite number"
            self._fault(at, what, "write a decimal number, like 44.5")
            return None
        behind = rest[number.end() :]
        if behind.startswith(",") and re.fullmatch(r",[0-9]+", behind):
            self._fault(at + number.end(), f"'{rest[:40]}' has a decimal comma", "write a decimal point")
            return None
        if behind:
            what = f"'{behind[:40].strip()}' stands behind the number"
            self._fault(at + number.end(), what, "write one parameter a line, units and comments behind '#'")
            return None
        value = float(number[0])
        if not abs(value) <= _LARGEST:
            self._fault(at, f"'{rest[:40]}' is larger than a parameter can be", "check the number")
            return None
        return value

    def _keep(self, name: str, value: float, column: int) -> None:
        if name not in self.values:
            if len(self.values) >= MOST:
                self._fault(column, f"more than {MOST} parameters", "name the right file")
                return
            self.values[name] = value
            self._lines[name] = self._number
        elif value != self.values[name]:
            what = f"'{name}' is {value!r} here and {self.values[name]!r} in line {self._lines[name]}"
            self._fault(column, what, "keep the right one")

    def _fault(self, column: int, what: str, do: str) -> None:
        self.faults.append(Fault(self._file, self._number, column, what, do, self._shown[:200]))
