"""What the values of aircraft and sortie files are made of: quantities, positions, words; and their faults.

Every check raises an error that carries what is wrong and what to do, so that one place (`read_model`) turns
all of them into faults with file, line and column.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, NamedTuple, NoReturn, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from watchkeeper.documents import Document, Path, parse_document
from watchkeeper.errors import BadInputError, Fault, did_you_mean, nearest
from watchkeeper.units import parse_quantity

MAX_WORDS = 200  # what a crew has agreed to do, on a card
MOST_OFF = 1.5  # a current sensor that was ever set up is nearer
_YEARS = (2000, 2099)
MAX_TEXT = 80  # a name is spoken or stands in a table; longer ones are slips


class FileModel(BaseModel):
    """Base of all parts of a file: frozen, no unknown keys, filled by the key names of the file."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Position(NamedTuple):
    """A place on the earth, degrees north and east (WGS 84)."""

    latitude_deg: float
    longitude_deg: float


class Wind(NamedTuple):
    """Wind: speed, and the direction it comes from in degrees from north."""

    speed_m_s: float
    from_deg: float


class HoverPower(NamedTuple):
    """A measured point: electrical power to hover at a take-off mass (None: mass not stated)."""

    power_w: float
    mass_kg: float | None


class Hold(NamedTuple):
    """A wait before landing, and the height above home at which it is done (None: where it then is)."""

    time_s: float
    height_m: float | None


class Counted(NamedTuple):
    """What a pack's monitor counted as drawn, and what the charger then put back; Ah, of one flight or several."""

    monitor_ah: float
    charger_ah: float


class Charged(NamedTuple):
    """What a charger put back, Ah, into a pack whose cells had rested at a voltage, V."""

    ah: float
    cell_v: float


def refuse(what: str, do: str, *, key: str = "") -> NoReturn:
    """Raise the error of a check; `key` names the member of the checked part that is at fault."""
    raise PydanticCustomError("fault", "{what}", {"what": what, "do": do, "key": key})


def _measure(value: Any, unit: str, least: float | None, most: float | None, above: float | None) -> float:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        refuse("is not a quantity", f"write a number with a unit, like '5 {unit}'")
    try:
        number = parse_quantity(str(value), unit)
    except BadInputError as error:
        fault = error.faults[0]
        refuse(fault.what, fault.do)
    if above is not None and number <= above:
        refuse(f"'{value}' is too small", f"give more than {above:g} {unit}")
    if least is not None and number < least:
        refuse(f"'{value}' is too small", f"give at least {least:g} {unit}")
    if most is not None and number > most:
        refuse(f"'{value}' is too large", f"give at most {most:g} {unit}")
    return number


def quantity(
    unit: str, *, least: float | None = None, most: float | None = None, above: float | None = None
) -> BeforeValidator:
    """Return the check that turns e.g. "22 Ah" into a float in `unit`, within bounds."""
    return BeforeValidator(lambda value: _measure(value, unit, least, most, above))


def whole(least: int, most: int) -> BeforeValidator:
    """Return the check of a whole number within bounds."""

    def check(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            refuse(f"'{value}' is not a whole number", f"give one from {least} to {most}")
        if not least <= value <= most:
            refuse(f"{value} is out of range", f"give a whole number from {least} to {most}")
        return value

    return BeforeValidator(check)


def one_of(*words: str) -> BeforeValidator:
    """Return the check of a word out of a closed list."""

    def check(value: Any) -> str:
        if value not in words:
            refuse(f"unknown word '{value}'", did_you_mean(str(value), words, otherwise=f"use {', '.join(words)}"))
        return str(value)

    return BeforeValidator(check)


def _text(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        refuse("is not a text", "write it as plain words")
    text = str(value).strip()
    if not text:
        refuse("is empty", "write it as plain words")
    if len(text) > MAX_TEXT or not text.isprintable():
        refuse("is too long or not printable", f"use at most {MAX_TEXT} plain characters on one line")
    return text


def _position(value: Any) -> Position:
    pair = value if isinstance(value, list) and len(value) == len(Position._fields) else [None, None]
    numbers = [float(n) for n in pair if isinstance(n, int | float) and not isinstance(n, bool)]
    if len(numbers) != len(Position._fields):
        refuse("is not a position", "write [latitude, longitude] in degrees, like [1.25, -2.5]")
    latitude, longitude = numbers
    if not -90 <= latitude <= 90:
        refuse(f"latitude {latitude:g} is out of range", "give -90 to 90 degrees, latitude first")
    if not -180 <= longitude <= 180:
        refuse(f"longitude {longitude:g} is out of range", "give -180 to 180 degrees, latitude first")
    return Position(latitude, longitude)


def _two(value: Any, word: str, example: str) -> tuple[str, str | None]:
    """Split "A at B" at its joining word."""
    if not isinstance(value, str):
        refuse("is not understood", f"write it like '{example}'")
    first, joined, second = (part.strip() for part in re.sub(r"\s+", " ", value).partition(f" {word} "))
    return first, second if joined else None


def _wind(value: Any) -> Wind:
    speed, direction = _two(value, "from", "7 m/s from 250 deg")
    if direction is None:
        refuse(f"'{value}' does not say where the wind comes from", "write it like '7 m/s from 250 deg'")
    return Wind(_measure(speed, "m/s", 0, 60, None), _measure(direction, "deg", 0, 360, None) % 360)


def _hover_power(value: Any) -> HoverPower:
    power, mass = _two(value, "at", "4.1 kW at 30 kg")
    mass_kg = None if mass is None else _measure(mass, "kg", None, 1000, 0)
    return HoverPower(_measure(power, "W", None, 200_000, 0), mass_kg)


def _hold(value: Any) -> Hold:
    time, height = _two(value, "at", "30 s at 8 m")
    height_m = None if height is None else _measure(height, "m", 0, 1000, None)
    return Hold(_measure(time, "s", 0, 3600, None), height_m)


def _charged(value: Any) -> Charged:
    example = "4.1 Ah from 3.98 V"
    ah, volts = _two(value, "from", example)
    if volts is None:
        refuse(f"'{value}' does not say from which voltage of a cell", f"write it like '{example}'")
    return Charged(_measure(ah, "Ah", 0, 1000, None), _measure(volts, "V", 2, 4.5, None))


def _counted(value: Any) -> Counted:
    example = "14.2 Ah of 14.6 Ah"
    monitor, charger = _two(value, "of", example)
    if charger is None:
        refuse(f"'{value}' does not say of how much that the charger put back", f"write it like '{example}'")
    found = Counted(_measure(monitor, "Ah", None, 10_000, 0), _measure(charger, "Ah", None, 10_000, 0))
    if not 1.0 / MOST_OFF <= found.monitor_ah / found.charger_ah <= MOST_OFF:
        refuse(
            f"a monitor that counts {found.monitor_ah:g} Ah of {found.charger_ah:g} Ah is not set up",
            "state one pack's Ah of one pack's, or all of all; if so it is, set the current sensor up",
        )
    return found


def _settings(value: Any) -> dict[str, str]:
    if not isinstance(value, dict):
        refuse("is not a group of keys and values", "write it like {cell_floor: 3.3 V}")
    for key, setting in value.items():
        if isinstance(setting, bool) or not isinstance(setting, str | int | float):
            refuse("is not a quantity", "write a number with a unit, like '3.3 V'", key=key)
    return {key: str(setting) for key, setting in value.items()}


def _emergencies(value: Any) -> dict[str, str]:
    if not isinstance(value, dict):
        refuse("is not a group of keys and values", "write it like {link lost: wait at the hold, then land}")
    for key, words in value.items():
        if not isinstance(words, str) or not words.strip() or not words.isprintable() or len(words) > MAX_WORDS:
            do = f"write at most {MAX_WORDS} plain characters, in quotes where they hold a comma or a colon"
            refuse("is not a line of words", do, key=key)
        if len(str(key)) > MAX_TEXT or not str(key).isprintable():
            refuse("has a key that is too long or not printable", f"use at most {MAX_TEXT} plain characters")
    return {str(key): words.strip() for key, words in value.items()}


def _start(value: Any) -> float:
    do = "write it like 2026-11-24T14:00Z"
    if not isinstance(value, str):
        refuse("is not a date and time", do)
    try:
        moment = datetime.fromisoformat(value)
    except ValueError:
        refuse(f"'{value}' is not a date and time", do)
    if moment.tzinfo is None:
        refuse(f"'{value}' does not say in which time zone", "end it in Z for UTC, or in +02:00 and the like")
    if not _YEARS[0] <= moment.year <= _YEARS[1]:
        refuse(f"'{value}' lies in another century", do)
    return moment.timestamp()


Text = Annotated[str, BeforeValidator(_text)]
PositionField = Annotated[Position, BeforeValidator(_position)]
WindField = Annotated[Wind, BeforeValidator(_wind)]
HoverPowerField = Annotated[HoverPower, BeforeValidator(_hover_power)]
HoldField = Annotated[Hold, BeforeValidator(_hold)]
ChargedField = Annotated[Charged, BeforeValidator(_charged)]
CountedField = Annotated[Counted, BeforeValidator(_counted)]
SettingsField = Annotated[dict[str, str], BeforeValidator(_settings)]
"""Values for the rule packs by name, not parsed yet."""
EmergenciesField = Annotated[dict[str, str], BeforeValidator(_emergencies)]
StartField = Annotated[float, BeforeValidator(_start)]

M = TypeVar("M", bound=FileModel)


def read_model(text: str, name: str, model: type[M], hints: Mapping[str, str]) -> M:
    """Return the text as a model. `hints` says what to do about certain unknown keys at the top.

    Raises BadInputError with every fault found, each with its place.
    """
    return check_model(parse_document(text, name), model, hints)


def check_model(document: Document, model: type[M], hints: Mapping[str, str]) -> M:
    """Return a parsed document as a model. Raises BadInputError with every fault found, each with its place."""
    if not isinstance(document.data, dict):
        raise BadInputError(
            [document.fault((), "is not a list of keys and values", "see the README for an example")]
        )
    try:
        return model.model_validate(document.data)
    except ValidationError as error:
        details = error.errors(include_url=False)
        faults = [_fault(document, model, hints, detail) for detail in details if not _follows(detail, details)]
        raise BadInputError(sorted(faults, key=lambda f: (f.line, f.column))) from None


def _follows(detail: ErrorDetails, details: list[ErrorDetails]) -> bool:
    """Whether an error only follows from another one.

    A list is too short because entries of it are at fault; a key is missing because it is misspelt.
    """
    path = detail["loc"]
    if detail["type"] == "too_short":
        return any(len(other["loc"]) > len(path) and other["loc"][: len(path)] == path for other in details)
    if detail["type"] == "missing":
        return any(
            other["type"] == "extra_forbidden"
            and other["loc"][:-1] == path[:-1]
            and nearest(str(other["loc"][-1]), [str(path[-1])]) is not None
            for other in details
        )
    return False


def _fault(document: Document, model: type[FileModel], hints: Mapping[str, str], detail: ErrorDetails) -> Fault:
    path: Path = tuple(detail["loc"])
    last = str(path[-1]) if path else ""
    name = _name(path)
    match detail["type"]:
        case "fault":
            context = detail["ctx"]
            at = (*path, context["key"]) if context["key"] else path
            return document.fault(at, _named(_name(at), context["what"]), context["do"])
        case "extra_forbidden":
            known = _keys(model, path[:-1])
            hint = hints.get(last, "") if len(path) == 1 else ""
            do = hint or did_you_mean(last, known, otherwise=f"known here: {', '.join(known)}")
            return document.fault(path, f"unknown key '{last}'", do, key=True)
        case "missing":
            return document.fault(path[:-1], f"'{last}' is missing", f"add '{last}: …'")
        case "bool_type" | "bool_parsing":
            return document.fault(path, f"{name} is neither true nor false", "write true or false")
        case "list_type" | "tuple_type":
            return document.fault(path, f"{name} is not a list", "write it like [one, two]")
        case "too_short":
            least = detail["ctx"]["min_length"]
            return document.fault(path, f"{name} has fewer than {least} entries", f"give at least {least}")
        case _:
            return document.fault(path, f"{name} is not a group of keys and values", "write it like {key: value}")


def _name(path: Path) -> str:
    """Name what stands at a path: a key, or an entry of a list."""
    if not path or isinstance(path[-1], str):
        return f"'{path[-1]}'" if path else ""
    return f"entry {path[-1] + 1} of {_name(path[:-1])}" if len(path) > 1 else f"entry {path[-1] + 1}"


def _named(name: str, what: str) -> str:
    """Put a name in front of a text that speaks of it ("is empty")."""
    return f"{name} {what}" if what.startswith(("is ", "does ")) and name else what


def _keys(model: type[FileModel], path: Path) -> list[str]:
    """Return the key names that a part of a file may have."""
    part: type[FileModel] = model
    for step in path:
        if isinstance(step, str):
            field = next(f for n, f in part.model_fields.items() if step in (n, f.alias))
            part = _model_in(field.annotation)
    return [field.alias or name for name, field in part.model_fields.items()]


def _model_in(annotation: Any) -> type[FileModel]:
    """Return the model that an annotation (a model, or a tuple of models) holds."""
    if isinstance(annotation, type) and issubclass(annotation, FileModel):
        return annotation
    inner: type[FileModel] = annotation.__args__[0]
    return inner
