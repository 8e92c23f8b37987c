"""A flown scenario: one aircraft, its crew by script or for real, its faults; and what it sends."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from simulators.flown.asking import STATION, Asking
from simulators.flown.events import Event, Events
from simulators.flown.flight import SimulatedFlight
from simulators.flown.scenario_file import FlownFile
from simulators.flown.surroundings import Surroundings
from simulators.onboard.modes import Mode
from simulators.scenario_file import Expected, Sent
from simulators.wire.packing import Sender, kind
from simulators.wire.plan import PLAN
from watchkeeper.link.decode import named
from watchkeeper.link.framing import GOOD, Framer

GRID_S: Final = 0.1
MOST_ORDERS: Final = 1_000_000
"""Frames of clients that are kept: sticks at 50 Hz for five hours. What comes on top goes unheard."""
_HEARTBEAT: Final = kind("HEARTBEAT")
_STATION_TYPE, _NO_AUTOPILOT, _ACTIVE = 6, 8, 4
_COMMANDS: Final = (75, 76)
_ORDERS: Final = {
    11: "mode", 41: "plan item", 44: "plan", 45: "plan cleared", 69: "sticks", 70: "sticks", 75: "", 76: "",
}  # fmt: skip
"""Messages that order something, in words; commands have words of their own."""
_COMMAND_WORDS: Final = {
    20: "return", 21: "land", 22: "take-off", 176: "mode", 178: "speed", 185: "motors stopped", 192: "go to",
    193: "hold", 211: "release", 262: "mode", 300: "plan started", 400: "arm or disarm",
}  # fmt: skip
_SYSTEM_AT: Final = 5
"""Byte of a MAVLink 2 frame that names the system."""
_ABOUT_MESSAGES: Final = frozenset({510, 511, 512, 519, 520})


@dataclass(frozen=True, slots=True)
class FlownScenario:
    """A scenario ready to fly. Crew files by their paths."""

    written: FlownFile
    aircraft: Path | None
    sortie: Path | None

    @property
    def name(self) -> str:
        """Its name."""
        return self.written.scenario

    @property
    def about(self) -> str:
        """What it is about."""
        return self.written.about.strip()

    @property
    def start(self) -> datetime:
        """When it begins."""
        return self.written.start

    @property
    def duration_s(self) -> float:
        """How long it lasts at most, s."""
        return self.written.duration_s


class FlownDrill:
    """One flight of a scenario with all that is around it.

    What is heard comes over the scenario's links, each a source of its own; orders go the same way back. The
    crew's scripted deeds end with the first order of a trainee; with `served` and `trainee_flies` there are none.
    """

    def __init__(self, scenario: FlownScenario, seed: int = 1, *, served: bool = False) -> None:
        written = scenario.written
        self.scenario = scenario
        self.seed = seed
        self.served = served
        self.flight = SimulatedFlight(written.setup(), seed)
        self.around = Surroundings(written.surroundings(), self.flight, seed)
        self.happened: list[Event] = []
        self.orders: list[tuple[int, bytes]] = []
        """What clients sent, with the step before which it came: the flight can be flown again from it."""
        self.keys: list[tuple[int, Mode]] = []
        """What the pilot ordered by keys."""
        if written.plan:
            self.flight.missions.put(PLAN, written.plan_items())
        events = written.events()
        self._faults = [event for event in events if not event.crew]
        self._events = Events([event for event in events if not (served and written.trainee_flies and event.crew)])
        self._every = max(1, round(GRID_S / self.flight.step_s))
        self._second = round(1.0 / self.flight.step_s)
        self._station = Sender(*STATION)
        self._asking = Asking(written.system) if written.settings_told and not served else None
        self._going_up: list[bytes] = []
        self.steps = 0

    def step(self) -> list[tuple[int, bytes]]:
        """Move on by one step and return what is heard: the number of the link from 0, and a frame."""
        flight, around = self.flight, self.around
        whole = self.steps % self._every == 0
        if whole:
            around.move()
            self.happened += self._events.happen(flight, around)
        self.steps += 1
        frames = flight.fly()
        for order in around.up(self._going_up):
            frames += flight.receive(order)
        self._going_up.clear()
        heard = [(link, frame) for link, arrived in enumerate(around.down(frames)) for frame in arrived]
        if self.steps % self._second == self._second // 2:
            heard += [(0, frame) for frame in around.overhead.frames()]
        if not self.served and self.steps % self._second == 1:
            beat = self._station.frame(_HEARTBEAT, 0, _STATION_TYPE, _NO_AUTOPILOT, 0, _ACTIVE, 3)
            heard.append((0, beat))
            self._going_up.append(beat)
        if self._asking is not None:
            self._going_up += self._asking.look(flight.time_s, (frame for link, frame in heard if link == 0))
        return heard

    def order(self, frame: bytes) -> str | None:
        """Take a frame of a client; it goes up the link as any other. Returns what it orders, if it does."""
        if len(self.orders) >= MOST_ORDERS:
            return None
        self.orders.append((self.steps, frame))
        what = _order_in(frame)
        if what is not None:
            self._events.drop_crew()
        self._going_up.append(frame)
        return what

    def key(self, mode: Mode) -> bool:
        """Let the pilot change the mode by the control link. False if that is lost or the mode cannot be flown."""
        self.keys.append((self.steps, mode))
        self._events.drop_crew()
        pilot = self.flight.pilot
        return pilot.control_link and pilot.armed and pilot.enter(mode, "order")

    @property
    def expect(self) -> tuple[Expected, ...]:
        """What a good watch raises for the faults that have happened, by when."""
        rows = zip(self.scenario.written.faults, self._faults, strict=True)
        return tuple(
            Expected(rule=one.rule, fault=keys.fault, begins=event.happened_s, by=event.happened_s + one.within_s)
            for keys, event in rows
            if event.happened_s is not None
            for one in keys.expect
        )

    @property
    def ending(self) -> Ending:
        """How the flight stands now."""
        craft, home = self.flight.craft, self.flight.pilot.home
        charges = [100 * pack.charge for pack in self.flight.bank.packs if not pack.is_open]
        away_m = math.hypot(craft.north_m - home[0], craft.east_m - home[1])
        return Ending(self.flight.time_s, craft.on_ground, craft.crashed, min(charges, default=0.0), away_m)

    @property
    def over(self) -> bool:
        """Whether the scenario's time is up."""
        return self.flight.time_s >= self.scenario.duration_s

    def frames(self) -> Iterator[Sent]:
        """Yield every frame that is heard until the scenario's end."""
        while not self.over:
            for link, data in self.step():
                yield Sent(self.flight.time_s, data[_SYSTEM_AT], data, link)


@dataclass(frozen=True, slots=True)
class Ending:
    """How a flight stands at its end: charge of the emptier connected pack in %, distance from home in m."""

    time_s: float
    landed: bool
    crashed: bool
    charge_pct: float
    home_m: float

    @property
    def words(self) -> str:
        """The same for a person."""
        state = "struck the ground" if self.crashed else "landed" if self.landed else "still in the air"
        return f"{state}, {self.home_m:.0f} m from home, {self.charge_pct:.0f} % left in the emptier pack"


def fly_again(drill: FlownDrill, turn_back_s: float) -> Ending:
    """Fly a drill once more with the same seed and orders until a time, at which the pilot orders it home."""
    again = FlownDrill(drill.scenario, drill.seed, served=drill.served)
    orders, keys = list(drill.orders), list(drill.keys)
    turned = False
    while not again.over:
        if not turned and again.flight.time_s >= turn_back_s:
            turned = again.key(Mode.SAFE_RECOVERY) or not again.flight.pilot.armed
        while not turned and orders and orders[0][0] <= again.steps:
            again.order(orders.pop(0)[1])
        while not turned and keys and keys[0][0] <= again.steps:
            again.key(keys.pop(0)[1])
        again.step()
        if turned and not again.flight.pilot.armed and again.flight.craft.on_ground:
            break
    return again.ending


def _order_in(frame: bytes) -> str | None:
    """Return what a client's frame orders the aircraft to do, or None."""
    for _, _, _, number, payload, _, status in Framer().feed(frame):
        if status != GOOD or number not in _ORDERS:
            continue
        if number not in _COMMANDS:
            return _ORDERS[number]
        command = named(number, payload)["command"]
        if command not in _ABOUT_MESSAGES:
            return _COMMAND_WORDS.get(command, f"command {command}")
    return None
