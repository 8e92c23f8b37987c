"""The distribution file of a campaign: what flights and faults are drawn from."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import Field, ValidationError, model_validator

from simulators.scenario_file import Number, Part
from watchkeeper.documents import parse_document
from watchkeeper.errors import BadInputError, bad_input

SHIPPED: Final = Path(__file__).with_name("distributions.yaml")
Pair = tuple[Number, Number]
Chance = Annotated[Number, Field(ge=0, le=1)]
Kind = Literal[
    "gauge lies", "pack opens", "weak cell", "motor weakens", "wind rises", "antenna comes loose",
    "satellites jammed", "position pulled", "motors stop", "restart",
]  # fmt: skip
NEEDS: Final[dict[str, frozenset[str]]] = {
    "gauge lies": frozenset({"charge_pct"}),
    "pack opens": frozenset({"at_s"}),
    "weak cell": frozenset({"mohm"}),
    "motor weakens": frozenset({"at_s", "health"}),
    "wind rises": frozenset({"at_s", "speed_m_s", "after_s"}),
    "antenna comes loose": frozenset({"at_s", "loss_db"}),
    "satellites jammed": frozenset({"at_s", "db"}),
    "position pulled": frozenset({"at_s", "speed_m_s"}),
    "motors stop": frozenset({"at_s"}),
    "restart": frozenset({"at_s"}),
}
"""What each kind of fault draws."""


class FlightKeys(Part):
    """What every flight draws."""

    wind_m_s: Pair
    gust_share: Pair
    temperature_degc: Pair
    altitude_m: Pair
    load_kg: Pair
    line_chance: Chance
    line_m: Pair
    charge_pct: Pair
    unequal_pct: Pair
    cycles: Pair
    distance_m: Pair
    height_m: Pair
    speed_m_s: Pair
    hill_chance: Chance


class FaultKeys(Part):
    """One kind of fault: how often by comparison, what it draws, which rules call it in what time."""

    kind: Kind
    weight: Annotated[Number, Field(gt=0)]
    by: dict[str, Pair]
    rules: Annotated[list[str], Field(min_length=1)]
    within_s: Annotated[Number, Field(gt=0, le=3600)]
    floor: str

    @model_validator(mode="after")
    def _draws_what_it_needs(self) -> FaultKeys:
        if set(self.by) != NEEDS[self.kind]:
            raise ValueError(f"{self.kind} draws {', '.join(sorted(NEEDS[self.kind]))}")
        return self


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
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise bad_input("cannot read the distributions", "name a YAML file in UTF-8", file=str(path)) from None
    document = parse_document(text, str(path))
    try:
        return Distributions.model_validate(document.data)
    except ValidationError as error:
        faults = [
            document.fault(tuple(one["loc"]), str(one["msg"]), "see the shipped file") for one in error.errors()
        ]
        raise BadInputError(faults) from None


def even(dice: random.Random, pair: Pair) -> float:
    """Draw evenly between two ends."""
    return dice.uniform(*pair)
