"""Today: full packs as cold and as old as they are, what flying costs with this load, and the wind as forecast.

Everything before the flight: nothing has been learned yet, and the doubts are as wide as that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from watchkeeper.aircraft.files import AircraftFile, Packs, SortieFile
from watchkeeper.estimate.air.airdrag import drag_of, flow
from watchkeeper.estimate.air.airwind import WindState, at_height, forecast
from watchkeeper.estimate.home.forecast import BOUND
from watchkeeper.estimate.home.homeway import LEAN_DOUBT
from watchkeeper.estimate.home.power import PowerLearner, PowerModel
from watchkeeper.estimate.home.returning import LEAST_RESERVE_PCT, UNTOLD_WIND_M_S
from watchkeeper.estimate.home.returnplan import ReturnPlan
from watchkeeper.estimate.home.rotorcraft import GRAVITY
from watchkeeper.estimate.packs.battery import Supply
from watchkeeper.estimate.packs.cell import PackState, temperature_factor
from watchkeeper.estimate.packs.chargefilter import ChargeFilter
from watchkeeper.estimate.packs.owncurve import curve_of
from watchkeeper.estimate.packs.pack import FLOORS_V

UNTOLD_HEIGHT_M: Final = 10.0
LEAST_WIND_DOUBT_M_S: Final = 1.0
"""Nobody foretells the wind of a place and an hour better (common practice)."""
DENSE_WH_KG: Final = 180.0
HEAT_J_KG_K: Final = 1000.0
"""A lithium polymer pack's energy and heat capacity by mass (common practice)."""
REFERENCE_DEGC: Final = 25.0
"""For which a resistance is stated."""


class Today(NamedTuple):
    """What a flight today is worked out from.

    `supplies` are full packs, `packs` what is known of each; `wind` is None where nothing tells it.
    """

    packs: tuple[Packs, ...]
    supplies: tuple[Supply, ...]
    learner: PowerLearner
    plan: ReturnPlan
    plan_speed_m_s: float
    wind: WindState
    temperature_degc: float | None
    reserve_pct: float
    lean_m_s: float = math.inf
    """The airspeed at which it leans as far as it may, by a drag that is not known before the flight."""
    lean_doubt: float = 0.0
    """Standard deviation of its logarithm."""
    least_m_s: float = 0.0
    """The airspeed that the aircraft file allows: one that its maker or crew has seen it fly."""

    @property
    def series(self) -> bool:
        """Whether the packs stand one behind the other: all give the same current."""
        return self.packs[0].topology == "series"

    def whole_ah(self, ah: Sequence[float]) -> float:
        """Return what the bus has given (or can give), Ah, of what its packs have: in series it is the same Ah."""
        return math.fsum(ah) / len(ah) if self.series else math.fsum(ah)

    @property
    def model(self) -> PowerModel:
        """What flying is expected to cost."""
        return self.learner.model()

    def wind_at(self, height_m: float) -> WindState:
        """Return the wind at a height above home."""
        return at_height(self.wind, height_m)


def why_not(file: AircraftFile | None) -> str:
    """Return in plain words why nothing can be said of energy; empty where it can."""
    if file is None:
        return "no aircraft file is named"
    if file.kind != "multirotor":
        return "it is no multirotor"
    lacking = [
        name
        for name, value in (("packs.cells", file.packs.cells), ("packs.capacity", file.packs.capacity_ah))
        if value is None
    ]
    if lacking:
        return f"the aircraft file does not say {' and '.join(lacking)}"
    if not PowerLearner(file).known:
        return "the aircraft file says neither hover_power nor masses and rotors"
    return ""


def today(
    file: AircraftFile, sortie: SortieFile, packs: Sequence[Packs], plan: ReturnPlan, plan_speed_m_s: float
) -> Today:
    """Return today's flight of an aircraft of which `why_not` says nothing; `packs` are one for each pack."""
    learner = PowerLearner(file, sortie)
    degc = sortie.weather.temperature_degc
    drag = drag_of(file, sortie)
    top_m_s = flow(GRAVITY * math.tan(math.radians(plan.tilt_deg)), drag.linear_1_s, drag.square_1_m)
    least_m_s = file.limits.airspeed_m_s or 0.0
    wind = _bounded_by_gusts(forecast(sortie.weather), sortie)
    if wind is None:
        var = UNTOLD_WIND_M_S**2
        wind = WindState(0.0, 0.0, var, 0.0, var, UNTOLD_HEIGHT_M, UNTOLD_WIND_M_S / 3.0, "none")
    return Today(
        tuple(packs),
        tuple(_supplies(packs, learner.model().hover_w, degc)),
        learner,
        plan._replace(airspeed_m_s=max(least_m_s, top_m_s)),
        plan_speed_m_s,
        wind,
        degc,
        max(LEAST_RESERVE_PCT, sortie.reserve_pct or 0.0),
        top_m_s,
        math.hypot(drag.scale_sd, LEAN_DOUBT),
        least_m_s,
    )


def _bounded_by_gusts(wind: WindState | None, sortie: SortieFile) -> WindState | None:
    """Return a forecast no wider than its own gusts allow: a mean wind over them is one of twenty."""
    named, gusts_m_s = sortie.weather.wind, sortie.weather.gusts_m_s
    if wind is None or named is None or gusts_m_s is None:
        return wind
    most = max(LEAST_WIND_DOUBT_M_S, (gusts_m_s - named.speed_m_s) / BOUND) ** 2
    return wind._replace(var_nn=min(wind.var_nn, most), var_ee=min(wind.var_ee, most))


def full_v(packs: Packs) -> float:
    """Return a pack's voltage at rest when it is full, V (4.2 V a cell; 4.35 V of high-voltage ones)."""
    return (packs.cells or 0) * curve_of(packs).rest_voltage_at(100.0)


def _supplies(packs: Sequence[Packs], hover_w: float, degc: float | None) -> list[Supply]:
    """Return full packs on the bus, sharing by what their resistances let through (in series evenly)."""
    filters: list[ChargeFilter] = []
    for one in packs:
        assert one.cells is not None
        assert one.capacity_ah is not None
        full = ChargeFilter(one, one.cells, one.capacity_ah)
        if degc is not None:
            full.at_degc(degc)
        full.begin(full_v(one) / one.cells, None, resting=True, load_a=0.0)
        filters.append(full)
    states = [one.state() for one in filters]
    conductances = [1.0 / (state.cell_ohm * state.cells) for state in states]
    series = packs[0].topology == "series"
    shares = [1.0 / len(packs) if series else one / math.fsum(conductances) for one in conductances]
    found: list[Supply] = []
    for one, full, state, share in zip(packs, filters, states, shares, strict=True):
        floor_v = one.cell_floor_v if one.cell_floor_v is not None else FLOORS_V[one.chemistry]
        mean_w = hover_w * share
        found.append(Supply(state, full.doubtful, share, state.empty(mean_w, floor_v), floor_v, mean_w))
    return found


def warmed(packs: Packs, state: PackState, degc: float | None, used_wh: float, power_w: float) -> PackState:
    """Return a pack that has kept all the heat of what it gave at a power: as warm as it can be.

    Its losses are the current squared times the resistance; a warmer pack sags less, and shows a higher voltage at
    the same charge. Without a temperature it begins at that for which the resistance is stated.
    """
    if degc is None:
        degc = REFERENCE_DEGC
    if used_wh <= 0.0 or power_w <= 0.0:
        return state
    current_a = power_w / (state.cells * state.open_v(0.5))
    lost_j = current_a**2 * state.cell_ohm * state.cells * 3600.0 * used_wh / power_w
    return warmer(state, degc, lost_j / _heat_j_k(packs))


def heating_k(packs: Packs, state: PackState, charge: float, power_w: float, time_s: float) -> float:
    """Return by how much a pack warms that gives a power for a time and keeps its losses, K."""
    volt = state.cell_v(charge, power_w)
    return power_w * (state.open_v(charge) / volt - 1.0) * time_s / _heat_j_k(packs) if volt > 0.0 else 0.0


def warmer(state: PackState, degc: float | None, by_k: float) -> PackState:
    """Return a pack that is warmer than the air by so much."""
    air_degc = REFERENCE_DEGC if degc is None else degc
    factor = temperature_factor(air_degc + by_k) / temperature_factor(air_degc)
    return state._replace(cell_ohm=state.cell_ohm * factor)


def _heat_j_k(packs: Packs) -> float:
    mass_kg = (packs.capacity_ah or 0.0) * full_v(packs) / DENSE_WH_KG
    return max(0.1, mass_kg * HEAT_J_KG_K)
