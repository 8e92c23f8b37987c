"""Flies a scenario and leaves it alone at the end of its plan: the aircraft's own fail-safes bring it home."""

from __future__ import annotations

import copy
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

from simulators.flown.events import Events
from simulators.flown.flight import FastFlight
from simulators.flown.scenario_file import FlownFile
from simulators.flown.truth import LIMIT_S, MeanPower, usable_pct
from simulators.onboard.modes import Landed
from simulators.onboard.parameters import parameters
from simulators.site.ground import Ground

HOME_M: Final = 10.0
"""Landed so near home counts as home (position error and gusts)."""
_EVERY: Final = 5
"""Steps of 0.1 s after which power is looked at, as the simulator's own futures do."""
_MARK_S: Final = 60.0
STAGES: Final = ("low1", "low2", "low3")

Values = Mapping[str, float]


class Setting(NamedTuple):
    """One way of setting the low-battery return: its name, and what of the aircraft's parameters it changes."""

    name: str
    values: Values


@dataclass(frozen=True, slots=True)
class Landing:
    """How a flight ended. Times from take-off in s, heights in m; `acted_s` None: the fail-safe never acted.

    `clear_m` is the least height over ground on the way home, from where it acted until it is over home.
    """

    acted_s: float | None
    acted_away_m: float
    ended_s: float
    landed: bool
    away_m: float
    charge_pct: float
    clear_m: float
    planned_s: float
    """When the plan's last stay was over: from then on it is left alone."""

    @property
    def home(self) -> bool:
        """Whether it came down where it belongs, in one piece."""
        return self.landed and self.away_m <= HOME_M

    def kept(self, reserve_pct: float) -> bool:
        """Whether it is home with a reserve."""
        return self.home and self.charge_pct >= reserve_pct


class Course:
    """One flight under way over its ground. A copy goes on exactly as it would have gone on itself."""

    def __init__(self, written: FlownFile, seed: int, values: Values) -> None:
        written = written.model_copy(update={"parameters": dict(values)})
        self.flight = FastFlight(written.setup(), seed)
        self.flight.pilot.load_plan(written.plan_items())
        self._events = Events(written.events())
        self._ground: Ground = written.surroundings().ground
        self._mean = MeanPower()
        self.took_off_s: float | None = None
        self.planned_s: float | None = None
        self.acted_s: float | None = None
        self._acted_m = 0.0
        self._clear_m = math.inf

    def __deepcopy__(self, memo: dict[int, object]) -> Course:
        twin = copy.copy(self)
        twin.flight = copy.deepcopy(self.flight, memo)
        twin._events = copy.deepcopy(self._events, memo)
        twin._mean = copy.deepcopy(self._mean, memo)
        return twin

    @property
    def over(self) -> bool:
        """Whether it is down again, or out of time."""
        craft, pilot = self.flight.craft, self.flight.pilot
        down = craft.crashed or (not pilot.armed and craft.on_ground)
        return self.flight.time_s >= LIMIT_S or (self.took_off_s is not None and down)

    @property
    def away_m(self) -> float:
        """How far it truly is from where it took off."""
        return math.hypot(self.flight.craft.north_m, self.flight.craft.east_m)

    def set(self, values: Values) -> None:
        """Set parameters."""
        for name, value in values.items():
            assert self.flight.parameters.set(name, value)

    def fly_on(self) -> None:
        """Fly on for half a second."""
        flight, craft, pilot = self.flight, self.flight.craft, self.flight.pilot
        for _ in self._events.happen(flight):
            pass
        for _ in range(_EVERY):
            craft.ground_m = self._ground.height_m(craft.north_m, craft.east_m)
            flight.step()
            acts = pilot.guards.low[0].acted and pilot.values["low1.action"] > 0
            if self.acted_s is None and acts:
                self.acted_s, self._acted_m = flight.time_s, self.away_m
            if self.acted_s is not None and self.away_m > HOME_M:
                clear_m = craft.height_m - self._ground.top_m(craft.north_m, craft.east_m)
                self._clear_m = min(self._clear_m, clear_m)
        self._mean.look(flight)
        if self.took_off_s is None and pilot.landed in {Landed.TAKEOFF, Landed.AIR}:
            self.took_off_s = flight.time_s
        if self.planned_s is None and pilot.route.done:
            self.planned_s = flight.time_s

    @property
    def landing(self) -> Landing:
        """How it stands."""
        craft, start_s = self.flight.craft, self.took_off_s or 0.0
        return Landing(
            acted_s=None if self.acted_s is None else self.acted_s - start_s,
            acted_away_m=self._acted_m,
            ended_s=self.flight.time_s - start_s,
            landed=craft.on_ground and not craft.crashed,
            away_m=self.away_m,
            charge_pct=usable_pct(self.flight.bank, self._mean.power_w),
            clear_m=self._clear_m,
            planned_s=math.inf if self.planned_s is None else self.planned_s - start_s,
        )


def fly(written: FlownFile, seed: int, values: Values, settings: Iterable[Setting]) -> dict[str, Landing]:
    """Fly a scenario once for each setting, left alone at the end of its plan; `values` are set in all.

    Until a setting's condition holds for the first time all fly alike: that part is flown once, with all stages
    off. From the last mark before, each goes on by itself with its own parameters; the aircraft's own
    fail-safe then decides.
    """
    trunk = Course(written, seed, values)
    trunk.set({f"{stage}.{what}": 0.0 for stage in STAGES for what in ("volt_v", "gauge_pct")})
    made = parameters(values)
    own = {name: made[name] for name in made}
    waiting = {one.name: {**own, **one.values} for one in settings}
    marks = [copy.deepcopy(trunk)]
    found: dict[str, Landing] = {}
    while waiting and not trunk.over:
        if trunk.flight.time_s >= len(marks) * _MARK_S:
            marks.append(copy.deepcopy(trunk))
        trunk.fly_on()
        due = [name for name, values in waiting.items() if _near(trunk.flight, values)]
        for name in due:
            # a mark that lies at least one interval back: nothing has begun to hold there
            found[name] = _alone(copy.deepcopy(marks[-2] if len(marks) > 1 else marks[0]), waiting.pop(name))
    for name, left in waiting.items():
        found[name] = _alone(copy.deepcopy(marks[0]), left)
    return found


def _alone(course: Course, values: Values) -> Landing:
    course.set(values)
    while not course.over:
        course.fly_on()
    return course.landing


def _near(flight: FastFlight, values: Values) -> bool:
    """Whether a stage's condition holds at this moment, in the air."""
    if flight.pilot.landed is not Landed.AIR:
        return False
    gauges = flight.pilot.gauges
    for stage in STAGES:
        volts = gauges.voltage_v
        if values[f"{stage}.compensate"]:
            volts += gauges.pack_a * values["low.pack_ohm"]
        if volts < values[f"{stage}.volt_v"] or gauges.left_pct < values[f"{stage}.gauge_pct"]:
            return True
    return False
