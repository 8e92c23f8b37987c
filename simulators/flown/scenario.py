"""A flown scenario: one aircraft, its crew by script or for real, its faults; and what it sends."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from simulators.flown.events import Event, Events
from simulators.flown.flight import SimulatedFlight
from simulators.flown.scenario_file import FlownFile
from simulators.scenario_file import Expected, Sent
from simulators.wire.plan import PLAN


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
    """One flight of a scenario. With `trainee` the crew's scripted deeds are left to whoever flies it."""

    def __init__(self, scenario: FlownScenario, seed: int = 1, *, trainee: bool = False) -> None:
        self.scenario = scenario
        self.flight = SimulatedFlight(scenario.written.setup(), seed)
        self.happened: list[Event] = []
        if scenario.written.plan:
            self.flight.missions.put(PLAN, scenario.written.plan_items())
        events = scenario.written.events()
        self._faults = [event for event in events if not event.crew]
        self._events = Events([event for event in events if not (trainee and event.crew)])
        self._every = max(1, round(0.1 / self.flight.step_s))
        self._step = 0

    def step(self) -> list[bytes]:
        """Move on by one step and return what is sent."""
        if self._step % self._every == 0:
            self.happened += self._events.happen(self.flight)
        self._step += 1
        return self.flight.fly()

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
    def over(self) -> bool:
        """Whether the scenario's time is up."""
        return self.flight.time_s >= self.scenario.duration_s

    def frames(self) -> Iterator[Sent]:
        """Yield every frame until the scenario's end."""
        system = self.scenario.written.system
        while not self.over:
            frames = self.step()
            for data in frames:
                yield Sent(self.flight.time_s, system, data)
