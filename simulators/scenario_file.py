"""What a scenario file may hold: keys, kinds and bounds. Times in s from the start; units stand in the keys."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Annotated, Any, Final, Literal, NamedTuple

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, Strict
from pydantic_core import PydanticCustomError

from watchkeeper.documents import Document
from watchkeeper.errors import Fault

Mode = Literal["position_hold", "altitude_hold", "mission", "safe_recovery", "land", "takeoff"]
"""MAVLink's standard modes, by the words of MAV_STANDARD_MODE."""
Landed = Literal["ground", "air", "takeoff", "landing"]
"""MAV_LANDED_STATE."""


class Sent(NamedTuple):
    """One frame: seconds from the scenario's start, MAVLink system that sends it, bytes, and by which link."""

    time_s: float
    system: int
    data: bytes
    link: int = 0


_DATE: Final = re.compile(r"\d{4}-\d\d-\d\d")
_YEARS: Final = (2000, 2099)
"""Before, satellites were not what they are; and MAVLink counts microseconds since 1970 without a sign."""


def _written_out(value: Any) -> Any:
    """Refuse what would pass for seconds since 1970."""
    if not isinstance(value, str) or not _DATE.match(value):
        raise PydanticCustomError("datetime_type", "is no date and time")
    return value


def _with_zone(value: datetime) -> datetime:
    if not _YEARS[0] <= value.year <= _YEARS[1]:
        raise PydanticCustomError("years", "has to lie in the years 2000 to 2099")
    return value if value.tzinfo is not None else value.replace(tzinfo=UTC)


def shown(value: str) -> str:
    """Refuse characters that would steer a terminal: these texts are printed."""
    if not value.replace("\n", "").isprintable():
        raise PydanticCustomError(
            "unprintable", "holds characters that cannot be shown", {"todo": "take them out"}
        )
    return value


Words = Annotated[str, AfterValidator(shown)]


Number = Annotated[float, Strict()]
Whole = Annotated[int, Strict()]
Time = Annotated[Number, Field(ge=0, le=7200)]
Share = Annotated[Number, Field(ge=0, le=100)]
Positive = Annotated[Number, Field(ge=0, le=1e5)]
Ohms = Annotated[Number, Field(gt=0, le=500)]
Points = Annotated[list[tuple[Time, Annotated[Number, Field(ge=-1e5, le=1e5)]]], Field(min_length=1)]
PositivePoints = Annotated[list[tuple[Time, Positive]], Field(min_length=1)]
SharePoints = Annotated[list[tuple[Time, Share]], Field(min_length=1)]


class Part(BaseModel):
    """A part of a scenario file: unknown keys are faults, and nothing is infinite."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Expected(Part):
    """An alert that a good watch raises for a fault: not before it `begins`, and not after `by`."""

    rule: str = Field(pattern=r"^[a-z][a-z0-9-]{0,59}$")
    fault: Words
    begins: Time
    by: Annotated[Number, Field(ge=0, le=14400)]


class Text(Part):
    """A status text of the aircraft; severities as in RFC 5424, 0 to 7."""

    at: Time
    severity: Whole = Field(default=6, ge=0, le=7)
    text: str = Field(min_length=1, max_length=50, pattern=r"^[ -~]+$")


class Battery(Part):
    """Equal packs in parallel, one for each resistance, all at one charge before the flight."""

    cells: int = Field(default=12, ge=1, le=14)
    capacity_ah: Annotated[Number, Field(gt=0, le=200)] = 22.0
    resistances_mohm: list[Ohms] = Field(default=[18.0, 19.0], min_length=1, max_length=8)
    charge_pct: Annotated[Number, Field(ge=1, le=100)]
    temperature_degc: Annotated[Number, Field(ge=-60, le=100)] = 18.0


class Values(Part):
    """The values over time. Distance runs from home along the scenario's bearing; sag is volts a cell."""

    height_m: Points
    distance_m: Points
    power_kw: PositivePoints
    satellites: PositivePoints = [(0.0, 24.0)]
    dilution: PositivePoints = [(0.0, 0.7)]
    margin_db: Points = [(0.0, 30.0)]
    sag_v: PositivePoints = [(0.0, 0.0)]
    loss_pct: SharePoints = [(0.0, 0.0)]
    wind_m_s: PositivePoints = [(0.0, 4.0)]
    wind_from_deg: Points = [(0.0, 250.0)]
    armed: list[tuple[Time, Annotated[bool, Strict()]]] = Field(min_length=1)
    mode: list[tuple[Time, Mode]] = Field(min_length=1)
    landed: list[tuple[Time, Landed]] = Field(min_length=1)
    item: list[tuple[Time, Annotated[Whole, Field(ge=0, le=1000)]]] = Field(default=[(0.0, 0)], min_length=1)


Place = tuple[Annotated[Number, Field(ge=-80, le=80)], Annotated[Number, Field(ge=-180, le=180)]]
"""Latitude and longitude in degrees."""


class Heading(Part):
    """What every scenario has."""

    scenario: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,59}$")
    about: Words
    start: Annotated[datetime, BeforeValidator(_written_out), AfterValidator(_with_zone)]
    duration_s: Annotated[Number, Field(gt=0, le=7200)]
    system: Whole = Field(ge=1, le=250)
    home: Place
    altitude_m: Annotated[Number, Field(ge=-500, le=5000)] = 0.0
    aircraft: str | None = None
    sortie: str | None = None


class ScriptedFile(Heading):
    """A scenario in which everything follows a script."""

    bearing_deg: Annotated[Number, Field(ge=0, lt=360)]
    plan_items: Whole = Field(default=0, ge=0, le=1000)
    battery: Battery
    values: Values
    texts: list[Text] = []
    expect: list[Expected] = []


SCRIPTED_MODELS: Final[dict[str, type[BaseModel]]] = {
    "values": Values, "battery": Battery, "expect": Expected, "texts": Text,
}  # fmt: skip
"""The model behind each key, to name the nearest key of a wrong one."""


def disorder(document: Document, written: ScriptedFile) -> Iterator[Fault]:
    """Yield faults that lie between values: times that do not increase, and what is out of order or too late."""
    for name in Values.model_fields:
        times = [point[0] for point in getattr(written.values, name)]
        for i, (earlier, later) in enumerate(itertools.pairwise(times), start=1):
            if later <= earlier:
                what = f"{name}: time {later:g} is not after {earlier:g}"
                yield document.fault(("values", name, i, 0), what, "put the times in order")
    for i, expected in enumerate(written.expect):
        if expected.by <= expected.begins:
            yield document.fault(("expect", i, "by"), "'by' is not after 'begins'", "give the alert some time")
        elif expected.by > written.duration_s:
            what = f"'by' is after the end at {written.duration_s:g} s"
            yield document.fault(("expect", i, "by"), what, "end the scenario later")
    for i, (earlier_text, later_text) in enumerate(itertools.pairwise(written.texts), start=1):
        if later_text.at < earlier_text.at:
            yield document.fault(("texts", i, "at"), "comes before the text above", "put the times in order")
