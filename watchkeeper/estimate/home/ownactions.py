"""What the aircraft itself will do about its battery: which stage comes next, when, and what follows.

A climb that a return begins with draws more, and may bring the next stage about at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final, Protocol

from watchkeeper.aircraft.catalogue import INDEX, MAX_PACKS, PHASE_GROUPS, pack_index
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.aircraft.vocabulary import Settings
from watchkeeper.estimate.home.lowstages import (
    ACTIVE,
    EARLY,
    LONGEST_S,
    Coming,
    Gauge,
    bus_v,
    coming,
    over_model_v,
    past,
    reached,
    reaches,
    uncertain,
)
from watchkeeper.estimate.home.power import PowerModel
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.packs.battery import Supply
from watchkeeper.estimate.packs.pack import number

_PHASE: Final = INDEX["flight.phase"]
_HEIGHT: Final = INDEX["position.height"]
_DISTANCE: Final = INDEX["position.home_distance"]
_INPUTS: Final = tuple(INDEX[f"battery.{name}"] for name in ("voltage", "gauge_left", "consumed", "current"))
_PACKS: Final = tuple(pack_index(n, "voltage") for n in range(1, MAX_PACKS + 1))
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]
_OVER: Final = {"returning": frozenset({"return", "retrace", "return_or_land"}),
                "landing": ACTIVE - {"stop_motors"}}  # fmt: skip
"""Actions that change nothing in a phase."""
_CLIMB_M: Final = 3.0
_ACTED_S: Final = 5.0
_EVERY_US: Final = 1_000_000
_SMOOTH_S: Final = 20.0
"""Gusts pull the voltage about by more than it falls in a minute."""
_GAP_S: Final = 10.0
NAMES: Final = ("own.action_in", "own.action", "own.climbs", "own.follows")


class Flight(Protocol):
    """What is asked of the way home."""

    @property
    def power_w(self) -> float | None:
        """The power of all packs, smoothed; None while unknown."""

    @property
    def model(self) -> PowerModel:
        """What flying costs."""


class OwnActions:
    """`own.…`: what the aircraft will do next about its battery; blind while its stages are unknown."""

    indexes = tuple(INDEX[name] for name in NAMES)

    def __init__(
        self,
        readings: Readings,
        settings: Callable[[], Settings | None],
        plan: Callable[[], ReturnPlan],
        supplies: Callable[[], Sequence[Supply] | None],
        flight: Flight,
    ) -> None:
        self._readings = readings
        self._settings = settings
        self._plan = plan
        self._supplies = supplies
        self._flight = flight
        self._run_us = -_EVERY_US
        self._held_us: dict[str, int] = {}
        self._acted: set[str] = set()
        self._off_v: float | None = None
        self._shown_pct: float | None = None
        self._turned: tuple[float, float] | None = None
        self.stream = Stream()

    def run(self, now_us: int) -> list[float | str | bool | None] | None:
        """Return values for `indexes` once a second, None between."""
        if now_us - self._run_us < _EVERY_US:
            return None
        step_s = (now_us - self._run_us) / 1e6
        self._run_us = now_us
        phase = self._readings.values[_PHASE]
        if phase not in _IN_FLIGHT:
            self._held_us.clear()
            self._acted.clear()
            return [None] * len(NAMES)
        settings, supplies, power_w = self._settings(), self._supplies(), self._flight.power_w
        if settings is None or settings.low_battery is None or not supplies or not power_w:
            return [None] * len(NAMES)
        gauge = self._gauge(settings, supplies, power_w, step_s, now_us)
        self._note_acted(settings, supplies, gauge, power_w, now_us)
        moot = {
            one.name
            for one in settings.low_battery
            if (one.action.word or "") in _OVER.get(str(phase), frozenset())
        }
        over = frozenset(self._acted | moot)
        found = coming(settings, supplies, gauge, power_w, over)
        if found is None and uncertain(settings, supplies, gauge, power_w, over):
            return [None] * len(NAMES)
        if found is None:
            return [LONGEST_S, "nothing", False, "nothing"]
        climbs, follows = self._climb(found, settings, supplies, gauge, power_w, now_us)
        return [found.in_s, found.action, climbs, follows]

    def _gauge(
        self, settings: Settings, supplies: Sequence[Supply], power_w: float, step_s: float, now_us: int
    ) -> Gauge:
        voltage_v, gauge_pct, consumed_ah, current_a = (number(self._readings, i, now_us) for i in _INPUTS)
        # monitors of packs in parallel differ; what stands on the bus is the highest, what warns is the lowest
        packs_v = [v for i in _PACKS if (v := number(self._readings, i, now_us)) is not None]
        voltage_v = max(packs_v, default=voltage_v)
        told_mah = settings.pack_capacity_mah.number
        own_ah = math.fsum(1.0 / one.state.per_ah for one in supplies)
        capacity_ah = told_mah / 1000.0 if told_mah is not None else own_ah
        fine_pct = self._finer(gauge_pct, consumed_ah, capacity_ah)
        share = max(one.share for one in supplies)
        gauge = Gauge(voltage_v, fine_pct, consumed_ah, current_a, capacity_ah, share)
        if voltage_v is None:
            self._off_v = None
            return gauge
        off_v = over_model_v(supplies, gauge, power_w)
        if self._off_v is None or step_s > _GAP_S:
            self._off_v = off_v
        self._off_v += (off_v - self._off_v) * (1.0 - math.exp(-step_s / _SMOOTH_S))
        return gauge._replace(off_v=self._off_v)

    def _finer(self, shown_pct: float | None, consumed_ah: float | None, capacity_ah: float) -> float | None:
        """Return the gauge between its whole numbers, by what was used since it last turned (it rounds)."""
        if shown_pct is None or consumed_ah is None or capacity_ah <= 0.0:
            self._shown_pct = self._turned = None
            return shown_pct
        if shown_pct != self._shown_pct:
            turned = self._shown_pct is not None and 0.0 < self._shown_pct - shown_pct < 1.5
            self._turned = (shown_pct + (0.5 if turned else 0.0), consumed_ah)
            self._shown_pct = shown_pct
        if self._turned is None:
            return shown_pct
        at_pct, at_ah = self._turned
        found = at_pct - 100.0 * (consumed_ah - at_ah) / capacity_ah
        return max(shown_pct - 0.5, min(shown_pct + 0.5, found))

    def _note_acted(
        self, settings: Settings, supplies: Sequence[Supply], gauge: Gauge, power_w: float, now_us: int
    ) -> None:
        """Take a stage that acts once a flight for done: its action follows, or it is past by more than noise."""
        phase = str(self._readings.values[_PHASE])
        for stage in settings.low_battery or ():
            if stage.latched.word != "yes" or stage.name in self._acted:
                continue
            if not reached(stage, settings, supplies, gauge, power_w):
                self._held_us.pop(stage.name, None)
                continue
            if stage.action.word in _OVER.get(phase, frozenset()):
                self._acted.add(stage.name)
                continue
            if not reached(past(stage), settings, supplies, gauge, power_w):
                self._held_us.pop(stage.name, None)
                continue
            since_us = self._held_us.setdefault(stage.name, now_us)
            if now_us - since_us > 1e6 * ((stage.delay_s.number or 0.0) + _ACTED_S):
                self._acted.add(stage.name)

    def _climb(
        self,
        found: Coming,
        settings: Settings,
        supplies: Sequence[Supply],
        gauge: Gauge,
        power_w: float,
        now_us: int,
    ) -> tuple[bool, str]:
        """Return whether its return begins with a climb, and what the climb's sag brings about."""
        height_m = number(self._readings, _HEIGHT, now_us)
        distance_m = number(self._readings, _DISTANCE, now_us)
        plan = self._plan()
        if found.action not in {"return", "return_or_land"} or height_m is None or distance_m is None:
            return False, "nothing"
        if plan.top_m(height_m, distance_m) - height_m < _CLIMB_M:
            return False, "nothing"
        climb_w = self._flight.model.power_w(0.0, plan.climb_m_s)
        then: list[Supply] = []
        bends_v: list[float] = []
        for one in supplies:
            charge, _ = one.state.drawn(one.state.charge, power_w * one.share, found.in_s)
            then.append(one._replace(state=one.state.at(charge)))
            bends_v.append(EARLY * one.state.bend_v(charge) * one.state.cells)
        bend_v = min(bends_v)  # the moment itself was foretold from the early side
        off_v = None if gauge.off_v is None else gauge.off_v - bend_v
        at_climb = gauge._replace(voltage_v=bus_v(then, climb_w, 0.0) - bend_v, off_v=off_v)
        for stage in settings.low_battery or ():
            action = stage.action.word
            if stage.name == found.stage.name or action not in ACTIVE or action == found.action:
                continue
            if stage.quantity.word not in {"voltage", "compensated_voltage"}:
                continue
            in_s = reaches(stage, settings, then, at_climb, climb_w)
            climb_s = (plan.top_m(height_m, distance_m) - height_m) / plan.climb_m_s
            if in_s is not None and in_s + (stage.delay_s.number or 0.0) < climb_s:
                return True, action
        return True, "nothing"
