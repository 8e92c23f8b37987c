"""One simulated flight: physics, flight controller and MAVLink stepped together. The same seed, the same bytes.

`SimulatedFlight` steps at 50 Hz and speaks. `FastFlight` steps at 10 Hz and is silent: for finding out what would
have been, thousands of seconds at a time.
"""

from __future__ import annotations

import math
import random
from typing import Final

from simulators.flown.orders import Orders
from simulators.flown.setup import Setup
from simulators.flown.telemetry import RATES_HZ, Telemetry
from simulators.onboard.autopilot import Autopilot
from simulators.onboard.gauge import Gauges, MonitorErrors
from simulators.onboard.guide import Place
from simulators.onboard.parameters import parameters
from simulators.onboard.place import Field
from simulators.onboard.sensors import SensorErrors, Sensors
from simulators.physics.atmosphere import Atmosphere
from simulators.physics.craft import Craft
from simulators.physics.gusts import Gusts
from simulators.physics.packs import PackBank
from simulators.physics.wind import MeanWind
from simulators.wire.commands import Command, CommandProtocol
from simulators.wire.endpoint import Endpoint
from simulators.wire.missions import MissionProtocol
from simulators.wire.packing import Sender
from simulators.wire.parameters import ParameterProtocol
from simulators.wire.plan import PLAN, SAFE_POINTS, PlanItem
from simulators.wire.received import AUTOPILOT
from simulators.wire.schedule import Schedule
from watchkeeper.link.encode import Signing

STEP_S: Final = 0.02
FAST_STEP_S: Final = 0.1
_SIGNING_EPOCH_S: Final = 1420070400
"""2015-01-01, from which signatures count in 10 microseconds."""


class FastFlight:
    """An aircraft without a voice. Orders go to `pilot`."""

    def __init__(self, setup: Setup, seed: int = 1, step_s: float = FAST_STEP_S) -> None:
        self.setup = setup
        self.step_s = step_s
        self._steps = 0
        weather = setup.weather
        air = Atmosphere(setup.altitude_m, weather.temperature_degc)
        wind = MeanWind(weather.wind, roughness_m=weather.roughness_m, draughts=weather.draughts)
        gusts = Gusts(f"gusts {seed}", weather.gusts_w20_m_s)
        dice = random.Random(f"cells {seed}")
        warm = setup.pack_temperature_degc
        packs = [pack.made(weather.temperature_degc if warm is None else warm, dice) for pack in setup.packs]
        self.bank = PackBank(packs)
        self.craft = Craft(setup.airframe, self.bank, air, wind, gusts, setup.load)
        self.craft.heading_rad = math.radians(setup.heading_deg % 360)
        sensors = Sensors(setup.sensors or SensorErrors.draw(seed), seed)
        errors = [pack.monitor or MonitorErrors.draw(f"{seed} {i}") for i, pack in enumerate(setup.packs)]
        self.parameters = parameters(setup.parameters)
        field = Field(setup.latitude_deg, setup.longitude_deg)
        self.pilot = Autopilot(self.craft, sensors, Gauges(self.bank, errors, seed), self.parameters, field)

    @property
    def time_s(self) -> float:
        """Time since the aircraft was switched on, s."""
        return self.craft.time_s

    def step(self) -> None:
        """Move on by one step. Time is a multiple of the step, not a sum of steps."""
        self.pilot.step(self.step_s)
        self._steps += 1
        self.craft.time_s = self._steps * self.step_s

    def run(self, seconds: float) -> None:
        """Move on."""
        for _ in range(round(seconds / self.step_s)):
            self.step()


class SimulatedFlight(FastFlight):
    """An aircraft that speaks MAVLink: `step` gives what it sends, `receive` what it answers."""

    def __init__(self, setup: Setup, seed: int = 1, step_s: float = STEP_S) -> None:
        super().__init__(setup, seed, step_s)
        start_us = round(setup.start.timestamp() * 1e6)
        signing = None
        if setup.signing_key is not None:
            signing = Signing(setup.signing_key, 0, (start_us - _SIGNING_EPOCH_S * 1_000_000) // 10)
        self._sender = Sender(setup.system, AUTOPILOT, signing=signing)
        self.schedule = Schedule({**RATES_HZ, **setup.rates_hz})
        self.schedule.scale(setup.rate_scale)
        self._telemetry = Telemetry(self.pilot, self._sender, start_us, setup.altitude_m, f"telemetry {seed}")
        orders = Orders(self.pilot, setup.altitude_m)
        commands = CommandProtocol(
            self._sender, self.schedule, orders.commands, {"AVAILABLE_MODES": self._available_modes}
        )
        self.missions = MissionProtocol(self._sender, self._take_plan, self._take_item)
        self.missions.home_altitude_m = setup.altitude_m
        self._moves_home = False
        self.pilot.on_home = self._take_home
        self._endpoint = Endpoint(
            self._sender,
            ParameterProtocol(self._sender, self.parameters),
            self.missions,
            commands,
            self.schedule,
            orders.handlers,
        )

    def fly(self) -> list[bytes]:
        """Move on by one step and return the frames that are due."""
        self.step()
        now = self.craft.time_s
        frames = self._telemetry.events()
        for name in self.schedule.due(now):
            frames += self._telemetry.frames(name)
        frames += self._endpoint.pending(now)
        return frames

    def receive(self, data: bytes) -> list[bytes]:
        """Take what a client sent; return the answers to it."""
        return self._endpoint.receive(data, self.craft.time_s)

    def _take_item(self, item: int) -> None:
        self.pilot.route.jump(item)

    def _take_plan(self, kind_of_plan: int, items: tuple[PlanItem, ...]) -> None:
        if kind_of_plan == PLAN and self._moves_home:
            self.pilot.route.items = items  # the same places, by another home: it goes on
        elif kind_of_plan == PLAN:
            self.pilot.load_plan(items)
        elif kind_of_plan == SAFE_POINTS:
            self.pilot.safe_points = items
        else:
            self.pilot.guards.take_fence(items, self.pilot.field)

    def _take_home(self, home: Place) -> None:
        """Keep items that were given above sea level at their altitude."""
        self._moves_home = True
        self.missions.home_altitude_m = self.setup.altitude_m + home[2]
        self._moves_home = False

    def _available_modes(self, command: Command) -> list[bytes]:
        frames = self._telemetry.frames("AVAILABLE_MODES")
        index = 0 if math.isnan(command.p2) else int(command.p2)
        return frames[index - 1 : index] if 1 <= index <= len(frames) else frames
