"""The distribution file of a campaign: what flights and faults are drawn from.

Whatever passes here gives flights that can be flown: every pair lies within what a scenario file allows.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BaseModel, Field, ValidationError
from pydantic_core import PydanticCustomError

from simulators.flown.scenario_file import CellKind
from simulators.onboard.modes import Step, order_of
from simulators.scenario_faults import empty, faults_of
from simulators.scenario_file import Number, Part, Whole
from watchkeeper.documents import Document, parse_document
from watchkeeper.errors import BadInputError, Fault, bad_input, did_you_mean

SHIPPED: Final = Path(__file__).with_name("distributions.yaml")
MAX_BYTES: Final = 100_000
Pair = tuple[float, float]
Chance = Annotated[Number, Field(ge=0, le=1)]
Kind = Literal[
    "gauge lies", "pack opens", "weak cell", "motor weakens", "wind rises", "antenna comes loose",
    "satellites jammed", "position pulled", "motors stop", "restart",
]  # fmt: skip
_AT_S: Final = (0.0, 3600.0)
_PART: Final = (0.0, 1.0)
"""Of about the time that the packs last."""
NEEDS: Final[Mapping[str, Mapping[str, Pair]]] = {
    "gauge lies": {"charge_pct": (1.0, 100.0)},
    "pack opens": {"part": _PART},
    "weak cell": {"mohm": (0.0, 50.0)},
    "motor weakens": {"part": _PART, "health": (0.0, 1.0)},
    "wind rises": {"part": _PART, "speed_m_s": (0.0, 40.0), "after_s": (0.0, 1800.0)},
    "antenna comes loose": {"part": _PART, "loss_db": (0.0, 100.0)},
    "satellites jammed": {"part": _PART, "db": (0.0, 80.0)},
    "position pulled": {"at_s": _AT_S, "speed_m_s": (0.0, 20.0)},
    "motors stop": {"at_s": _AT_S},
    "restart": {"at_s": _AT_S},
}
"""What each kind of fault draws, and between which ends that may lie."""


def _fault_of_pair(pair: Pair, least: float, most: float) -> tuple[str, str] | None:
    """Return what is wrong with a pair and what to do, or None."""
    if pair[0] > pair[1]:
        return f"{pair[0]:g} is above {pair[1]:g}", f"write the lower end first: [{pair[1]:g}, {pair[0]:g}]"
    if pair[0] < least or pair[1] > most:
        return f"has to lie within {least:g} and {most:g}", "correct it"
    return None


def _between(least: float, most: float) -> Any:
    """Return a validator that takes pairs in order whose ends lie within these."""

    def check(pair: Pair) -> Pair:
        found = _fault_of_pair(pair, least, most)
        if found is not None:
            raise PydanticCustomError("pair", "{what}", {"what": found[0], "todo": found[1]})
        return pair

    return AfterValidator(check)


def _lands(order: int) -> int:
    """Refuse an order of a return that climbs not, goes not home, or does not end with its landing."""
    steps = order_of(order)
    digits = str(order)
    if len(steps) < len(digits) or not {Step.CLIMB, Step.CRUISE} < set(steps) or steps[-1] is not Step.LAND:
        todo = {"todo": "write digits like 123456: 1 climb and 3 cruise among them, 6 land as the last"}
        raise PydanticCustomError("order", "is no order of a return that lands at home", todo)
    return order


_Ends = tuple[Number, Number]
Order = Annotated[Whole, AfterValidator(_lands)]


class FlightKeys(Part):
    """What every flight draws: the ends of an even distribution, or a chance."""

    wind_m_s: Annotated[_Ends, _between(0, 25)]
    gust_share: Annotated[_Ends, _between(0, 1)]
    temperature_degc: Annotated[_Ends, _between(-40, 50)]
    altitude_m: Annotated[_Ends, _between(-500, 5000)]
    load_kg: Annotated[_Ends, _between(0, 40)]
    line_chance: Chance
    line_m: Annotated[_Ends, _between(0, 60)]
    charge_pct: Annotated[_Ends, _between(10, 100)]
    unequal_pct: Annotated[_Ends, _between(0, 9)]
    cycles: Annotated[_Ends, _between(0, 1000)]
    cells: Annotated[list[CellKind], Field(min_length=1)]
    capacity_part: Annotated[_Ends, _between(0.5, 1.2)]
    distance_m: Annotated[_Ends, _between(10, 15_000)]
    height_m: Annotated[_Ends, _between(5, 400)]
    speed_m_s: Annotated[_Ends, _between(1, 20)]
    hill_chance: Chance
    far_chance: Chance
    far_m: Annotated[_Ends, _between(10, 15_000)]
    climb_m_s: Annotated[_Ends, _between(0.5, 6)]
    sink_m_s: Annotated[_Ends, _between(0.3, 6)]
    return_height_m: Annotated[_Ends, _between(3, 400)]
    return_speed_m_s: Annotated[_Ends, _between(1, 20)]
    return_hold_s: Annotated[_Ends, _between(0, 600)]
    return_hold_m: Annotated[_Ends, _between(2, 100)]
    landing_m_s: Annotated[_Ends, _between(0.2, 2)]
    odd_order_chance: Chance
    odd_orders: Annotated[list[Order], Field(min_length=1)]
    old_file_chance: Chance
    settings_told_chance: Chance
    latitude_deg: Annotated[_Ends, _between(-60, 60)]
    longitude_deg: Annotated[_Ends, _between(-179, 179)]


class FaultKeys(Part):
    """One kind of fault: how often by comparison, what it draws, which rules call it in what time."""

    kind: Kind
    weight: Annotated[Number, Field(gt=0, le=1e6)]
    by: dict[str, _Ends]
    rules: Annotated[list[Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]{0,59}$")]], Field(min_length=1)]
    within_s: Annotated[Number, Field(gt=0, le=3600)]
    floor: Annotated[str, Field(min_length=1)]


class Distributions(Part):
    """The whole file."""

    flight: FlightKeys
    no_fault: Chance
    faults: list[FaultKeys]

    def fault(self, kind: str) -> FaultKeys:
        """Return what the file says of a kind. KeyError."""
        for one in self.faults:
            if one.kind == kind:
                return one
        raise KeyError(kind)


def read(path: Path) -> Distributions:
    """Read a distribution file. Raises BadInputError with every fault."""
    try:
        with path.open("rb") as file:
            text = file.read(MAX_BYTES + 1).decode("utf-8")
    except (OSError, UnicodeDecodeError):
        raise bad_input("cannot read the distributions", "name a YAML file in UTF-8", file=str(path)) from None
    if len(text) > MAX_BYTES:
        raise bad_input("too large for a file of distributions", f"at most {MAX_BYTES} bytes", file=str(path))
    document = parse_document(text, str(path))
    if not isinstance(document.data, dict):
        raise BadInputError([document.fault((), "is not a list of keys and values", "see the shipped file")])
    blanks = list(empty(document))
    if blanks:
        raise BadInputError(blanks)
    try:
        found = Distributions.model_validate(document.data)
    except ValidationError as error:
        parts: dict[str, type[BaseModel]] = {"flight": FlightKeys, "faults": FaultKeys}
        raise BadInputError(faults_of(document, error, Distributions, parts)) from None
    faults = list(_between_values(document, found))
    if faults:
        raise BadInputError(faults)
    return found


def _between_values(document: Document, found: Distributions) -> Iterator[Fault]:
    """Yield faults that no single value has: what a kind draws or does not draw, and kinds given twice."""
    seen: set[str] = set()
    for i, one in enumerate(found.faults):
        if one.kind in seen:
            yield document.fault(("faults", i, "kind"), f"'{one.kind}' is given twice", "keep one")
        seen.add(one.kind)
        needed = NEEDS[one.kind]
        for name, pair in one.by.items():
            place = ("faults", i, "by", name)
            if name not in needed:
                todo = did_you_mean(name, needed, otherwise=f"it draws {', '.join(needed)}")
                yield document.fault(place, f"'{one.kind}' draws no '{name[:40]}'", todo, key=True)
            elif (wrong := _fault_of_pair(pair, *needed[name])) is not None:
                yield document.fault(place, f"{name}: {wrong[0]}", wrong[1])
        for name in needed:
            if name not in one.by:
                what = f"'{one.kind}' draws '{name}', which is missing"
                yield document.fault(("faults", i, "by"), what, f"add '{name}: [ … , … ]'")
    if not found.faults and found.no_fault < 1:
        yield document.fault(("no_fault",), "there is no fault to draw", "write 1, or add faults")


def even(dice: random.Random, pair: Pair) -> float:
    """Draw evenly between two ends."""
    return dice.uniform(*pair)
