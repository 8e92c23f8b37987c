"""Days to reckon with by hand: power that is one number, packs without doubt, air that stands still."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.optimize import brentq  # type: ignore[import-untyped]

from watchkeeper.aircraft.files import AircraftFile, Packs, SortieFile
from watchkeeper.aircraft.settings import read_settings
from watchkeeper.aircraft.vocabulary import LowStage, Setting, Settings, Status
from watchkeeper.brief import day
from watchkeeper.brief.day import Today
from watchkeeper.estimate.air.airwind import WindState, blows_to
from watchkeeper.estimate.home.power import PowerLearner, PowerModel
from watchkeeper.estimate.home.returnplan import ReturnPlan, of_file
from watchkeeper.estimate.packs.battery import Supply
from watchkeeper.estimate.packs.cell import PackState
from watchkeeper.estimate.packs.curve import PUBLISHED

CELLS = 12
FLOOR_V = 3.3


class Known(PowerLearner):
    """Power that is known: the same at every speed, without a doubt."""

    def __init__(self, hover_w: float, own_doubt: float = 0.0) -> None:
        super().__init__(None)
        self._w, self._own = hover_w, own_doubt

    def model(self) -> PowerModel:
        return Flat(self._w, 6.0, 0.0)

    def doubtful(self, airspeed_m_s: float) -> list[PowerModel]:  # noqa: ARG002
        return [self.model()]

    def model_doubt(self, airspeed_m_s: float) -> float:  # noqa: ARG002
        return self._own


class Flat(PowerModel):
    """The same power at every speed and in every climb."""

    def power_w(self, airspeed_m_s: float, climb_m_s: float = 0.0) -> float:  # noqa: ARG002
        return self.hover_w


def still(speed_m_s: float = 0.0, from_deg: float = 0.0) -> WindState:
    """Return a wind that is known, at all heights above 10 m but for the power law's growth."""
    north, east = blows_to(speed_m_s, from_deg)
    return WindState(north, east, 0.0, 0.0, 0.0, 10.0, 0.0, "sortie")


class Everywhere(Today):
    """A day on which the wind is the same at all heights."""

    __slots__ = ()

    def wind_at(self, height_m: float) -> WindState:  # noqa: ARG002
        return self.wind


def pack_state(ah: float = 22.0, ohm: float = 1e-9, charge: float = 1.0, cells: int = CELLS) -> PackState:
    """Return a new pack of a whole resistance."""
    return PackState(PUBLISHED["lipo"], cells, charge, ohm / cells, 1.0 / ah, 0.0)


def supply(state: PackState, share: float, hover_w: float, doubtful: Sequence[PackState] = ()) -> Supply:
    mean_w = hover_w * share
    return Supply(state, lambda: list(doubtful), share, state.empty(mean_w, FLOOR_V), FLOOR_V, mean_w)


def known_day(
    *,
    hover_w: float = 2000.0,
    ohms: Sequence[float] = (1e-9, 1e-9),
    ah: float = 22.0,
    wind: WindState | None = None,
    plan: ReturnPlan | None = None,
    plan_speed_m_s: float = 8.0,
    topology: str = "parallel",
    reserve_pct: float = 20.0,
) -> Today:
    """Return a day without any doubt but the forecast's own of time; packs share by their resistances."""
    packs = tuple(
        Packs.model_validate(
            {"cells": CELLS, "capacity": f"{ah} Ah", "resistance": f"{ohm} ohm", "topology": topology}
        )
        for ohm in ohms
    )
    conductance = math.fsum(1.0 / one for one in ohms)
    shares = [1.0 / len(ohms) if topology == "series" else 1.0 / one / conductance for one in ohms]
    supplies = tuple(supply(pack_state(ah, ohm), share, hover_w) for ohm, share in zip(ohms, shares, strict=True))
    return Everywhere(
        packs,
        supplies,
        Known(hover_w),
        plan if plan is not None else bare_plan(),
        plan_speed_m_s,
        wind if wind is not None else still(),
        25.0,
        reserve_pct,
    )


def bare_plan(**keys: Any) -> ReturnPlan:
    """Return a return that only flies home and lands at once: no climb, turn, braking or hold to reckon with."""
    plan = ReturnPlan(
        height_m=None, speed_m_s=8.0, order=("cruise",), hold_s=0.0, acceleration_m_s2=1e9, turn_s=0.0,
        landing_m_s=1e9, landing_fast_m_s=1e9, airspeed_m_s=20.0,
    )  # fmt: skip
    return plan._replace(**keys)


CARRIER: dict[str, Any] = {
    "aircraft": "Carrier",
    "kind": "multirotor",
    "rotors": {"count": 6, "diameter": "0.76 m"},
    "mass": {"empty": "18 kg", "maximum": "35 kg"},
    "packs": {
        "cells": 12, "capacity": "22 Ah", "count": 2, "resistance": "15 mohm", "cell_floor": "3.3 V",
        "age": "60 cycles", "monitors": {"0": "pack 1", "1": "pack 2"},
    },
    "hover_power": "3.7 kW at 30 kg",
    "limits": {"airspeed": "18 m/s", "tilt": "30 deg", "descent": "2 m/s"},
    "return": {"height": "40 m", "speed": "8 m/s", "hold": "30 s at 8 m", "landing": "0.7 m/s"},
}  # fmt: skip


def carrier(*, packs: dict[str, Any] | None = None, **keys: Any) -> AircraftFile:
    """Return the file of an invented aircraft, with some of its keys another."""
    return AircraftFile.model_validate(
        _told({**CARRIER, **keys, "packs": _told({**CARRIER["packs"], **(packs or {})})})
    )


def _told(keys: dict[str, Any]) -> dict[str, Any]:
    """Return keys without those of None: they are left out."""
    return {name: value for name, value in keys.items() if value is not None}


def sortie(**keys: Any) -> SortieFile:
    """Return a sortie with a load in a known weather."""
    usual: dict[str, Any] = {
        "home": [1.25, -31.5],
        "payload": {"mass": "5 kg"},
        "weather": {"wind": "4 m/s from 250 deg", "gusts": "7 m/s", "temperature": "12 degC"},
    }
    return SortieFile.model_validate(_told({**usual, **keys}))


def today_of(file: AircraftFile, flight: SortieFile, packs: Sequence[Packs] | None = None) -> Today:
    """Return the day of files, as a brief makes it without parameters."""
    fitted = packs if packs is not None else [file.packs] * file.packs.count
    return day.today(file, flight, fitted, of_file(file), file.return_.speed_m_s or 8.0)


def told(value: Any, unit: str = "") -> Setting:
    return Setting(value, unit, ("A",), Status.UNDERSTOOD)


UNTOLD = Setting(None, "", (), Status.NOT_SEEN, "not seen")


def stage(
    quantity: str,
    threshold: float | str,
    *,
    action: str = "return",
    delay_s: float = 0.0,
    battery: int | None = None,
    name: str = "low",
) -> LowStage:
    unit = {"gauge": "%", "charge_used": "mAh", "charge_left": "mAh"}.get(quantity, "V")
    return LowStage(
        name, battery, told(quantity), told(threshold, unit), told(delay_s, "s"), told(action), told("yes")
    )


def with_stages(*stages: LowStage, **keys: Setting) -> Settings:
    """Return settings of which only the stages and some more are known."""
    bare = read_settings(0, None, {}, vehicle=None, complete=False)
    return replace(bare, low_battery=tuple(stages), **keys)


# The published curves themselves, by numpy: what is worked out by hand must not be worked out by the code
# under test.
_Z = (0.0, 0.01, 0.02, 0.03, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
PUBLISHED_V = {
    "Ecker 2015": (
        3.0, 3.118, 3.207, 3.276, 3.37, 3.485, 3.606, 3.718, 3.773, 3.789, 3.819, 3.888, 3.99, 4.081, 4.2,
    ),
    "Mohtat 2020": (
        3.0, 3.222, 3.344, 3.411, 3.473, 3.513, 3.588, 3.64, 3.672, 3.717, 3.799, 3.881, 3.972, 4.077, 4.2,
    ),
    "Ramadass 2004": (
        3.0, 3.183, 3.293, 3.369, 3.472, 3.606, 3.709, 3.754, 3.789, 3.828, 3.875, 3.932, 3.999, 4.08, 4.2,
    ),
    "Ai 2020": (
        3.0, 3.219, 3.339, 3.424, 3.542, 3.64, 3.695, 3.733, 3.762, 3.793, 3.836, 3.909, 3.994, 4.088, 4.2,
    ),
}  # fmt: skip
"""Open-circuit voltage of four cells between 3.0 and 4.2 V, as pybamm 26.10 gives it of its parameter sets:
`ElectrodeSOHSolver.get_min_max_stoichiometries` with these cut-offs, and both electrodes' potentials between."""
MEAN_V = np.round(np.mean(list(PUBLISHED_V.values()), axis=0), 3)
"""To a millivolt, as a table gives it."""
_MONITOR_V = 0.015
"""What a monitor is off by on a cell: 0.4 % (common practice)."""
APART_V = np.hypot(np.std(list(PUBLISHED_V.values()), axis=0, ddof=1), _MONITOR_V)
"""By how much a cell is off their mean, as it is measured: one deviation of four."""


def open_cell_v(charge: float) -> float:
    return float(np.interp(charge, _Z, MEAN_V))


def apart_v(charge: float) -> float:
    return float(np.interp(charge, _Z, APART_V))


def charge_of(cell_v: float) -> float:
    return float(np.interp(cell_v, MEAN_V, _Z))


def cell_wh(low: float, high: float, ah: float) -> float:
    """Return the energy of a cell without resistance between two charges: the curve's area."""
    corners = [low, *(z for z in _Z if low < z < high), high]
    return float(ah * np.trapezoid([open_cell_v(z) for z in corners], corners))


def charge_above(low: float, wh: float, ah: float) -> float:
    """Return the charge from which so much energy leads down to another."""
    return float(brentq(lambda z: cell_wh(low, z, ah) - wh, low, 1.0))


EMPTY = charge_of(FLOOR_V)
"""Without resistance hover is held above 3.3 V down to 3.2 %."""
