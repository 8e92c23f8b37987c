"""Can it get home: time, energy and charge left, and how long until that is no longer so.

First version: the present power, smoothed, over the time of the way home. Charge in % of all packs' energy at
nominal voltage. The lower bound takes 1.65 standard deviations (one-sided 95 %) of two independent errors: of the
charge itself, and of the energy that the way takes. A wind of unknown direction is taken as a head wind home.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.catalogue import INDEX, PHASE_GROUPS
from watchkeeper.aircraft.files import AircraftFile, Packs, SortieFile
from watchkeeper.aircraft.filetypes import Wind
from watchkeeper.aircraft.readings import Readings, Stream
from watchkeeper.estimate.battery import number
from watchkeeper.estimate.curve import NOMINAL_V
from watchkeeper.estimate.homeway import (
    DEFAULT_AIRSPEED_M_S,
    DEFAULT_SPEED_M_S,
    LEAST_SPEED_M_S,
    Segment,
    done_already,
    speed_over_ground,
    way_home,
)

BOUND: Final = 1.65  # standard deviations, one-sided 95 %
CHARGE_DOUBT_PCT: Final = 2.5  # a resting voltage off by 10 mV on the steep part of the curve, and a current scale
ENERGY_DOUBT: Final = 0.12  # of the energy home: wind, gusts and load not known better
LEAST_RESERVE_PCT: Final = 20.0
UNREACHABLE_PCT: Final = -100.0  # what is left after a way that cannot be flown
LONGEST_S: Final = 3600.0  # a turn back later than that is no news
POWER_SMOOTH_S: Final = 20.0
RADIAL_SMOOTH_S: Final = 3.0
NEAR_HOME_M: Final = 20.0  # position error and drift; over so little, wind that leaves no way home decides nothing
_GAP_S: Final = 10.0  # hover power changes little in it; what was measured before says nothing of now


class Home(NamedTuple):
    """The answers: s, Wh, %, %, s, m."""

    time_s: float | None
    energy_wh: float | None
    reserve_pct: float
    reserve_low_pct: float
    turn_back_in_s: float
    reach_m: float


BLIND: Final[tuple[None, ...]] = (None,) * len(Home._fields)


def pack_energy_wh(packs: Packs) -> float | None:
    """Return the energy of all packs at nominal voltage: 2 x 12S 22 Ah at 3.7 V are 1953.6 Wh."""
    if packs.cells is None or packs.capacity_ah is None:
        return None
    return packs.cells * NOMINAL_V[packs.chemistry] * packs.capacity_ah * packs.count


def lower_bound(charge_pct: float, way_pct: float, doubt_pct: float = CHARGE_DOUBT_PCT) -> float:
    """Return the lower bound of the charge left after a way that takes `way_pct`."""
    return charge_pct - way_pct - BOUND * math.hypot(doubt_pct, ENERGY_DOUBT * way_pct)


def longest_way(charge_pct: float, required_pct: float, doubt_pct: float = CHARGE_DOUBT_PCT) -> float:
    """Return the dearest way (in % of charge) whose lower bound still keeps what is required; 0 if none does.

    With s = charge - required it is the smaller root of (s - w)^2 = BOUND^2 (doubt^2 + (ENERGY_DOUBT w)^2).
    """
    spare = charge_pct - required_pct
    a = 1 - (BOUND * ENERGY_DOUBT) ** 2
    c = spare**2 - (BOUND * doubt_pct) ** 2
    if spare <= 0 or c <= 0:
        return 0.0
    return (spare - math.sqrt(spare**2 - a * c)) / a


def answer(
    segments: Sequence[Segment],
    *,
    charge_pct: float,
    energy_wh: float,
    power_w: float,
    speed_m_s: float,
    outward_m_s: float,
    required_pct: float,
    doubt_pct: float = CHARGE_DOUBT_PCT,
) -> Home:
    """Work the answers out.

    `segments` are the way home from here, `energy_wh` that of all packs full, `power_w` the power in level flight,
    `speed_m_s` the cruise home over ground, `outward_m_s` the present speed away from home, `doubt_pct` the
    charge's standard deviation. Flying on for a second costs that second's power and lengthens the way home, whose
    error grows with it.
    """
    per_s_pct = 100 * power_w / 3600 / energy_wh
    way_pct = per_s_pct * sum(s.time_s * s.power_ratio for s in segments)
    fixed_pct = per_s_pct * sum(s.time_s * s.power_ratio for s in segments if s.name != "cruise")
    low_pct = lower_bound(charge_pct, way_pct, doubt_pct)
    longer_pct = per_s_pct * max(0.0, outward_m_s) / speed_m_s * (1 + BOUND * ENERGY_DOUBT)
    turn_back_in_s = (low_pct - required_pct) / (per_s_pct + longer_pct)
    cruise_pct = max(0.0, longest_way(charge_pct, required_pct, doubt_pct) - fixed_pct)
    return Home(
        sum(s.time_s for s in segments),
        way_pct / 100 * energy_wh,
        charge_pct - way_pct,
        low_pct,
        min(LONGEST_S, turn_back_in_s),
        cruise_pct / per_s_pct * speed_m_s,
    )


_PHASE: Final = INDEX["flight.phase"]
_POWER: Final = INDEX["battery.power"]
_CHARGE: Final = INDEX["battery.charge_left"]
_DISTANCE: Final = INDEX["position.home_distance"]
_BEARING: Final = INDEX["position.home_bearing"]
_HEIGHT: Final = INDEX["position.height"]
_WIND: Final = INDEX["wind.speed"]
_WIND_FROM: Final = INDEX["wind.from"]
_IN_FLIGHT: Final = PHASE_GROUPS["in_flight"]


class ReturnHome:
    """All `return.*` readings; blind on the ground, and without charge of all packs, place or power."""

    indexes = tuple(
        INDEX[f"return.{name}"] for name in ("time", "energy", "reserve", "reserve_low", "turn_back_in", "reach")
    )

    def __init__(
        self,
        readings: Readings,
        file: AircraftFile | None,
        sortie: SortieFile | None,
        doubt_pct: Callable[[], float | None] = lambda: 0.0,
        share: Callable[[], float] = lambda: 1.0,
    ) -> None:
        """`doubt_pct` gives what adds to the usual doubt of the charge, None when not all packs are known.

        `share` gives the part of all packs that is still on the bus.
        """
        self._readings = readings
        self._file = file if file is not None else AircraftFile()
        self._energy_wh = pack_energy_wh(self._file.packs)
        reserve = sortie.reserve_pct if sortie is not None else None
        self._doubt_pct = doubt_pct
        self._share = share
        self._required_pct = max(LEAST_RESERVE_PCT, reserve or 0.0)
        self._power_w: float | None = None
        self._power_us = 0
        self._distance_m = 0.0
        self._distance_us = 0
        self._outward_m_s = 0.0
        self.stream = Stream()

    def run(self, now_us: int) -> tuple[float | None, ...]:
        """Return the answers for `indexes`."""
        readings = self._readings
        phase = readings.values[_PHASE]
        if phase not in _IN_FLIGHT:
            self._power_w = None
            self._distance_us = 0
            return BLIND
        distance_m = number(readings, _DISTANCE, now_us)
        height_m = number(readings, _HEIGHT, now_us)
        charge_pct = number(readings, _CHARGE, now_us)
        self._learn_power(now_us)
        if distance_m is None or height_m is None:
            return BLIND
        self._learn_motion(distance_m)
        hover = self._file.hover_power
        power_w = self._power_w if self._power_w is not None else hover.power_w if hover is not None else None
        doubt_pct = self._doubt_pct()
        energy_wh = None if self._energy_wh is None else self._energy_wh * self._share()
        if not energy_wh or charge_pct is None or doubt_pct is None or power_w is None:
            return BLIND
        speed_m_s, outward_m_s = self._speed_home(now_us), self._outward_m_s
        done = done_already(phase, distance_m)
        held = speed_m_s < LEAST_SPEED_M_S
        if held:
            if distance_m >= NEAR_HOME_M:
                return None, None, UNREACHABLE_PCT, UNREACHABLE_PCT, 0.0, 0.0
            done, speed_m_s, outward_m_s = done | {"cruise"}, LEAST_SPEED_M_S, 0.0
        home = answer(
            way_home(self._file, distance_m, height_m, speed_m_s, done),
            charge_pct=charge_pct,
            energy_wh=energy_wh,
            power_w=power_w,
            speed_m_s=speed_m_s,
            outward_m_s=outward_m_s,
            required_pct=self._required_pct,
            doubt_pct=math.hypot(CHARGE_DOUBT_PCT, doubt_pct),
        )
        return home._replace(reach_m=min(home.reach_m, NEAR_HOME_M)) if held else home

    def _speed_home(self, now_us: int) -> float:
        readings, file = self._readings, self._file
        speed_m_s, from_deg = number(readings, _WIND, now_us), number(readings, _WIND_FROM, now_us)
        bearing_deg = number(readings, _BEARING, now_us)
        track_deg = (bearing_deg or 0.0) + 180
        wind = None
        if speed_m_s is not None:
            known = from_deg is not None and bearing_deg is not None
            wind = Wind(speed_m_s, from_deg if known and from_deg is not None else track_deg)
        return speed_over_ground(
            file.return_.speed_m_s or DEFAULT_SPEED_M_S,
            file.limits.airspeed_m_s or DEFAULT_AIRSPEED_M_S,
            wind,
            track_deg,
        )

    def _learn_power(self, now_us: int) -> None:
        """Smooth the power of all packs; the take-off's first seconds count with the rest.

        Nothing flies on no power: then it is not measured.
        """
        power_w = number(self._readings, _POWER, now_us)
        step_s = (now_us - self._power_us) / 1e6
        if power_w is None or power_w <= 0:
            if step_s > _GAP_S:
                self._power_w = None
            return
        self._power_us = now_us
        if self._power_w is None or step_s > _GAP_S:
            self._power_w = power_w
        self._power_w += (power_w - self._power_w) * (1 - math.exp(-step_s / POWER_SMOOTH_S))

    def _learn_motion(self, distance_m: float) -> None:
        """Smooth the speed away from home out of the distances, each with its own time."""
        stream = self._readings.streams[_DISTANCE]
        assert stream is not None
        step_s = (stream.time_us - self._distance_us) / 1e6
        if step_s <= 0:
            return
        if self._distance_us and step_s < _GAP_S:
            speed_m_s = (distance_m - self._distance_m) / step_s
            self._outward_m_s += (speed_m_s - self._outward_m_s) * (1 - math.exp(-step_s / RADIAL_SMOOTH_S))
        else:
            self._outward_m_s = 0.0
        self._distance_m, self._distance_us = distance_m, stream.time_us
