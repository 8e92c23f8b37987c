"""What would have been: the same flight flown silently, turned back at one moment or another.

Ground, sky and radio are left out: they decide what is known, not what the packs give. Steps are 0.1 s.

Charge is usable charge: 0 % is where the power of the flight can no longer be held above the cell floor, at the
packs' temperature and age of that moment; 100 % is a full pack.
"""

from __future__ import annotations

import copy
import math
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from simulators.flown.deeds import SILENT
from simulators.flown.events import Events
from simulators.flown.flight import FastFlight
from simulators.flown.scenario_file import FlownFile
from simulators.onboard.modes import Landed, Mode
from simulators.physics.packs import Pack, PackBank

RESERVE_PCT: Final = 20.0
"""Usable charge that must be left in the emptier pack after landing."""
CELL_FLOOR_V: Final = 3.3
"""Voltage of a cell under load, on the mean of a pack, below which nobody plans to fly (common practice)."""
LIMIT_S: Final = 5400.0
"""Longer than the packs last with no load at all."""
_STEP_S: Final = 5.0
_COARSE_S, _EARLY_S, _MUCH_PCT = 30.0, 90.0, 25.0
"""As far apart are the moments tried in turn: usually, and while so much more than the reserve is left."""
_EVERY: Final = 5
_MARK_S: Final = 60.0
_GOES_HOME: Final = frozenset({Mode.SAFE_RECOVERY, Mode.LAND})
_HALVINGS: Final = 12
"""Charge to a fortieth of a per cent."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a flight ended. Usable charge of the emptier connected pack in %, at landing or when it fell.

    `landed` is false for one that fell and for one still in the air at the limit; only the first `fell`.
    `lowest_cell_v` is that of any cell of a connected pack while it flew home; None if it never turned back.
    """

    landed: bool
    fell: bool
    charge_pct: float
    end_s: float
    took_off_s: float
    turned_back_s: float | None
    lowest_cell_v: float | None = None

    def with_reserve(self, reserve_pct: float = RESERVE_PCT) -> bool:
        """Whether it landed with that much left."""
        return self.landed and self.charge_pct >= reserve_pct


class MeanPower:
    """The mean electric power of a flight since it left the ground. `look` at even intervals."""

    __slots__ = ("_looks", "_sum_w")

    def __init__(self) -> None:
        self._sum_w = 0.0
        self._looks = 0

    def look(self, flight: FastFlight) -> None:
        """Take the present power in, if it flies."""
        if flight.pilot.landed is Landed.AIR and not flight.craft.on_ground:
            self._sum_w += flight.bank.power_w
            self._looks += 1

    @property
    def power_w(self) -> float:
        """The mean, 0 before take-off."""
        return self._sum_w / self._looks if self._looks else 0.0


def usable_pct(bank: PackBank, power_w: float) -> float:
    """Return the usable charge of the emptier connected pack at a power, 0 to 100 %; 0 with no pack connected."""
    connected = [pack for pack in bank.packs if not pack.is_open]
    if not connected:
        return 0.0
    empty = _empty(connected, power_w)
    least = min(pack.charge for pack in connected)
    return max(0.0, 100.0 * (least - empty) / (1.0 - empty)) if empty < 1.0 else 0.0


def _empty(packs: list[Pack], power_w: float) -> float:
    """Return the charge (0 to 1) at which packs of equal charge hold a power just at the cell floor."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if _cell_v(packs, middle, power_w) < CELL_FLOOR_V:
            low = middle
        else:
            high = middle
    return high


def _cell_v(packs: list[Pack], charge: float, power_w: float) -> float:
    """Return the settled voltage of a cell under a constant power, 0 if it cannot be given.

    Kirchhoff, as for two sources in parallel: sum(G) V^2 - sum(E G) V + P = 0.
    """
    siemens = short_a = 0.0
    for pack in packs:
        conductance_s = 1.0 / _settled_ohm(pack, charge)
        siemens += conductance_s
        short_a += pack.model.cells_in_series * pack.model.cell.open_circuit(charge)[0] * conductance_s
    square = short_a * short_a - 4.0 * siemens * power_w
    bus_v = (short_a + math.sqrt(square)) / (2.0 * siemens) if square >= 0.0 else 0.0
    return bus_v / packs[0].model.cells_in_series


def _settled_ohm(pack: Pack, charge: float) -> float:
    """Return a pack's resistance at a charge, its RC pairs settled; wiring and a weak cell stay as they are."""
    cell = pack.model.cell
    whole = (
        pack.model.cells_in_series
        * cell.temperature_factor(pack.temperature_degc)
        * cell.age_factor(pack.model.cycles)
    )
    constant_ohm = pack.series_ohm - whole * cell.charge_factor(pack.raw_charge) * cell.r0_ohm
    return constant_ohm + whole * cell.charge_factor(charge) * (cell.r0_ohm + cell.r1_ohm + cell.r2_ohm)


def lowest_cell_v(bank: PackBank) -> float:
    """Return the voltage of the lowest cell of the connected packs; infinite with none."""
    return min((pack.lowest_cell_v for pack in bank.packs if not pack.is_open), default=math.inf)


class _Course:
    """One flight under way. A copy goes on exactly as it would have gone on itself."""

    def __init__(self, written: FlownFile, seed: int, limit_s: float) -> None:
        self.flight = FastFlight(written.setup(), seed)
        self.flight.pilot.load_plan(written.plan_items())
        self._events = Events([event for event in written.events() if event.do.name not in SILENT])
        self._limit_s = limit_s
        self._mean = MeanPower()
        self._took_off_s = 0.0
        self._turned_s: float | None = None
        self._lowest_v = math.inf
        self.over = False

    def fly_on(self, turn_back_s: float | None, each_step: Callable[[FastFlight], None] | None = None) -> None:
        """Fly on for half a second; turn back if it is time."""
        flight = self.flight
        for _ in self._events.happen(flight):
            pass
        for _ in range(_EVERY):
            flight.step()
            if each_step is not None:
                each_step(flight)
            if self._turned_s is not None and not flight.craft.on_ground:
                self._lowest_v = min(self._lowest_v, lowest_cell_v(flight.bank))
        self._mean.look(flight)
        pilot, craft, now = flight.pilot, flight.craft, flight.time_s
        if not self._took_off_s and pilot.landed in {Landed.TAKEOFF, Landed.AIR}:
            self._took_off_s = now
        if turn_back_s is not None and self._turned_s is None and self._took_off_s and now >= turn_back_s:
            self._turned_s = now
        if self._turned_s is not None and pilot.armed and pilot.mode not in _GOES_HOME:
            pilot.enter(Mode.SAFE_RECOVERY, "order")  # once, and again when a restart has taken it away
        down = craft.crashed or (not pilot.armed and craft.on_ground)
        self.over = now >= self._limit_s or (bool(self._took_off_s) and down)

    @property
    def outcome(self) -> Outcome:
        """How it stands."""
        flight, craft = self.flight, self.flight.craft
        landed = bool(self._took_off_s) and craft.on_ground and not craft.crashed
        left_pct = usable_pct(flight.bank, self._mean.power_w)
        lowest_v = self._lowest_v if math.isfinite(self._lowest_v) else None
        return Outcome(landed, craft.crashed, left_pct, flight.time_s, self._took_off_s, self._turned_s, lowest_v)


class Futures:
    """All the ways one flight could have gone on, by when it is turned back.

    The flight that is never turned back is flown once, as far as is asked for, and marked each minute; every other
    one begins as a copy of the last mark before it turns. `each_step` sees the first one only.
    """

    def __init__(
        self,
        written: FlownFile,
        seed: int,
        limit_s: float = LIMIT_S,
        each_step: Callable[[FastFlight], None] | None = None,
    ) -> None:
        self._trunk = _Course(written, seed, limit_s)
        self._each_step = each_step
        self._marks: list[_Course] = []
        self._times_s: list[float] = []
        self._known: dict[float, Outcome] = {}

    def outcome(self, turn_back_s: float | None) -> Outcome:
        """Return how it ends, turned back at a time or never."""
        self._fly_to(math.inf if turn_back_s is None else turn_back_s)
        if turn_back_s is None:
            return self._trunk.outcome
        if turn_back_s in self._known:
            return self._known[turn_back_s]
        before = bisect_left(self._times_s, turn_back_s)  # marks at which it need not have turned yet
        course = copy.deepcopy(self._marks[max(0, before - 1)])
        while not course.over:
            course.fly_on(turn_back_s)
        self._known[turn_back_s] = course.outcome
        return course.outcome

    def latest(self, from_s: float, reserve_pct: float = RESERVE_PCT) -> float | None:
        """Return until when turning back lands with the reserve, in s, to 5 s; None if it never does.

        What is flown cannot be got back, but later is not always worse: a wind that drops, a gust in the landing
        or a restart, which moves home, can let a later return end better than an earlier one. So each half minute
        is tried in turn (each minute and a half while much more than the reserve is left), and the moment is the
        last before the first failure: whoever turns back at any of them until then is safe, and nobody is asked to
        know that a better moment will come again. Failures between two of them can stay unseen. Infinite when the
        flight ends with the reserve by itself.
        """
        if not self.outcome(from_s).with_reserve(reserve_pct):
            return None
        never = self.outcome(None)
        if never.with_reserve(reserve_pct):
            return math.inf
        low = high = from_s
        last_s = max(from_s, never.end_s)
        while high < last_s and (found := self.outcome(high)).with_reserve(reserve_pct):
            coarse_s = _EARLY_S if found.charge_pct > reserve_pct + _MUCH_PCT else _COARSE_S
            low, high = high, min(high + coarse_s, last_s)
        while high - low > _STEP_S:
            middle = 0.5 * (low + high)
            if self.outcome(middle).with_reserve(reserve_pct):
                low = middle
            else:
                high = middle
        return low

    def _fly_to(self, time_s: float) -> None:
        trunk = self._trunk
        while not trunk.over and trunk.flight.time_s < time_s:
            if trunk.flight.time_s >= len(self._marks) * _MARK_S:
                self._marks.append(copy.deepcopy(trunk))
                self._times_s.append(trunk.flight.time_s)
            trunk.fly_on(None, self._each_step)


def fly(written: FlownFile, seed: int, turn_back_s: float | None, limit_s: float = LIMIT_S) -> Outcome:
    """Fly a scenario, ordered home at a time, and tell how it ended."""
    course = _Course(written, seed, limit_s)
    while not course.over:
        course.fly_on(turn_back_s)
    return course.outcome
