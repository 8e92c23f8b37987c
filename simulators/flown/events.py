"""What happens in a flown scenario: when, and what is done. The crew's deeds and the faults alike.

An event waits until all its conditions hold at once, then for its delay, and happens once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal

from pydantic import Field, Strict, model_validator

from simulators.flown.flight import FastFlight
from simulators.onboard.modes import Landed, Mode
from simulators.physics.airframe import Load
from simulators.physics.gusts import W20_HEIGHT_M
from simulators.physics.wind import REFERENCE_HEIGHT_M, MeanWind
from simulators.scenario_file import Number, Part, Time, Whole

ModeName = Literal["position_hold", "altitude_hold", "safe_recovery", "mission", "land", "takeoff"]
Metres = Annotated[Number, Field(ge=-20_000, le=20_000)]
Share = Annotated[Number, Field(ge=0, le=1)]
Percent = Annotated[Number, Field(ge=0, le=100)]
Positive = Annotated[Number, Field(ge=0, le=1000)]
Flag = Literal[True]
_CALM_M_S: Final = 0.1


class When(Part):
    """Conditions, all of which must hold. Heights are above home, distances from it."""

    at_s: Time | None = None
    height_over_m: Metres | None = None
    height_under_m: Metres | None = None
    distance_over_m: Metres | None = None
    distance_under_m: Metres | None = None
    charge_under_pct: Percent | None = None
    mode: ModeName | None = None
    airborne: Annotated[bool, Strict()] | None = None
    delay_s: Time = 0.0

    def holds(self, flight: FastFlight) -> bool:
        """Tell whether the conditions hold now, by the true state of the flight."""
        craft, pilot = flight.craft, flight.pilot
        if self.at_s is not None and flight.time_s < self.at_s:
            return False
        if self.mode is not None and pilot.mode is not Mode[self.mode.upper()]:
            return False
        if self.airborne is not None and self.airborne is not (pilot.landed is Landed.AIR and not craft.on_ground):
            return False
        home = pilot.home
        height = craft.height_m - home[2]
        distance = math.hypot(craft.north_m - home[0], craft.east_m - home[1])
        charge = 100 * min(pack.charge for pack in flight.bank.packs)
        return (
            (self.height_over_m is None or height > self.height_over_m)
            and (self.height_under_m is None or height < self.height_under_m)
            and (self.distance_over_m is None or distance > self.distance_over_m)
            and (self.distance_under_m is None or distance < self.distance_under_m)
            and (self.charge_under_pct is None or charge < self.charge_under_pct)
        )


class Go(Part):
    """A place to fly to, from the place where the aircraft was switched on."""

    north_m: Metres
    east_m: Metres
    height_m: Metres
    speed_m_s: Annotated[Number, Field(gt=0, le=20)] | None = None


class Weaken(Part):
    """A rotor, counted from 1, and the part of its thrust that is left; 0 stops its motor."""

    rotor: Annotated[Whole, Field(ge=1, le=8)]
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

    @model_validator(mode="after")
    def _one(self) -> Do:
        if len(self.model_fields_set) != 1:
            raise ValueError("needs exactly one thing to do")
        return self

    def carry_out(self, flight: FastFlight) -> None:
        """Do it."""
        name = next(iter(self.model_fields_set))
        _DEEDS[name](flight, getattr(self, name))


def _change_wind(flight: FastFlight, wind: Wind) -> None:
    """Let the wind change from what it is at 10 m; gusts of a gusty day follow it."""
    craft, weather, now = flight.craft, flight.setup.weather, flight.time_s
    north, east, _ = craft.wind.at(now, REFERENCE_HEIGHT_M)
    speed = math.hypot(north, east)
    calm = speed < _CALM_M_S  # comes from nowhere
    from_deg = wind.from_deg if calm else math.degrees(math.atan2(-east, -north)) % 360.0
    points = [
        (now, speed, from_deg),
        (now + max(wind.after_s, 0.1), wind.speed_m_s, wind.from_deg),
    ]
    craft.wind = MeanWind(points, roughness_m=weather.roughness_m, draughts=weather.draughts)
    if craft.gusts.w20_m_s > 0:
        craft.gusts.w20_m_s = craft.wind.speed_m_s(now + wind.after_s, W20_HEIGHT_M)


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


def _set(name: str) -> Callable[[FastFlight, bool], None]:
    def change(flight: FastFlight, value: bool) -> None:
        setattr(flight.pilot if name == "control_link" else flight.pilot.sensors, name, value)

    return change


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
    "control_link": _set("control_link"),
    "position": _set("has_fix"),
    "parameter": _parameter,
}


@dataclass(slots=True)
class Event:
    """One thing that happens: its name, its conditions, its deed; and when it happened, s."""

    name: str
    when: When
    do: Do
    crew: bool
    held_s: float | None = None
    happened_s: float | None = None


class Events:
    """All events of a flight. `happen` once a step, or ten times a second."""

    def __init__(self, events: list[Event]) -> None:
        self.all = events
        self._waiting = list(events)

    def happen(self, flight: FastFlight) -> Iterator[Event]:
        """Carry out what is due, and yield it."""
        if not self._waiting:
            return
        now = flight.time_s
        for event in list(self._waiting):
            if event.held_s is None:
                if not event.when.holds(flight):
                    continue
                event.held_s = now
            if now - event.held_s >= event.when.delay_s:
                event.happened_s = now
                self._waiting.remove(event)
                event.do.carry_out(flight)
                yield event
