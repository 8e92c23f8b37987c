"""A shipped scenario flown from power-up to its end: what was heard, and the true state twice a second."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

from simulators.flown.scenario import FlownDrill, FlownScenario
from simulators.onboard.modes import Mode
from simulators.radio.link import Radio
from simulators.scenario import find, list_scenarios, load
from tests.simulators.wire.plain_client import PlainClient
from watchkeeper.link.framing import GOOD, Framer

EVERY_S = 0.5
_DECODED = 7
"""One frame of so many goes to pymavlink, which is slow; all go through the framer."""


class Row(NamedTuple):
    """The true state at a time, and what the aircraft believes where the name says so. SI units, %."""

    time_s: float
    north_m: float
    east_m: float
    height_m: float
    climb_m_s: float
    speed_m_s: float
    on_ground: bool
    mode: Mode
    armed: bool
    wind_m_s: float
    power_w: float
    throttle: float
    currents_a: tuple[float, ...]
    charge_pct: float
    gauge_pct: float
    cells_v: tuple[float, ...]
    rotors_rad_s: tuple[float, ...]
    load_kg: float
    hangs: bool
    margin_db: float
    rssi_dbm: float
    noise_dbm: float
    blocked_db: float
    satellites: int
    dilution: float
    has_fix: bool
    off_m: float
    """How far the believed position is from the true one."""
    home_m: tuple[float, float]

    @property
    def away_m(self) -> float:
        """Distance from where it was switched on."""
        return math.hypot(self.north_m, self.east_m)


def _row(drill: FlownDrill) -> Row:
    flight = drill.flight
    craft, pilot, bank = flight.craft, flight.pilot, flight.bank
    sensors = pilot.sensors
    first = drill.around.links[0] if drill.around.links else None
    radio = first if isinstance(first, Radio) else None
    rotors = {one: group.speed_rad_s for group in craft.drive.groups for one in group.members}
    return Row(
        flight.time_s, craft.north_m, craft.east_m, craft.height_m, craft.climb_m_s,
        math.hypot(craft.north_m_s, craft.east_m_s), craft.on_ground, pilot.mode, pilot.armed,
        math.hypot(craft.wind_north_m_s, craft.wind_east_m_s), bank.power_w, craft.drive.throttle,
        tuple(pack.current_a for pack in bank.packs), 100 * min(pack.charge for pack in bank.packs),
        pilot.gauges.left_pct,
        tuple(pack.cell_voltage_v(i) for pack in bank.packs for i in range(pack.model.cells_in_series)),
        tuple(rotors.get(i, 0.0) for i in range(craft.airframe.rotors)), craft.load.mass_kg, craft.sling.hangs,
        math.nan if radio is None else radio.margin_db.down, math.nan if radio is None else radio.rssi_dbm.down,
        math.nan if radio is None else radio.noise_dbm.down, math.nan if radio is None else radio.blocked_db,
        sensors.satellites, sensors.dilution, sensors.has_fix,
        math.hypot(sensors.north_m - craft.north_m, sensors.east_m - craft.east_m), pilot.home[:2],
    )  # fmt: skip


@dataclass
class Flight:
    """A whole flight."""

    drill: FlownDrill
    rows: list[Row] = field(default_factory=list)
    heard_s: list[float] = field(default_factory=list)
    """When frames of the aircraft were heard over the first link."""
    kinds: set[str] = field(default_factory=set)
    bad_frames: int = 0

    def at(self, time_s: float) -> Row:
        """Return the state at a time."""
        return next(row for row in self.rows if row.time_s >= time_s - 1e-6)

    def between(self, begin_s: float, end_s: float) -> list[Row]:
        """Return the states from one time to another."""
        found = [row for row in self.rows if begin_s <= row.time_s <= end_s]
        assert found
        return found

    def mean(self, begin_s: float, end_s: float, value: Callable[[Row], float]) -> float:
        """Return a mean over some time."""
        found = self.between(begin_s, end_s)
        return sum(value(row) for row in found) / len(found)

    @property
    def in_air(self) -> list[Row]:
        """The states while it flies."""
        return [row for row in self.rows if not row.on_ground]

    @property
    def off_s(self) -> float:
        """When the motors stopped for the last time."""
        return max(row.time_s for row in self.rows if row.armed)

    @property
    def faults_s(self) -> list[float]:
        """When its faults began."""
        return [
            event.happened_s for event in self.drill.happened if not event.crew and event.happened_s is not None
        ]

    def since(self, mode: Mode) -> float:
        """When a mode began first, s."""
        return next(row.time_s for row in self.rows if row.mode is mode)


def shipped() -> list[str]:
    """Return the names of the flown scenarios, the one for practice left out."""
    flown = [name for name in list_scenarios() if isinstance(load(find(name)), FlownScenario)]
    return [name for name in flown if name != "open-practice"]


def scenario(name: str) -> FlownScenario:
    """Return a shipped one."""
    found = load(find(name))
    assert isinstance(found, FlownScenario)
    return found


def flown(name: str) -> Flight:
    """Fly a shipped scenario to its end with seed 1."""
    drill = FlownDrill(scenario(name))
    flight = Flight(drill)
    framers = [Framer(), Framer()]
    client = PlainClient()
    every = round(EVERY_S / drill.flight.step_s)
    count = 0
    while not drill.over:
        if drill.steps % every == 0:
            flight.rows.append(_row(drill))
        for link, data in drill.step():
            count += 1
            [frame] = framers[link].feed(data)
            flight.bad_frames += frame[6] != GOOD
            if link == 0 and frame[0] == drill.scenario.written.system:
                flight.heard_s.append(drill.flight.time_s)
            if count % _DECODED == 0:
                [message] = client.read(data)
                flight.kinds.add(message.get_type())
    flight.rows.append(_row(drill))
    return flight
