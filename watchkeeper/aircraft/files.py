"""Aircraft files and sortie files: what the crew tells about the aircraft and today's flight.

The keys are those of the README; quantities are strings with units there and floats here, with the unit in
the attribute's name. Everything may be left out; an attribute of None means "not said".
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from watchkeeper.aircraft.catalogue import MAX_PACKS
from watchkeeper.aircraft.filetypes import (
    ChargedField,
    CountedField,
    EmergenciesField,
    FileModel,
    HoldField,
    HoverPowerField,
    PositionField,
    SettingsField,
    StartField,
    Text,
    WindField,
    one_of,
    quantity,
    read_model,
    refuse,
    whole,
)
from watchkeeper.aircraft.geodesy import Around
from watchkeeper.aircraft.polygon import crosses_itself

MOST_CORNERS = 4000
"""Of one area; the border of a state has no more on a map of its size."""
MOST_CHARGED = 12
"""Measured points of a cell: more tell nothing new."""
CONTRADICT_V = 0.03
"""By so much two readings of a resting cell may contradict each other and be taken all the same."""
Monitor = int | Literal["sum", "other"]
"""What a battery instance measures: a pack's number (from 1), the sum of the packs, or no flight battery."""

SEGMENTS = ("climb", "cruise", "descend", "hold", "land")
_MONITOR = re.compile(r"pack (\d{1,2})\Z")


def _monitors(value: Any) -> dict[int, Monitor]:
    if not isinstance(value, dict):
        refuse("is not a group of keys and values", "write it like {0: pack 1, 1: pack 2}")
    monitors: dict[int, Monitor] = {}
    for key, what in value.items():
        if not (isinstance(key, str) and key.isascii() and key.isdigit() and int(key) <= 255):
            refuse(f"'{key}' is not a battery instance", "use the instance's id, 0 to 255", key=str(key))
        match = _MONITOR.match(what) if isinstance(what, str) else None
        if match is not None and 1 <= int(match[1]) <= MAX_PACKS:
            monitors[int(key)] = int(match[1])
        elif what in ("sum", "other"):
            monitors[int(key)] = what
        else:
            refuse(f"unknown word '{what}'", f"use pack 1 to pack {MAX_PACKS}, sum or other", key=key)
    return monitors


class Rotors(FileModel):
    """The rotors; a coaxial pair counts two.

    `outputs` are the numbers (from 1) of the autopilot's outputs that drive them, motor 1 first; without it they
    are found by what rises at take-off.
    """

    count: Annotated[int | None, whole(2, 32)] = None
    diameter_m: Annotated[float | None, quantity("m", above=0, most=10)] = Field(default=None, alias="diameter")
    outputs: tuple[Annotated[int, whole(1, 32)], ...] = ()

    @model_validator(mode="after")
    def _one_output_a_rotor(self) -> Self:
        if len(set(self.outputs)) != len(self.outputs):
            refuse("an output stands twice", "name each output once", key="outputs")
        if self.outputs and self.count is not None and len(self.outputs) != self.count:
            refuse(f"{len(self.outputs)} outputs for {self.count} rotors", "name one for each", key="outputs")
        return self


class Mass(FileModel):
    """Masses at take-off: `empty` is ready to fly with packs and without payload."""

    empty_kg: Annotated[float | None, quantity("kg", above=0, most=1000)] = Field(default=None, alias="empty")
    maximum_kg: Annotated[float | None, quantity("kg", above=0, most=1000)] = Field(default=None, alias="maximum")

    @model_validator(mode="after")
    def _empty_within_maximum(self) -> Self:
        if self.empty_kg is not None and self.maximum_kg is not None and self.empty_kg > self.maximum_kg:
            refuse("empty mass is above the maximum mass", "check both", key="empty")
        return self


class Packs(FileModel):
    """The flight packs, all alike. `capacity`, `resistance` and `cells` are of one pack."""

    chemistry: Annotated[str, one_of("lipo", "lihv", "liion")] = "lipo"
    cells: Annotated[int | None, whole(1, 24)] = None
    capacity_ah: Annotated[float | None, quantity("Ah", above=0, most=1000)] = Field(
        default=None, alias="capacity"
    )
    count: Annotated[int, whole(1, MAX_PACKS)] = 1
    topology: Annotated[str, one_of("parallel", "series")] = "parallel"
    resistance_ohm: Annotated[float | None, quantity("ohm", above=0, most=2)] = Field(
        default=None, alias="resistance"
    )
    cell_floor_v: Annotated[float | None, quantity("V", least=2, most=4)] = Field(default=None, alias="cell_floor")
    age_cycles: Annotated[float | None, quantity("cycles", least=0, most=10_000)] = Field(
        default=None, alias="age"
    )
    charged: tuple[ChargedField, ...] = ()
    """What the charger put back, from which resting voltage of a cell: the crew's own measure of its cells."""
    counted: tuple[CountedField, ...] = ()
    """What each pack's monitor, pack 1 first, counted of what the charger put back; one for a monitor of all."""
    monitors: Annotated[dict[int, Monitor], BeforeValidator(_monitors)] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _counted_for_each_monitor(self) -> Self:
        numbers, measured = len(self.counted), set(self.monitors.values())
        if numbers > 1 and numbers != self.count:
            do = "give one for each pack, pack 1 first, or one for a monitor of all; or correct 'count'"
            refuse(f"'counted' has {numbers} numbers for {self.count} packs", do, key="counted")
        if numbers > 1 and not measured.issuperset(range(1, self.count + 1)):
            do = "write like {0: pack 1, 1: pack 2} into 'monitors' which instance measures which"
            refuse("'counted' has a number for each pack, and no monitor of each is named", do, key="counted")
        if numbers == 1 < self.count and ("sum" not in measured or any(isinstance(one, int) for one in measured)):
            do = "give one for each pack; for one monitor of all write {0: sum} into 'monitors'"
            refuse(f"'counted' has one number for {self.count} packs", do, key="counted")
        return self

    @model_validator(mode="after")
    def _charged_as_cells_are(self) -> Self:
        if self.charged and self.capacity_ah is None:
            refuse("'charged' needs the packs' capacity", "add 'capacity'", key="charged")
        for one in self.charged:
            if self.capacity_ah is not None and one.ah > self.capacity_ah:
                do = "state what went into one pack, and its capacity"
                refuse(f"{one.ah:g} Ah are more than a pack holds", do, key="charged")
        if len(self.charged) > MOST_CHARGED:
            refuse(f"'charged' has more than {MOST_CHARGED} points", "keep those that lie apart", key="charged")
        for one, more in pairwise(sorted(self.charged)):
            if more.cell_v > one.cell_v + CONTRADICT_V:
                how, than = ("as much", "as") if more.ah == one.ah else ("more", "than")
                what = f"{how} was put back from {more.cell_v:g} V {than} from {one.cell_v:g} V"
                refuse(what, "correct one of the two, or leave it out", key="charged")
        return self

    @model_validator(mode="after")
    def _monitors_within_count(self) -> Self:
        for instance, pack in self.monitors.items():
            if isinstance(pack, int) and pack > self.count:
                refuse(
                    f"instance {instance} measures pack {pack} of {self.count}",
                    "correct it or 'count'",
                    key="monitors",
                )
        return self


class Limits(FileModel):
    """What the maker or the crew does not want exceeded."""

    airspeed_m_s: Annotated[float | None, quantity("m/s", above=0, most=100)] = Field(
        default=None, alias="airspeed"
    )
    tilt_deg: Annotated[float | None, quantity("deg", above=0, most=80)] = Field(default=None, alias="tilt")
    wind_m_s: Annotated[float | None, quantity("m/s", above=0, most=60)] = Field(default=None, alias="wind")
    gust_m_s: Annotated[float | None, quantity("m/s", above=0, most=60)] = Field(default=None, alias="gust")
    descent_m_s: Annotated[float | None, quantity("m/s", above=0, most=20)] = Field(default=None, alias="descent")
    vibration_m_s2: Annotated[float | None, quantity("m/s2", above=0, most=500)] = Field(
        default=None, alias="vibration"
    )
    """Of the autopilot's accelerometers, along any axis, as VIBRATION tells it."""
    motor_degc: Annotated[float | None, quantity("degC", least=30, most=200)] = Field(
        default=None, alias="motor_temperature"
    )
    """Of a motor's controller, as its telemetry tells it."""


class Return(FileModel):
    """The return as the aircraft is set to fly it: what it does, in its order."""

    height_m: Annotated[float | None, quantity("m", least=0, most=1000)] = Field(default=None, alias="height")
    speed_m_s: Annotated[float | None, quantity("m/s", above=0, most=100)] = Field(default=None, alias="speed")
    order: tuple[Annotated[str, one_of(*SEGMENTS)], ...] = SEGMENTS
    hold: HoldField | None = None
    landing_m_s: Annotated[float | None, quantity("m/s", above=0, most=10)] = Field(default=None, alias="landing")

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        if len(set(self.order)) != len(self.order):
            refuse("a step stands twice in the order", "name each step once", key="order")
        return self


class AircraftFile(FileModel):
    """An aircraft file. `system` None fits any MAVLink system."""

    aircraft: Text | None = None
    system: Annotated[int | None, whole(1, 255)] = None
    kind: Annotated[str, one_of("multirotor", "helicopter", "fixed_wing", "vtol", "other")] = "multirotor"
    rotors: Rotors = Rotors()
    mass: Mass = Mass()
    packs: Packs = Packs()
    hover_power: HoverPowerField | None = None
    limits: Limits = Limits()
    return_: Return = Field(default=Return(), alias="return")


class Payload(FileModel):
    """The load; `line` is the length of the line it hangs on, 0 for one fixed to the frame."""

    mass_kg: Annotated[float, quantity("kg", least=0, most=1000)] = Field(default=0.0, alias="mass")
    line_m: Annotated[float, quantity("m", least=0, most=200)] = Field(default=0.0, alias="line")


class Obstacle(FileModel):
    """Something to fly around or over: a post of a height above home and a radius."""

    name: Text
    at: PositionField
    height_m: Annotated[float, quantity("m", least=-1000, most=1000)] = Field(alias="height")
    radius_m: Annotated[float, quantity("m", least=0, most=10_000)] = Field(default=0.0, alias="radius")


class Area(FileModel):
    """A polygon (closed by itself) to stay within, to keep out of, or where people are.

    A border that crosses itself is refused: what is inside of it would be a guess.
    """

    name: Text
    kind: Annotated[str, one_of("boundary", "keep_out", "people")]
    points: tuple[PositionField, ...] = Field(min_length=3)

    @model_validator(mode="after")
    def _simple(self) -> Self:
        if len(self.points) > MOST_CORNERS:
            refuse(f"'{self.name}' has {len(self.points)} corners", f"give at most {MOST_CORNERS}", key="points")
        around = Around(*self.points[0])
        if crosses_itself([around.flat(*place) for place in self.points]):
            refuse(f"the border of '{self.name}' crosses itself", "check the order of its corners", key="points")
        return self


class LandingPlace(FileModel):
    """A place where the aircraft can be put down; height above home."""

    name: Text
    at: PositionField
    height_m: Annotated[float, quantity("m", least=-1000, most=1000)] = Field(default=0.0, alias="height")


class Ground(FileModel):
    """A spot of ground above or below home that matters on the way: a rise, a valley."""

    at: PositionField
    height_m: Annotated[float, quantity("m", least=-1000, most=1000)] = Field(alias="height")


class Clearance(FileModel):
    """By how much a return clears what stands under it: a share of its height, or some metres if that is more.

    Common practice: 10 to 15 % over the tallest obstacle, and never less than some metres.
    """

    share_pct: Annotated[float, quantity("%", least=10, most=100)] = Field(default=15.0, alias="share")
    least_m: Annotated[float, quantity("m", least=0, most=200)] = Field(default=10.0, alias="least")


class PlanItem(FileModel):
    """A point of the plan: where, how high above home, and how long to stay."""

    at: PositionField
    height_m: Annotated[float, quantity("m", least=-1000, most=1000)] = Field(alias="height")
    stay_s: Annotated[float, quantity("s", least=0, most=86_400)] = Field(default=0.0, alias="stay")


class Weather(FileModel):
    """Weather as forecast or measured; the aircraft's own wind, where it sends one, goes before it."""

    wind: WindField | None = None
    gusts_m_s: Annotated[float | None, quantity("m/s", least=0, most=60)] = Field(default=None, alias="gusts")
    temperature_degc: Annotated[float | None, quantity("degC", least=-60, most=60)] = Field(
        default=None, alias="temperature"
    )

    @model_validator(mode="after")
    def _gusts_above_wind(self) -> Self:
        if self.wind is not None and self.gusts_m_s is not None and self.gusts_m_s < self.wind.speed_m_s:
            refuse("gusts are below the wind", "gusts are the peaks of it", key="gusts")
        return self


class Radio(FileModel):
    """The telemetry radio, and whether control goes over the same, another, or a network."""

    kind: Text | None = None
    frequency_mhz: Annotated[float | None, quantity("MHz", above=0, most=100_000)] = Field(
        default=None, alias="frequency"
    )
    control: Annotated[str | None, one_of("same", "another", "network")] = None
    budget_db: Annotated[float | None, quantity("dB", above=0, most=300)] = Field(default=None, alias="budget")
    """Transmit power and antenna gains less the receiver's sensitivity: the path loss that just still works."""
    station_height_m: Annotated[float, quantity("m", above=0, most=200)] = Field(
        default=2.0, alias="station_height"
    )


class CrewUnits(FileModel):
    """Units in which the crew wants heights and speeds spoken and shown."""

    height: Annotated[str, one_of("m", "ft")] = "m"
    speed: Annotated[str, one_of("m/s", "km/h", "kt")] = "m/s"


class Crew(FileModel):
    """The crew: where it stands (else at home), whether home moves with it, its switch (RC channel), its units.

    `roles` are those who are to confirm before a take-off that they hear the watch; with `test_calls` it calls
    them by itself once an aircraft is first heard on the ground.
    """

    at: PositionField | None = None
    moving: bool = False
    roles: tuple[Annotated[str, one_of("pilot", "observer", "post")], ...] = ()
    test_calls: bool = False
    acknowledge_channel: Annotated[int | None, whole(1, 18)] = None
    units: CrewUnits = CrewUnits()


class SortieFile(FileModel):
    """A sortie file. `aircraft` names its aircraft file; `settings` are values for the rule packs, unparsed."""

    sortie: Text | None = None
    aircraft: Text | None = None
    home: PositionField | None = None
    payload: Payload = Payload()
    reserve_pct: Annotated[float | None, quantity("%", least=0, most=90)] = Field(default=None, alias="reserve")
    ceiling_m: Annotated[float | None, quantity("m", above=0, most=10_000)] = Field(default=None, alias="ceiling")
    sight_m: Annotated[float | None, quantity("m", above=0, most=20_000)] = Field(default=None, alias="sight")
    """How far from home the crew sees it well enough to fly it; without it, that is not judged."""
    obstacles: tuple[Obstacle, ...] = ()
    areas: tuple[Area, ...] = ()
    landing_places: tuple[LandingPlace, ...] = ()
    plan: tuple[PlanItem, ...] = ()
    weather: Weather = Weather()
    radio: Radio = Radio()
    crew: Crew = Crew()
    checklist: tuple[Text, ...] = ()
    emergencies: EmergenciesField = Field(default_factory=dict)
    """What the crew has agreed to do, by failure, in its own words."""
    start: StartField | None = None
    """Take-off, seconds since 1970."""
    ground: tuple[Ground, ...] = ()
    clearance: Clearance = Clearance()
    ledger: Text | None = None
    """The crew's pack ledger, a file beside this one."""
    fitted: tuple[Text, ...] = ()
    """Labels of the packs in the aircraft, pack 1 first, as the ledger has them."""
    settings: SettingsField = Field(default_factory=dict)


def load_aircraft_file(text: str, name: str) -> AircraftFile:
    """Return the aircraft file in `text`; `name` is what faults call it. Raises BadInputError with places."""
    return read_model(text, name, AircraftFile, {"sortie": "this is a sortie file; give it as one"})


def load_sortie_file(text: str, name: str) -> SortieFile:
    """Return the sortie file in `text`; `name` is what faults call it. Raises BadInputError with places."""
    of_aircraft = "this belongs in the aircraft file"
    return read_model(text, name, SortieFile, dict.fromkeys(("packs", "rotors", "limits", "return"), of_aircraft))
