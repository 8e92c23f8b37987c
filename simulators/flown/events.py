"""What happens in a flown scenario: when, and what is done. The crew's deeds and the faults alike.

An event waits until all its conditions hold at once, then for its delay, and happens once.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Final

from pydantic import Strict

from simulators.flown.deeds import Do, Metres, ModeName, Percent
from simulators.flown.flight import FastFlight
from simulators.flown.surroundings import Surroundings
from simulators.onboard.modes import Landed, Mode
from simulators.scenario_file import Part, Time

_EARLY_S: Final = 1e-6
"""Differences of times are multiples of a step, up to rounding."""


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

    def happen(self, flight: FastFlight, around: Surroundings | None = None) -> Iterator[Event]:
        """Carry out what is due, and yield it."""
        if not self._waiting:
            return
        now = flight.time_s
        for event in list(self._waiting):
            if event.held_s is None:
                if not event.when.holds(flight):
                    continue
                event.held_s = now
            if now - event.held_s >= event.when.delay_s - _EARLY_S:
                event.happened_s = now
                self._waiting.remove(event)
                event.do.carry_out(flight, around)
                yield event

    def drop_crew(self) -> None:
        """Leave what the crew still had to do to somebody else."""
        self._waiting = [event for event in self._waiting if not event.crew]
