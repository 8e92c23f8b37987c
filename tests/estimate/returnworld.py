"""A flight for the tests of the return: packs that empty by Kirchhoff's laws, told to `ReturnHome` twice a second.

The packs' state is given as it is, so that what is judged is the return and not the charge filter.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from watchkeeper.aircraft.catalogue import INDEX
from watchkeeper.aircraft.files import AircraftFile, SortieFile, load_aircraft_file
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.air.airwind import WindState, blows_to
from watchkeeper.estimate.home.power import PowerModel
from watchkeeper.estimate.home.returning import NAMES, ReturnHome
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.packs.battery import BatteryEstimates, Supply
from watchkeeper.estimate.packs.cell import PackState
from watchkeeper.estimate.packs.curve import PUBLISHED

STEP_S = 0.5
FILE = load_aircraft_file(
    "packs: {cells: 12, capacity: 22 Ah, count: 2}\nhover_power: 4 kW at 30 kg\n"
    "mass: {empty: 20 kg, maximum: 35 kg}",
    "a.yaml",
)
PLAN = ReturnPlan(
    height_m=40.0, speed_m_s=8.0, climb_m_s=2.5, hold_s=30.0, hold_m=8.0, airspeed_m_s=16.0, acceleration_m_s2=2.0
)
TRUTH = PowerModel(4000.0, 7.0, 0.2)


class GivenWind:
    """A wind as it is given; `airspeed` (m/s, deviation) too."""

    scale_doubt = 0.0

    def __init__(self, state: WindState | None) -> None:
        self.state = state
        self.airspeed: tuple[float, float] | None = None

    def airspeed_m_s(self) -> tuple[float, float] | None:
        return self.airspeed

    def load_changed(self) -> None:
        pass

    def top_airspeed_m_s(self, tilt_deg: float) -> float:  # noqa: ARG002
        """Return what leaves the plan's greatest airspeed, whatever share of the tilt a return is granted."""
        return PLAN.airspeed_m_s


class GivenPacks(BatteryEstimates):
    """Packs as they are given."""

    def __init__(self, readings: Readings, given: list[Supply] | None) -> None:
        super().__init__(readings, FILE)
        self.given = given

    def supplies(self) -> list[Supply] | None:
        return self.given


def wind_state(speed_m_s: float, from_deg: float, height_m: float = 40.0, sd_m_s: float = 0.5) -> WindState:
    """Return a wind with a deviation of `sd_m_s` each way."""
    north, east = blows_to(speed_m_s, from_deg)
    return WindState(north, east, sd_m_s**2, 0.0, sd_m_s**2, height_m, 0.3, "message")


class World:
    """A flight due north of home, or where `bearing_deg` says; moves as `outward_m_s` says."""

    def __init__(
        self,
        *,
        charge: float = 0.8,
        cell_ohm: float = 0.0015,
        distance_m: float = 400.0,
        outward_m_s: float = 0.0,
        wind: WindState | None = None,
        doubt_pct: float = 2.0,
        plan: ReturnPlan = PLAN,
        file: AircraftFile | None = FILE,
        sortie: SortieFile | None = None,
        bearing_deg: float = 0.0,
        multirotor: Callable[[], bool] = lambda: True,
        packs: int = 2,
    ) -> None:
        self.readings = Readings()
        self.streams: dict[str, Stream] = {}
        self.distance_m, self.outward_m_s, self.bearing_deg = distance_m, outward_m_s, bearing_deg
        self.height_m, self.climb_m_s, self.phase = 40.0, 0.0, "airborne"
        self.cell_ohm, self.charge, self.doubt_pct, self.packs = cell_ohm, charge, doubt_pct, packs
        self.wind = GivenWind(wind)
        self.batteries = GivenPacks(self.readings, [])
        self.now_us = 1_000_000_000
        self.silenced: set[str] = set()
        self.forced: dict[str, Any] = {}
        self.power_w = 0.0
        self.row: dict[str, Any] = {}
        self.home = ReturnHome(
            self.readings, file, sortie, self.batteries, self.wind, lambda: plan, multirotor=multirotor
        )

    def state(self, charge: float, cell_ohm: float | None = None) -> PackState:
        return PackState(PUBLISHED["lipo"], 12, charge, cell_ohm or self.cell_ohm, 1.0 / 22.0, 0.0)

    def supply(self) -> Supply:
        """Return one of two equal packs with a charge and a resistance in doubt."""
        state, mean_w = self.state(self.charge), 2000.0
        less = self.state(self.charge - self.doubt_pct / 100.0)
        doubtful = [less, self.state(self.charge, 1.1 * self.cell_ohm)]
        return Supply(state, lambda: doubtful, 1.0 / self.packs, state.empty(mean_w, 3.3), 3.3, mean_w)

    def tell(self, name: str, value: Any) -> None:
        if name in self.silenced:
            return
        stream = self.streams.setdefault(name, Stream())
        stream.mark(self.now_us)
        self.readings.put(INDEX[name], self.forced.get(name, value), stream)

    def true_airspeed_m_s(self) -> float:
        """Return the airspeed by the wind triangle, flying along the line from home."""
        state = self.wind.state
        angle = math.radians(self.bearing_deg)
        north, east = self.outward_m_s * math.cos(angle), self.outward_m_s * math.sin(angle)
        if state is not None:
            north, east = north - state.north_m_s, east - state.east_m_s
        return math.hypot(north, east)

    def step(self, step_s: float = STEP_S) -> dict[str, Any]:
        """Fly on, tell it, and return the answers by name without `return.`."""
        self.now_us += round(step_s * 1e6)
        airspeed_m_s = self.true_airspeed_m_s()
        self.power_w = TRUTH.power_w(airspeed_m_s, self.climb_m_s)
        part_w = self.power_w / self.packs
        state = self.state(self.charge)
        volt = 12.0 * state.cell_v(self.charge, part_w)
        self.charge -= part_w / max(1.0, volt) * step_s / 3600.0 / 22.0
        self.distance_m = max(0.0, self.distance_m + self.outward_m_s * step_s)
        self.height_m += self.climb_m_s * step_s
        if self.batteries.given is not None:
            self.batteries.given = [self.supply() for _ in range(self.packs)]
        self.wind.airspeed = (airspeed_m_s, 0.3)
        self.tell("flight.phase", self.phase)
        self.tell("battery.power", self.power_w)
        self.tell("position.home_distance", self.distance_m)
        self.tell("position.home_bearing", self.bearing_deg)
        self.tell("position.height", self.height_m)
        self.tell("position.ground_speed", abs(self.outward_m_s))
        self.tell("position.climb_rate", self.climb_m_s)
        values = self.home.run(self.now_us)
        self.row = {name.removeprefix("return."): value for name, value in zip(NAMES, values, strict=True)}
        return self.row

    def fly(self, seconds: float) -> dict[str, Any]:
        """Fly on for some time."""
        for _ in range(round(seconds / STEP_S)):
            self.step()
        return self.row
