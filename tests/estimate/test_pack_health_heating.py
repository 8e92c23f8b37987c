"""How fast a pack warms, against the heat that its current makes: m c dT/dt = R I^2, by scipy's integrator."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from watchkeeper.estimate.packs.heating import UNKNOWN_DEGC_MIN, Heating, heat_capacity_j_k

solve_ivp: Any = importlib.import_module("scipy.integrate").solve_ivp  # comes without types
OHM = 0.018 * 1.67  # facts.md section 6: 12 times 1.5 mohm, with its relaxing part
CAPACITY_J_K = heat_capacity_j_k(22.0, 12)


def hover(_: float) -> float:
    return 75.0


def climb(time_s: float) -> float:
    return 150.0 if time_s < 40.0 else 75.0


def warmed(amps: Callable[[float], float], seconds: int, own_degc_min: float = 0.0) -> np.ndarray:
    """Return temperatures each second; nothing is given off."""

    def rise(time_s: float, _: np.ndarray) -> list[float]:
        return [OHM * amps(time_s) ** 2 / CAPACITY_J_K + (own_degc_min / 60.0 if time_s > 100.0 else 0.0)]

    whole: np.ndarray = solve_ivp(rise, (0, seconds), [25.0], t_eval=np.arange(seconds), max_step=1.0).y[0]
    return whole


def told(
    amps: Callable[[float], float], degc: np.ndarray, *, known: bool = True, step_degc: float = 0.1
) -> list[float | None]:
    heating, found = Heating(), []
    for second, temperature in enumerate(degc):
        shown = round(float(temperature) / step_degc) * step_degc
        ohm, heat = (OHM, CAPACITY_J_K) if known else (None, None)
        heating.update(float(second), shown, amps(second), ohm, heat)
        found.append(heating.beyond)
    return found


def test_the_heat_capacity_of_a_heavy_pack() -> None:
    # 976.8 Wh (facts.md: 1953.6 of two), about 5.4 kg at 180 Wh/kg, 1 kJ/(kg K): common practice, from memory
    assert heat_capacity_j_k(22.0, 12) == pytest.approx(976.8 / 180 * 1000, rel=1e-3)


@pytest.mark.parametrize("amps", [hover, climb])
@pytest.mark.parametrize("step_degc", [0.1, 1.0])
def test_what_the_current_explains_is_no_heat_of_its_own(amps: Callable[[float], float], step_degc: float) -> None:
    found = told(amps, warmed(amps, 300), step_degc=step_degc)
    assert max(v for v in found if v is not None) < 1.0
    assert found[40] is None  # too short to tell
    assert found[-1] is not None


@pytest.mark.parametrize("step_degc", [0.1, 1.0])
def test_a_pack_that_heats_by_itself(step_degc: float) -> None:
    found = told(hover, warmed(hover, 240, own_degc_min=10.0), step_degc=step_degc)
    # once explained (1.9 degrees C a minute), of which twice is allowed: 10 - 1.9 beyond
    explained = 60 * OHM * 75.0**2 / CAPACITY_J_K
    assert found[-1] == pytest.approx(10.0 - explained, abs=1.2)
    assert found[95] is not None
    assert found[95] < 1.0


def test_without_resistance_or_capacity_only_what_no_load_makes() -> None:
    assert told(hover, warmed(hover, 300), known=False)[-1] == 0.0
    found = told(hover, warmed(hover, 240, own_degc_min=20.0), known=False)[-1]
    assert found == pytest.approx(20.0 + 60 * OHM * 75.0**2 / CAPACITY_J_K - UNKNOWN_DEGC_MIN, abs=1.2)


def test_one_odd_report_moves_nothing_and_an_impossible_one_is_none() -> None:
    heating = Heating()
    for second in range(120):
        degc = 90.0 if second == 80 else 25.0
        heating.update(float(second), degc, 1.0, OHM, CAPACITY_J_K)
    assert heating.beyond == 0.0
    for odd in (None, -273.0, 327.0, float("nan"), float("inf")):
        heating.update(121.0, odd, 1.0, OHM, CAPACITY_J_K)
        assert heating.beyond is None


def test_a_hole_begins_anew() -> None:
    heating = Heating()
    for second in [*range(90), *range(400, 440)]:
        heating.update(float(second), 25.0 if second < 200 else 45.0, 1.0, OHM, CAPACITY_J_K)
    assert heating.beyond is None
