"""From when a fault can be seen: its floor, by the true state of the flight, as the distribution file words it."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from simulators.flown.scenario import FlownDrill
from simulators.onboard.modes import Landed

Test = Callable[["Floor"], bool]
_GAUGE_PCT: Final = 10.0
_CELL_V: Final = 0.15
_FASTER: Final = 1.08
_WIND_M_S: Final = 12.0
_MARGIN_DB: Final = 10.0
_LESS: Final = 0.6
_OFF_M: Final = 20.0


class Floor:
    """Watches one flight for one kind of fault. `passed_s` is when it could first be seen."""

    def __init__(self, kind: str, drill: FlownDrill) -> None:
        self._drill = drill
        test, self._lasting_s = _FLOORS[kind]
        self._test = test
        self._since_s: float | None = None
        self.began_s: float | None = 0.0 if kind in _FROM_START else None
        """When the fault began."""
        self.passed_s: float | None = None
        self.satellites_before = 0
        self.home_before = (0.0, 0.0)

    def look(self) -> None:
        """Look at the flight as it now is."""
        drill = self._drill
        now = drill.flight.time_s
        if self.began_s is None:
            fault = next((event for event in drill.happened if not event.crew), None)
            if fault is None:
                self.satellites_before = drill.flight.pilot.sensors.satellites
                self.home_before = drill.flight.pilot.home[:2]
                return
            self.began_s = fault.happened_s
        if self.passed_s is not None:
            return
        if not self._test(self):
            self._since_s = None
            return
        if self._since_s is None:
            self._since_s = now
        if now - self._since_s >= self._lasting_s:
            self.passed_s = now

    @property
    def drill(self) -> FlownDrill:
        """The flight."""
        return self._drill


_FROM_START: Final = frozenset({"gauge lies", "weak cell"})


def _always(_: Floor) -> bool:
    return True


def _gauge(floor: Floor) -> bool:
    flight = floor.drill.flight
    true_pct = 100.0 * sum(pack.charge for pack in flight.bank.packs) / len(flight.bank.packs)
    return flight.pilot.landed is Landed.AIR and flight.pilot.gauges.left_pct - true_pct >= _GAUGE_PCT


def _cell(floor: Floor) -> bool:
    for pack in floor.drill.flight.bank.packs:
        cells = sorted(pack.cell_voltage_v(i) for i in range(pack.model.cells_in_series))
        others = cells[1:]
        if sum(others) / len(others) - cells[0] >= _CELL_V:
            return True
    return False


def _rotor(floor: Floor) -> bool:
    drive = floor.drill.flight.craft.drive
    speeds = [(group.speed_rad_s, group.health) for group in drive.groups for _ in group.members]
    sound = [speed for speed, health in speeds if health == 1.0]
    weak = [speed for speed, health in speeds if 0.0 < health < 1.0]
    return bool(sound and weak) and max(weak) >= _FASTER * sum(sound) / len(sound)


def _wind(floor: Floor) -> bool:
    craft = floor.drill.flight.craft
    return math.hypot(craft.wind_north_m_s, craft.wind_east_m_s) > _WIND_M_S and not craft.on_ground


def _margin(floor: Floor) -> bool:
    margin_db = floor.drill.around.margin_db
    return margin_db is not None and margin_db < _MARGIN_DB


def _fewer(floor: Floor) -> bool:
    sensors = floor.drill.flight.pilot.sensors
    return sensors.satellites <= _LESS * floor.satellites_before or not sensors.has_fix


def _off(floor: Floor) -> bool:
    return math.hypot(*floor.drill.flight.pilot.sensors.false_m[:2]) >= _OFF_M


def _moved(floor: Floor) -> bool:
    return math.dist(floor.home_before, floor.drill.flight.pilot.home[:2]) >= _OFF_M


_FLOORS: Final[dict[str, tuple[Test, float]]] = {
    "gauge lies": (_gauge, 0.0),
    "pack opens": (_always, 0.0),
    "weak cell": (_cell, 5.0),
    "motor weakens": (_rotor, 1.0),
    "wind rises": (_wind, 10.0),
    "antenna comes loose": (_margin, 5.0),
    "satellites jammed": (_fewer, 0.0),
    "position pulled": (_off, 0.0),
    "motors stop": (_always, 0.0),
    "restart": (_moved, 0.0),
}
