"""The packs' health: cells, warmth, resistance, connections, and what the batteries say of themselves.

Each finding is that of the pack in which it is worst, with that pack's number. What a pack does not tell is not
judged, and stays unknown.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Final

from watchkeeper.aircraft.catalogue import INDEX, PHASE_GROUPS
from watchkeeper.aircraft.pack import Pack
from watchkeeper.aircraft.readings import Stream
from watchkeeper.aircraft.smartbattery import GRAVITY, fault_word, state_word
from watchkeeper.aircraft.state import Aircraft
from watchkeeper.estimate.packs.battery import BatteryEstimates
from watchkeeper.estimate.packs.onepack import OnePack

NAMES: Final = (
    "cell_under", "lowest_cell", "weak_cell", "weak_pack", "weak_cause", "tap_wrong", "tap_pack", "coldest",
    "heating", "heating_pack", "resistance_over", "resistance_pack", "opens", "opens_pack", "frozen",
    "frozen_pack", "fall_unexplained", "fall_pack", "idle_pack", "current_untold", "state", "fault", "state_pack",
    "health", "cycles",
)  # fmt: skip
LOOSE_V: Final = 0.1
"""A wire that makes less of a difference misleads nobody: cells are called uneven from there on."""
UNTOLD_S: Final = 20.0
"""In flight without a current, until it is said."""
IDLE_S: Final = 5.0
LEAST_A: Final = 5.0
_UNLOADED: Final = 0.01
"""A pack off the bus shows its own voltage: over the bus by more than this part (V = E - R I, 2 % at 3 C)."""
_EVERY_US: Final = 900_000
"""What takes seconds to show is not looked at more often; openings are counted as the reports come."""
_PHASE: Final = INDEX["flight.phase"]
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]
_ALOFT: Final = frozenset({"airborne", "returning"})
_FAULT_GRAVITY: Final = GRAVITY["unhealthy"]

Value = float | str | bool | None


class PackHealth:
    """All packs of one aircraft."""

    def __init__(self, aircraft: Aircraft, batteries: BatteryEstimates, why: Callable[[], str]) -> None:
        """`why` says why getting home is not known, in plain words."""
        self._aircraft = aircraft
        self._batteries = batteries
        self._why = why
        self._packs: dict[int, OnePack] = {}
        self._reports = 0
        self._run_us = -_EVERY_US
        self._untold_us: int | None = None
        self._idle_us: dict[int, int] = {}
        self.stream = Stream()
        self.indexes: tuple[int, ...] = tuple(INDEX[f"battery.{name}"] for name in NAMES)

    def run(self, now_us: int) -> Sequence[Value] | None:
        """Return values for `indexes`, or None when no pack has reported."""
        heard = self._aircraft.packs.flight(now_us)
        reports = sum(pack.stream.count for pack in heard)
        if not heard or reports == self._reports or 0 <= now_us - self._run_us < _EVERY_US:
            return None
        self._reports, self._run_us = reports, now_us
        phase = self._aircraft.readings.values[_PHASE]
        found = [self._one(pack) for pack in heard]
        cells = max((one for one in found if one.cells is not None), key=_under, default=None)
        values: list[Value] = [None] * 5
        if cells is not None and cells.cells is not None:
            values = [cells.cells.lasting_v, cells.cells.lowest_v, cells.cells.weak + 1.0, float(cells.number)]
            values.append(cells.cells.cause)
        tap = next((pack for pack, one in zip(heard, found, strict=True) if pack.tap_wrong or _loose(one)), None)
        values += [tap is not None, None if tap is None else float(tap.number)]
        values.append(min((v for pack in heard if (v := pack.last.temperature_degc) is not None), default=None))
        values += _worst((one.number, one.heating.beyond) for one in found)
        values += _worst((one.number, one.resistance_over_pct) for one in found)
        values += _worst((pack.number, float(pack.connection.opens(now_us))) for pack in heard)
        frozen = next((pack for pack in heard if pack.connection.frozen), None)
        values += [frozen is not None, None if frozen is None else float(frozen.number)]
        values += _worst((one.number, one.falling.unexplained_v) for one in found)
        values.append(self._idle(heard, phase in _IN_FLIGHT, now_us))
        values.append(self._untold(heard, phase in _ALOFT, now_us))
        return [*values, *_own_words(found), *self._smart()]

    def _one(self, pack: Pack) -> OnePack:
        one = self._packs.get(pack.number)
        if one is None:
            one = self._packs[pack.number] = OnePack(pack.number)
        one.update(pack, self._batteries.numbered(pack.number))
        return one

    def _idle(self, heard: Sequence[Pack], flying: bool, now_us: int) -> float | None:
        """Return a pack that gives nothing while the others carry, and shows its own voltage; 0 without one.

        One that carried before is told as a pack that came off the bus.
        """
        if not flying or len(heard) < 2:
            self._idle_us.clear()
            return None
        for pack in heard:
            others = [one for one in heard if one is not pack and (one.current_a or 0.0) >= LEAST_A]
            bus_v = [one.last.voltage_v for one in others if one.last.voltage_v is not None]
            own_v, own_a = pack.last.voltage_v, pack.last.current_a
            idle = bool(bus_v) and own_v is not None and own_a is not None and not pack.connection.carried
            if not idle or own_a > 0.04 * LEAST_A or own_v < (1.0 + _UNLOADED) * max(bus_v):  # type: ignore[operator]
                self._idle_us.pop(pack.number, None)
            elif now_us - self._idle_us.setdefault(pack.number, now_us) >= IDLE_S * 1e6:
                return float(pack.number)
        return 0.0

    def _untold(self, heard: Sequence[Pack], aloft: bool, now_us: int) -> bool:
        """Whether a current is missing, and nothing else says so already."""
        alone = len(heard) == 1  # of several, one that carried has come off the bus
        untold = aloft and any(
            pack.last.voltage_v is not None and not pack.current_a and (alone or not pack.connection.carried)
            for pack in heard
        )
        if not untold or "current of its packs" in self._why():
            self._untold_us = None
            return False
        if self._untold_us is None:
            self._untold_us = now_us
        return now_us - self._untold_us >= UNTOLD_S * 1e6

    def _smart(self) -> list[Value]:
        told = self._aircraft.packs.smart.values()
        health = [pct for one in told if (pct := one.health_pct) is not None]
        cycles = [one.cycles for one in told if one.cycles is not None]
        return [min(health, default=None), float(max(cycles)) if cycles else None]


def _under(one: OnePack) -> float:
    return one.cells.lasting_v if one.cells is not None else -math.inf


def _loose(one: OnePack) -> bool:
    return one.cells is not None and one.cells.cause == "wire" and one.cells.lasting_v >= LOOSE_V


def _worst(found: Iterable[tuple[int, float | None]]) -> list[Value]:
    """Return the greatest of the values that are known, and the number of its pack."""
    known = [(value, number) for number, value in found if value is not None]
    if not known:
        return [None, None]
    value, number = max(known, key=lambda one: one[0])
    return [value, float(number)]


def _own_words(found: Sequence[OnePack]) -> list[Value]:
    """Return the gravest state, the gravest fault, and the pack that says the worse of them."""
    telling = [one for one in found if one.charge_state or one.faults]
    if not telling:
        return [None, None, None]
    gravest = max(telling, key=lambda one: GRAVITY[state_word(one.charge_state)])
    state = state_word(gravest.charge_state)
    faulty = next((one for one in telling if one.faults), None)
    named = faulty if faulty is not None and GRAVITY[state] <= _FAULT_GRAVITY else gravest
    return [state, "none" if faulty is None else fault_word(faulty.faults), float(named.number)]
