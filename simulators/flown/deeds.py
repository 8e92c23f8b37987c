"""What can be done to a flight: by its crew, and by whatever goes wrong."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator, Field, Strict, model_validator
from pydantic_core import PydanticCustomError

from simulators.flown.flight import FastFlight
from simulators.flown.overhead import Other
from simulators.flown.surroundings import Surroundings
from simulators.onboard.modes import Mode
from simulators.physics.airframe import Airframe, Load
from simulators.physics.gusts import W20_HEIGHT_M
from simulators.physics.wind import REFERENCE_HEIGHT_M, MeanWind
from simulators.radio.link import Interferer, Radio
from simulators.scenario_file import Number, Part, Time, Whole

ModeName = Literal["position_hold", "altitude_hold", "safe_recovery", "mission", "land", "takeoff"]
Metres = Annotated[Number, Field(ge=-20_000, le=20_000)]
Share = Annotated[Number, Field(ge=0, le=1)]
Percent = Annotated[Number, Field(ge=0, le=100)]
Positive = Annotated[Number, Field(ge=0, le=1000)]


def _is_true(value: Any) -> Any:
    if value is not True:
        raise PydanticCustomError("flag", "has to be true", {"todo": "write true, or take it out"})
    return value


Flag = Annotated[bool, BeforeValidator(_is_true)]
_CALM_M_S: Final = 0.1


class Go(Part):
    """A place to fly to, from the place where the aircraft was switched on."""

    north_m: Metres
    east_m: Metres
    height_m: Metres
    speed_m_s: Annotated[Number, Field(gt=0, le=20)] | None = None


class Weaken(Part):
    """A rotor, counted from 1, and the part of its thrust that is left; 0 stops its motor."""

    rotor: Annotated[Whole, Field(ge=1, le=Airframe().rotors)]
    health: Share


class Wind(Part):
    """Wind from now on, reached after a while: m/s at 10 m."""

    speed_m_s: Annotated[Number, Field(ge=0, le=40)]
    from_deg: Annotated[Number, Field(ge=0, lt=360)]
    after_s: Time = 10.0


class Carried(Part):
    """A load that is picked up."""

    mass_kg: Annotated[Number, Field(gt=0, le=40)]
    line_m: Annotated[Number, Field(ge=0, le=60)] = 0.0
    drag_m2: Annotated[Number, Field(ge=0, le=5)] = 0.0


class Sender(Part):
    """A foreign sender in the radio's band."""

    at: tuple[Metres, Metres]
    power_dbm: Annotated[Number, Field(ge=-20, le=60)]
    height_m: Annotated[Number, Field(ge=0, le=500)] = 5.0


class Pull(Part):
    """How fast a position is led away by false satellites."""

    north_m_s: Annotated[Number, Field(ge=-20, le=20)]
    east_m_s: Annotated[Number, Field(ge=-20, le=20)]
    up_m_s: Annotated[Number, Field(ge=-5, le=5)] = 0.0


class Comer(Part):
    """Another in the air from now on: where it is from the place of power-up, and how it flies on."""

    north_m: Annotated[Number, Field(ge=-50_000, le=50_000)]
    east_m: Annotated[Number, Field(ge=-50_000, le=50_000)]
    height_m: Annotated[Number, Field(ge=0, le=9000)]
    speed_m_s: Annotated[Number, Field(ge=0, le=300)]
    course_deg: Annotated[Number, Field(ge=0, lt=360)]
    climb_m_s: Annotated[Number, Field(ge=-20, le=20)] = 0.0

    def made(self) -> Other:
        """Return it as it flies."""
        return Other(self.north_m, self.east_m, self.height_m, self.speed_m_s, self.course_deg, self.climb_m_s)


class Do(Part):
    """One deed. Exactly one key."""

    arm: Flag | None = None
    disarm: Flag | None = None
    take_off_m: Annotated[Number, Field(gt=1, le=400)] | None = None
    start_plan: Flag | None = None
    go: Go | None = None
    mode: ModeName | None = None
    release: Flag | None = None
    set_home: Flag | None = None
    stop_motors: Flag | None = None
    weaken: Weaken | None = None
    open_pack: Annotated[Whole, Field(ge=1, le=8)] | None = None
    close_pack: Annotated[Whole, Field(ge=1, le=8)] | None = None
    pick_up: Carried | None = None
    wind: Wind | None = None
    gusts_m_s: Annotated[Number, Field(ge=0, le=25)] | None = None
    control_link: Annotated[bool, Strict()] | None = None
    position: Annotated[bool, Strict()] | None = None
    parameter: tuple[str, Number] | None = None
    restart: Flag | None = None
    there_already: Flag | None = None
    """Nothing: the fault is in the aircraft from the beginning, and this says from when it counts."""
    antenna_loss_db: Annotated[Number, Field(ge=0, le=100)] | None = None
    radio: Annotated[bool, Strict()] | None = None
    interferer: Sender | None = None
    jam_db: Annotated[Number, Field(ge=0, le=80)] | None = None
    pull: Pull | None = None
    release_pull: Flag | None = None
    other: Comer | None = None
    receiver: Annotated[bool, Strict()] | None = None

    @model_validator(mode="after")
    def _one(self) -> Do:
        named = [name for name in type(self).model_fields if name in self.model_fields_set]
        if not named:
            raise PydanticCustomError("deed", "does nothing", {"todo": "name one deed, like {arm: true}"})
        if len(named) > 1:
            deeds = {"todo": "make an event of each", "deeds": " and ".join(named)}
            raise PydanticCustomError("deed", "holds more than one deed: {deeds}", deeds)
        return self

    @property
    def name(self) -> str:
        """The one key."""
        return next(iter(self.model_fields_set))

    def carry_out(self, flight: FastFlight, around: Surroundings | None = None) -> None:
        """Do it. What is done to sky and links happens only where there are any."""
        name = self.name
        value = getattr(self, name)
        if name in _DEEDS:
            _DEEDS[name](flight, value)
        elif around is not None:
            _AROUND[name](around, value)
        elif name in {"control_link", "position"}:
            _without(flight, name, present=value)


def _change_wind(flight: FastFlight, wind: Wind) -> None:
    """Let the wind change from what it is at 10 m; gusts keep their share of it, and change with it.

    Gusts are by the wind at 20 ft: the part of that wind by which there are gusts (at most all of it) stays.
    """
    craft, weather, now = flight.craft, flight.setup.weather, flight.time_s
    before = craft.wind
    north, east, _ = craft.wind.at(now, REFERENCE_HEIGHT_M)
    speed = math.hypot(north, east)
    calm = speed < _CALM_M_S  # comes from nowhere
    from_deg = wind.from_deg if calm else math.degrees(math.atan2(-east, -north)) % 360.0
    points = [
        (now, speed, from_deg),
        (now + max(wind.after_s, 0.1), wind.speed_m_s, wind.from_deg),
    ]
    craft.wind = MeanWind(points, roughness_m=weather.roughness_m, draughts=weather.draughts)
    gusty_m_s = craft.gusts.w20_m_s
    if gusty_m_s > 0:
        mean_m_s = before.speed_m_s(now, W20_HEIGHT_M)
        by_wind_m_s = min(gusty_m_s, mean_m_s)  # what is more comes of something else, and stays
        share = by_wind_m_s / mean_m_s if mean_m_s > 0 else 1.0
        last_m_s = craft.wind.speed_m_s(points[-1][0], W20_HEIGHT_M)
        craft.gusts.reach(gusty_m_s - by_wind_m_s + share * last_m_s, now, points[-1][0])


def _set_home(flight: FastFlight, _: bool) -> None:
    sensors = flight.pilot.sensors
    flight.pilot.set_home((sensors.north_m, sensors.east_m, sensors.height_m))


def _open(flight: FastFlight, number: int) -> None:
    flight.bank.open(number - 1)


def _close(flight: FastFlight, number: int) -> None:
    flight.bank.close(number - 1)


def _go(flight: FastFlight, go: Go) -> None:
    flight.pilot.go_to((go.north_m, go.east_m, flight.pilot.home[2] + go.height_m), go.speed_m_s)


def _parameter(flight: FastFlight, named: tuple[str, float]) -> None:
    flight.parameters.set(*named)


def _weaken(flight: FastFlight, weak: Weaken) -> None:
    flight.craft.drive.weaken(weak.rotor - 1, weak.health)


def _without(flight: FastFlight, name: str, *, present: bool) -> None:
    if name == "control_link":
        flight.pilot.control_link = present
    else:
        flight.pilot.sensors.has_fix = present


def _gusts(flight: FastFlight, w20_m_s: float) -> None:
    flight.craft.gusts.w20_m_s = w20_m_s


_DEEDS: Final[Mapping[str, Callable[[FastFlight, Any], object]]] = {
    "arm": lambda flight, _: flight.pilot.arm(),
    "disarm": lambda flight, _: flight.pilot.disarm(),
    "take_off_m": lambda flight, height: flight.pilot.take_off(height),
    "start_plan": lambda flight, _: flight.pilot.start_plan(),
    "go": _go,
    "mode": lambda flight, mode: flight.pilot.enter(Mode[mode.upper()], "order"),
    "release": lambda flight, _: flight.pilot.release(),
    "set_home": _set_home,
    "stop_motors": lambda flight, _: flight.pilot.disarm(force=True),
    "weaken": _weaken,
    "open_pack": _open,
    "close_pack": _close,
    "pick_up": lambda flight, load: flight.craft.pick_up(Load(load.mass_kg, load.line_m, load.drag_m2)),
    "wind": _change_wind,
    "gusts_m_s": _gusts,
    "parameter": _parameter,
    "restart": lambda flight, _: flight.pilot.restart(),
    "there_already": lambda *_: None,
}


def _cut(name: str) -> Callable[[Surroundings, bool], None]:
    def change(around: Surroundings, value: bool) -> None:
        setattr(around, name, not value)

    return change


def _loss(around: Surroundings, loss_db: float) -> None:
    for link in around.links[:1]:
        if isinstance(link, Radio):
            link.down_db = link.up_db = loss_db


def _radio(around: Surroundings, value: bool) -> None:
    for link in around.links:
        link.blocked = not value


def _interfere(around: Surroundings, sender: Sender) -> None:
    for link in around.links:
        if isinstance(link, Radio):
            link.interferers.append(Interferer(sender.at, sender.power_dbm, height_m=sender.height_m))


def _jam(around: Surroundings, jam_db: float) -> None:
    if around.sky is not None:
        around.sky.jam_db = jam_db


def _pull(around: Surroundings, pull: Pull) -> None:
    if around.sky is not None:
        around.sky.pull(pull.north_m_s, pull.east_m_s, pull.up_m_s)


def _release(around: Surroundings, _: bool) -> None:
    if around.sky is not None:
        around.sky.release()


def _come(around: Surroundings, comer: Comer) -> None:
    around.overhead.add(comer.made())


def _listen(around: Surroundings, value: bool) -> None:
    around.overhead.listens = value


_AROUND: Final[Mapping[str, Callable[[Surroundings, Any], object]]] = {
    "control_link": _cut("control_cut"),
    "position": _cut("position_cut"),
    "antenna_loss_db": _loss,
    "radio": _radio,
    "interferer": _interfere,
    "jam_db": _jam,
    "pull": _pull,
    "release_pull": _release,
    "other": _come,
    "receiver": _listen,
}
SILENT: Final = frozenset(_AROUND)
"""Deeds on sky and links, which a flight without them does not have."""
