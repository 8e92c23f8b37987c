"""What a flown scenario may hold: what the aircraft is and meets, what the crew does, which faults it has.

Units stand in the keys. Lengths and masses that are not given are those of the one invented airframe.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, BaseModel, Field, Strict

from simulators.flown.deeds import Carried, Comer, Do, Go, Percent, Positive, Pull, Sender, Weaken, Wind
from simulators.flown.events import Event, When
from simulators.flown.setup import PackSetup, Setup, Weather
from simulators.flown.site_file import (
    GroundKeys,
    HillKeys,
    LinkKeys,
    NetworkKeys,
    ObstacleKeys,
    RadioKeys,
    RidgeKeys,
    SkyKeys,
    surroundings,
)
from simulators.flown.surroundings import Control, SurroundingsModel
from simulators.onboard.gauge import MonitorErrors
from simulators.physics.airframe import Airframe, Load
from simulators.physics.cell import CELLS
from simulators.physics.packs import PackModel
from simulators.scenario_file import Heading, Number, Part, Place, Time, Whole, shown
from simulators.wire.plan import PlanItem

_WAYPOINT, _TAKEOFF, _RETURN = 16, 22, 20  # MAV_CMD


CellKind = Literal["plain", "nickel", "cobalt", "cobalt-steep"]
"""The keys of `CELLS`."""


class LoadKeys(Part):
    """What is carried at the start; on a line if it has one."""

    mass_kg: Annotated[Number, Field(ge=0, le=40)]
    line_m: Annotated[Number, Field(ge=0, le=60)] = 0.0
    drag_m2: Annotated[Number, Field(ge=0, le=5)] = 0.05


class PackKeys(Part):
    """One pack as it is when switched on. `gauge_pct` is what its gauge takes it for.

    `cell` is what its cells are inside (`CELLS`), `capacity_part` what they hold of what the label says.
    """

    charge_pct: Annotated[Number, Field(ge=1, le=100)] = 100.0
    cycles: Annotated[Number, Field(ge=0, le=1000)] = 40.0
    cell: CellKind = "plain"
    capacity_part: Annotated[Number, Field(ge=0.5, le=1.2)] = 1.0
    gauge_pct: Percent | None = None
    current_scale: Annotated[Number, Field(ge=0.5, le=1.5)] | None = None
    weak_cell: Annotated[Whole, Field(ge=1, le=PackModel().cells_in_series)] | None = None
    weak_mohm: Annotated[Number, Field(ge=0, le=50)] = 0.0


class WeatherKeys(Part):
    """Wind as rows of time in s, m/s at 10 m, from degrees; gusts by the wind at 20 ft in m/s."""

    wind: Annotated[
        list[tuple[Time, Annotated[Number, Field(ge=0, le=40)], Annotated[Number, Field(ge=0, lt=360)]]],
        Field(min_length=1),
    ]
    gusts_m_s: Annotated[Number, Field(ge=0, le=25)] = 0.0
    temperature_degc: Annotated[Number, Field(ge=-40, le=50)] = 15.0
    packs_degc: Annotated[Number, Field(ge=-40, le=60)] | None = None
    roughness_m: Annotated[Number, Field(ge=1e-4, le=2)] = 0.03
    draughts: list[tuple[Time, Annotated[Number, Field(ge=-10, le=10)]]] = Field(default=[])


class PlanKeys(Part):
    """One place of the plan; the first lifts off to its height before it flies there."""

    at: Place
    height_m: Annotated[Number, Field(gt=0, le=400)]
    stay_s: Annotated[Number, Field(ge=0, le=3600)] = 0.0


class Expectation(Part):
    """The rule that a good watch raises for a fault, and how long it may take."""

    rule: str = Field(pattern=r"^[a-z][a-z0-9-]{0,59}$")
    within_s: Annotated[Number, Field(gt=0, le=3600)]


class CrewKeys(Part):
    """Something the crew does."""

    when: When = When()
    do: Do


class FaultKeys(Part):
    """Something that goes wrong."""

    fault: Annotated[str, Field(min_length=1, max_length=60), AfterValidator(shown)]
    when: When
    do: Do
    expect: list[Expectation] = Field(default=[])


class FlownFile(Heading):
    """A flown scenario as written."""

    heading_deg: Annotated[Number, Field(ge=0, lt=360)] = 0.0
    weather: WeatherKeys
    load: LoadKeys | None = None
    packs: Annotated[list[PackKeys], Field(min_length=1, max_length=4)] = Field(default=[PackKeys(), PackKeys()])
    parameters: dict[str, Number] = Field(default={})
    settings_told: Annotated[bool, Strict()] = False
    """Whether a ground station asks for all parameters at the start, so that the stream has them."""
    rates_hz: dict[str, Positive] = Field(default={})
    rate_scale: Annotated[Number, Field(gt=0, le=4)] = 1.0
    ground: GroundKeys | None = None
    sky: SkyKeys | None = None
    links: Annotated[list[LinkKeys], Field(max_length=2)] = Field(default=[])
    control: Control = "another"
    """Whether the pilot's control goes over the first of the links."""
    trainee_flies: Annotated[bool, Strict()] = False
    """Whether the crew's deeds are left out from the beginning when a client may fly."""
    receiver: Annotated[bool, Strict()] = False
    """Whether a receiver at the station tells of others in the air."""
    others: Annotated[list[Comer], Field(max_length=50)] = Field(default=[])
    plan: list[PlanKeys] = Field(default=[])
    return_after_plan: Annotated[bool, Strict()] = False
    crew: list[CrewKeys] = Field(default=[])
    faults: list[FaultKeys] = Field(default=[])

    def setup(self) -> Setup:
        """Return what the flight begins with."""
        weather, load = self.weather, self.load
        return Setup(
            latitude_deg=self.home[0],
            longitude_deg=self.home[1],
            altitude_m=self.altitude_m,
            start=self.start,
            heading_deg=self.heading_deg,
            system=self.system,
            airframe=Airframe(),
            load=Load() if load is None else Load(load.mass_kg, load.line_m, load.drag_m2),
            packs=tuple(_pack(pack) for pack in self.packs),
            pack_temperature_degc=weather.packs_degc,
            weather=Weather(
                tuple(weather.wind),
                weather.gusts_m_s,
                weather.temperature_degc,
                weather.roughness_m,
                tuple(weather.draughts),
            ),
            parameters=self.parameters,
            rates_hz=self.rates_hz,
            rate_scale=self.rate_scale,
        )

    def surroundings(self) -> SurroundingsModel:
        """Return ground, sky and links. ValueError for what cannot stand in a landscape."""
        around = surroundings(self.ground, self.sky, list(self.links), self.control)
        return replace(around, receiver=self.receiver, others=tuple(one.made() for one in self.others))

    def plan_items(self) -> tuple[PlanItem, ...]:
        """Return the plan: take-off, places, and a return if it is to end so."""
        if not self.plan:
            return ()
        items = [PlanItem(_TAKEOFF, None, None, self.plan[0].height_m)]
        items += [PlanItem(_WAYPOINT, *one.at, one.height_m, p1=one.stay_s) for one in self.plan]
        if self.return_after_plan:
            items.append(PlanItem(_RETURN, None, None, 0.0))
        return tuple(items)

    def events(self) -> list[Event]:
        """Return what the crew does and what goes wrong."""
        crew = [Event(f"crew {i}", one.when, one.do, crew=True) for i, one in enumerate(self.crew, start=1)]
        return crew + [Event(one.fault, one.when, one.do, crew=False) for one in self.faults]


def _pack(keys: PackKeys) -> PackSetup:
    monitor = None
    if keys.gauge_pct is not None or keys.current_scale is not None:
        monitor = MonitorErrors(scale=keys.current_scale or 1.0, start_pct=keys.gauge_pct)
    cell = CELLS[keys.cell]
    return PackSetup(
        PackModel(replace(cell, capacity_ah=cell.capacity_ah * keys.capacity_part), cycles=keys.cycles),
        keys.charge_pct / 100,
        monitor,
        None if keys.weak_cell is None else keys.weak_cell - 1,
        keys.weak_mohm / 1000,
    )


MODELS: Final[dict[str, type[BaseModel]]] = {
    "weather": WeatherKeys, "load": LoadKeys, "packs": PackKeys, "plan": PlanKeys, "crew": CrewKeys,
    "faults": FaultKeys, "when": When, "do": Do, "expect": Expectation, "ground": GroundKeys, "sky": SkyKeys,
    "hills": HillKeys, "ridges": RidgeKeys, "obstacles": ObstacleKeys, "radio": RadioKeys, "network": NetworkKeys,
    "go": Go, "weaken": Weaken, "wind": Wind, "pick_up": Carried, "interferer": Sender, "pull": Pull,
    "other": Comer, "others": Comer,
}  # fmt: skip
"""The model behind each key, to name the nearest key of a wrong one."""
