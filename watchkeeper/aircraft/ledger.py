"""The crew's pack ledger: what is known of each pack by its label, from flight to flight.

A pack's capacity is what it holds today, in Ah as its monitor measures it, or as a charger does where the aircraft
file says what the monitor is off by (`counted`); its resistance that of the whole pack, settled, at half charge
and the temperature told. Both go before label and age. Everything may be left out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Annotated, Any, Final, NamedTuple

import yaml
from pydantic import BeforeValidator

from watchkeeper.aircraft.filetypes import MAX_TEXT, FileModel, Text, check_model, quantity, refuse
from watchkeeper.documents import Document, Path, parse_document
from watchkeeper.errors import BadInputError, Fault, did_you_mean
from watchkeeper.units import parse_quantity

MAX_LABELS: Final = 500
"""A crew that flies all day has some dozens."""
KEYS: Final = ("ledger", "packs")
MOST_FLIGHTS: Final = 40
"""Of a pack: older ones are forgotten."""
_FLIGHT: Final = re.compile(r"20\d\d-[01]\d-[0-3]\dT[0-2]\d:[0-5]\d:[0-5]\dZ\Z")
_YEARS: Final = (2000, 2099)
_YAML_WORDS: Final = frozenset({"true", "false", "null", "yes", "no", "on", "off", "y", "n"})
_CAPACITY_LIKE: Final = "21.2 Ah, or 21.2 Ah within 0.5 Ah"
_RESISTANCE_LIKE: Final = "16.1 mohm at 22 degC"
_COLDEST_DEGC, _HOTTEST_DEGC = -60.0, 100.0


class Capacity(NamedTuple):
    """What a pack holds, Ah, and one standard deviation of that (None: not said)."""

    ah: float
    doubt_ah: float | None = None


class Resistance(NamedTuple):
    """Resistance of a whole pack, ohm, and the temperature it was at, degrees C (None: not told)."""

    ohm: float
    degc: float | None = None


def _measure(text: str, unit: str, least: float, most: float, like: str) -> float:
    try:
        number = parse_quantity(text, unit)
    except BadInputError as error:
        refuse(error.faults[0].what, error.faults[0].do or f"write it like '{like}'")
    if not least <= number <= most:
        refuse(f"'{text}' is out of range", f"give {least:g} to {most:g} {unit}")
    return number


def _two(value: Any, word: str, like: str) -> tuple[str, str | None]:
    if not isinstance(value, str):
        refuse("is not a quantity", f"write it like '{like}'")
    first, joined, second = value.partition(f" {word} ")
    return first, second if joined else None


def _capacity(value: Any) -> Capacity:
    first, doubt = _two(value, "within", _CAPACITY_LIKE)
    ah = _measure(first, "Ah", 0.01, 1000, _CAPACITY_LIKE)
    return Capacity(ah, None if doubt is None else _measure(doubt, "Ah", 0.001, ah, _CAPACITY_LIKE))


def _resistance(value: Any) -> Resistance:
    first, degc = _two(value, "at", _RESISTANCE_LIKE)
    ohm = _measure(first, "mohm", 0.01, 2000, _RESISTANCE_LIKE) / 1000
    if degc is None:
        return Resistance(ohm)
    return Resistance(ohm, _measure(degc, "degC", _COLDEST_DEGC, _HOTTEST_DEGC, _RESISTANCE_LIKE))


def _date(value: Any) -> str:
    do = "write it like 2026-11-02"
    try:
        day = date.fromisoformat(value) if isinstance(value, str) and len(value) == len("2026-11-02") else None
    except ValueError:
        day = None
    if day is None:
        refuse("is not a date", do)
    if not _YEARS[0] <= day.year <= _YEARS[1]:
        refuse(f"'{value}' lies in another century", do)
    return day.isoformat()


def _flights(value: Any) -> tuple[str, ...]:
    """Return the ends of flights, UTC to the second."""
    if not isinstance(value, list) or not all(isinstance(one, str) and _FLIGHT.match(one) for one in value):
        refuse("is not a list of times", "write it like [2026-11-02T10:15:00Z]")
    return tuple(value[-MOST_FLIGHTS:])


_CYCLES = quantity("cycles", least=0, most=10_000)


def _cycles(value: Any) -> float:
    """Return a number of cycles, which is a count even without the word."""
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    number: float = _CYCLES.func(f"{value} cycles" if plain else value)  # type: ignore[call-arg]
    return number


class PackEntry(FileModel):
    """What the ledger has of one pack; `cycles` are equivalent full ones, `seen` the day of its last flight.

    `flights` are the ends of those that were booked: by them none is booked twice.
    """

    cycles: Annotated[float | None, BeforeValidator(_cycles)] = None
    capacity: Annotated[Capacity | None, BeforeValidator(_capacity)] = None
    resistance: Annotated[Resistance | None, BeforeValidator(_resistance)] = None
    seen: Annotated[str | None, BeforeValidator(_date)] = None
    flights: Annotated[tuple[str, ...], BeforeValidator(_flights)] = ()


class Ledger(NamedTuple):
    """A ledger: what it calls itself, and its packs by label."""

    about: str | None
    packs: Mapping[str, PackEntry]


class _Head(FileModel):
    ledger: Text | None = None


def read_ledger(text: str, name: str) -> Ledger:
    """Return the ledger in `text`; `name` is what faults call it. Raises BadInputError with places."""
    document = parse_document(text, name)
    data = document.data
    if not isinstance(data, dict):
        raise BadInputError(
            [document.fault((), "is not a list of keys and values", "write it like packs: {A1: {}}")]
        )
    faults = [
        document.fault(
            (key,),
            f"unknown key '{key}'",
            did_you_mean(key, KEYS, otherwise="known here: ledger, packs"),
            key=True,
        )
        for key in data
        if key not in KEYS
    ]
    about = None
    if "ledger" in data:
        try:
            about = check_model(_part(document, {"ledger": data["ledger"]}, ()), _Head, {}).ledger
        except BadInputError as error:
            faults += error.faults
    found = data.get("packs")
    packs: dict[str, PackEntry] = {}
    if found is not None and not isinstance(found, dict):
        faults.append(
            document.fault(
                ("packs",), "'packs' is not a group of keys and values", "write it like {A1: {cycles: 60}}"
            )
        )
    elif found is not None and len(found) > MAX_LABELS:
        faults.append(document.fault(("packs",), f"more than {MAX_LABELS} packs", "keep a ledger for each crew"))
    else:
        for label, part in _parts(document, found or {}).items():
            faults += _label_faults(document, label)
            try:
                packs[label] = check_model(part, PackEntry, {})
            except BadInputError as error:
                faults += error.faults
    if faults:
        raise BadInputError(sorted(faults, key=lambda f: (f.line, f.column)))
    return Ledger(about, packs)


def _label_faults(document: Document, label: str) -> list[Fault]:
    if 0 < len(label) <= MAX_TEXT and label.isprintable() and label == label.strip():
        return []
    do = f"use at most {MAX_TEXT} plain characters on one line"
    return [document.fault(("packs", label), "a label is empty, too long or not printable", do, key=True)]


def _part(document: Document, data: Any, under: Path) -> Document:
    """Return a part of a document as one of its own, which knows where it stands in the whole."""
    n = len(under)
    part = Document(document.name, document.lines, data)
    part.places = {path[n:]: at for path, at in document.places.items() if path[:n] == under}
    part.key_places = {path[n:]: at for path, at in document.key_places.items() if path[:n] == under}
    return part


def _parts(document: Document, found: Mapping[str, Any]) -> dict[str, Document]:
    """Return every pack's part; a label with nothing behind it is a pack of which nothing is known."""
    parts = {
        label: Document(document.name, document.lines, {} if data is None else data)
        for label, data in found.items()
    }
    for table in ("places", "key_places"):
        for path, at in getattr(document, table).items():
            if len(path) >= 2 and path[0] == "packs":
                getattr(parts[path[1]], table)[path[2:]] = at
    return parts


def fitted_faults(
    sortie: Document, fitted: Sequence[str], ledger: Ledger | None, count: int | None
) -> list[Fault]:
    """Return what is wrong with the labels that a sortie file names.

    A label that the ledger does not have is a slip, never a new pack; a pack cannot be fitted twice; and there are
    as many as the aircraft has (None: not known). Without a ledger (None) labels cannot be wrong.
    """
    faults = []
    for i, label in enumerate(fitted):
        at: Path = ("fitted", i)
        if label in fitted[:i]:
            faults.append(sortie.fault(at, f"pack '{label}' is fitted twice", "name each pack once"))
        elif ledger is not None and label not in ledger.packs:
            do = did_you_mean(label, ledger.packs, otherwise="add it to the ledger if it is new")
            faults.append(sortie.fault(at, f"pack '{label}' is not in the ledger", do))
    if count is not None and fitted and len(fitted) != count:
        what = f"{len(fitted)} packs are fitted, the aircraft file has {count}"
        faults.append(sortie.fault(("fitted",), what, "correct it or 'count' in the aircraft file"))
    return faults


def begin(labels: Sequence[str], about: str = "packs of this crew") -> str:
    """Return the text of a ledger of which nothing is known yet but the labels."""
    return ledger_text(Ledger(about, {label: PackEntry() for label in labels}))


def ledger_text(ledger: Ledger) -> str:
    """Return a whole ledger as text."""
    head = [] if ledger.about is None else [f"ledger: {_scalar(ledger.about)}"]
    packs = [f"  {_scalar(label)}: {entry_text(entry)}" for label, entry in ledger.packs.items()]
    return "\n".join([*head, "packs:" if packs else "packs: {}", *packs]) + "\n"


def entry_text(entry: PackEntry) -> str:
    """Return what is known of a pack as it stands in the file."""
    said = []
    if entry.cycles is not None:
        said.append(f"cycles: {_number(entry.cycles, 2)}")
    if entry.capacity is not None:
        within = "" if entry.capacity.doubt_ah is None else f" within {_number(entry.capacity.doubt_ah, 3)} Ah"
        said.append(f"capacity: {_number(entry.capacity.ah, 3)} Ah{within}")
    if entry.resistance is not None:
        at = "" if entry.resistance.degc is None else f" at {_number(entry.resistance.degc, 1)} degC"
        said.append(f"resistance: {_number(1000 * entry.resistance.ohm, 3)} mohm{at}")
    if entry.seen is not None:
        said.append(f"seen: {entry.seen}")
    if entry.flights:
        said.append(f"flights: [{', '.join(entry.flights)}]")
    return "{" + ", ".join(said) + "}"


def _number(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _scalar(text: str) -> str:
    """Return words as YAML reads them back, quoted where they would be taken for something else."""
    plain = text.isascii() and text[:1].isalpha() and all(c.isalnum() or c in " -_./" for c in text)
    if plain and text == text.strip() and text.lower() not in _YAML_WORDS:
        return text
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def rewritten(text: str, name: str, changed: Mapping[str, PackEntry]) -> str:
    """Return the ledger's text with some of its packs changed and all else, comments too, as the crew wrote it.

    Labels that it does not have are left out. Raises BadInputError if the text is no ledger.
    """
    before = read_ledger(text, name)
    after = Ledger(before.about, {**before.packs, **{k: v for k, v in changed.items() if k in before.packs}})
    pieces = []
    at = 0
    for label, value in _pack_nodes(text):
        if label in changed:
            start = value.start_mark.index
            pieces += [
                text[at:start],
                "" if text[start - 1 : start].isspace() else " ",
                entry_text(changed[label]),
            ]
            at = _end(value)
    new = "".join([*pieces, text[at:]])
    try:
        same = {k: entry_text(v) for k, v in read_ledger(new, name).packs.items()}
    except BadInputError:
        same = {}
    # however oddly it was laid out, what is written must say what is meant
    return new if same == {k: entry_text(v) for k, v in after.packs.items()} else ledger_text(after)


def _pack_nodes(text: str) -> list[tuple[str, yaml.Node]]:
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    assert isinstance(root, yaml.MappingNode)
    packs = next((value for key, value in root.value if key.value == "packs"), None)
    if not isinstance(packs, yaml.MappingNode):
        return []
    return [(key.value, value) for key, value in packs.value]


def _end(node: yaml.Node) -> int:
    """Return where a node's text ends; a group over several lines ends with its last value, not after it."""
    if isinstance(node, yaml.MappingNode) and not node.flow_style and node.value:
        return _end(node.value[-1][1])
    return int(node.end_mark.index)
