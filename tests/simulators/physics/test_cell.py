"""A cell: its curve against a published one, its factors, and its voltage under current against pybamm."""

from __future__ import annotations

import importlib
import math
import os
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simulators.physics.cell import CELLS, EVEN, GRID, POUCH_22AH, CellModel, broken_line, sampled
from simulators.physics.packs import Pack, PackModel
from tests.estimate.publishedcells import rest_v
from watchkeeper.estimate.packs.curve import PUBLISHED

# The cell of facts section 6 (pybamm): its curve, charge against voltage.
CHARGE = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
ECKER_V = (3.0, 3.294, 3.459, 3.587, 3.709, 3.77, 3.787, 3.815, 3.882, 3.987, 4.079, 4.2)
PLAIN = CellModel(
    capacity_ah=22.0,
    ocv_v=broken_line(list(zip(CHARGE, ECKER_V, strict=True))),
    r0_ohm=1.5e-3,
    r1_ohm=1e-3,
    tau1_s=20.0,
    r2_ohm=0.0,
    tau2_s=1.0,
    activation_k=0.0,
)


def part(name: str) -> Any:
    """Import an outside authority without type stubs: missing it is a skip at home and a failure in CI."""
    try:
        return importlib.import_module(name)
    except ModuleNotFoundError:
        if os.environ.get("CI", "").lower() == "true":
            raise
        pytest.skip(f"{name} is not installed")


def single(cell: CellModel, charge: float, degc: float = 25.0) -> Pack:
    return Pack(PackModel(cell, cells_in_series=1, wiring_ohm=0.0, cooling_w_k=0.0), charge, degc)


def under_current(pack: Pack, current_a: float, step_s: float, ambient_degc: float = 25.0) -> float:
    """Carry a current over a step; return the voltage at the step's end while it still flows."""
    pack.prepare(step_s)
    pack.carry(current_a, ambient_degc)
    return pack.rest_v - current_a * pack.series_ohm


def test_discharge_as_pybamm_computes_it() -> None:
    # facts section 6: pybamm 26.10.1.1, Thevenin with one RC pair, 66 A from 98 % of 22 Ah.
    expected = {1: 4.072573, 20: 4.014912, 60: 3.953586, 300: 3.7485, 600: 3.6186, 900: 3.4586, 1000: 3.353733}
    for step_s in (0.02, 0.1, 0.2):
        pack, steps, found = single(PLAIN, 0.98), round(1 / step_s), {0: 0.0}
        assert pack.rest_v - 66.0 * pack.series_ohm == pytest.approx(4.0768, abs=1e-4)
        for second in range(1, 1001):
            for _ in range(steps):
                found[second] = under_current(pack, 66.0, step_s)
        assert {t: found[t] for t in expected} == pytest.approx(expected, abs=1e-4)


def test_time_at_which_pybamm_stops_the_discharge() -> None:
    # facts section 6: 3.2 V are reached at 1090.18 s.
    pack, time_s = single(PLAIN, 0.98), 0.0
    while under_current(pack, 66.0, 0.02) > 3.2:
        time_s += 0.02
    assert time_s == pytest.approx(1090.18, abs=0.05)


def test_changing_current_through_two_pairs_as_pybamm_computes_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYBAMM_DISABLE_TELEMETRY", "true")
    pybamm = part("pybamm")
    model = pybamm.equivalent_circuit.Thevenin(options={"number of rc elements": 2})
    values = model.default_parameter_values
    curve = np.array(CHARGE), np.array(ECKER_V)
    values.update(
        {
            "Initial SoC": 0.98,
            "Open-circuit voltage [V]": lambda z: pybamm.Interpolant(*curve, z, "ocv", interpolator="linear"),
            "R0 [Ohm]": 1.5e-3, "R1 [Ohm]": 1e-3, "C1 [F]": 4e3, "R2 [Ohm]": 8e-4, "C2 [F]": 1e5,
            "Element-2 initial overpotential [V]": 0.0, "Entropic change [V/K]": 0,
            "Cell capacity [A.h]": 22, "Nominal cell capacity [A.h]": 22, "RCR lookup limit [A]": 500,
            "Lower voltage cut-off [V]": 2.8, "Upper voltage cut-off [V]": 4.25,
            "Current function [A]": lambda t: 60 + 40 * pybamm.sin(t / 15),
        },
        check_already_exists=False,
    )  # fmt: skip
    times_s = np.arange(0.0, 1001.0)
    solution = pybamm.Simulation(model, parameter_values=values).solve(times_s)
    expected = solution["Voltage [V]"](times_s)
    pack = single(replace(PLAIN, tau1_s=4.0, r2_ohm=8e-4, tau2_s=80.0), 0.98)
    for k in range(10_000):
        pack.prepare(0.1)
        pack.carry(60 + 40 * math.sin((k + 0.5) * 0.1 / 15), 25.0)
        if k % 10 == 9:
            time_s = (k + 1) * 0.1
            v = pack.rest_v - (60 + 40 * math.sin(time_s / 15)) * pack.series_ohm
            assert v == pytest.approx(expected[round(time_s)], abs=1e-4)


def test_step_response_of_both_pairs() -> None:
    # Closed form: u = I R (1 - e^(-t/RC)) for each pair (facts section 6).
    cell = replace(PLAIN, ocv_v=broken_line([(0.0, 3.7)]), r1_ohm=0.4e-3, tau1_s=3.0, r2_ohm=0.6e-3, tau2_s=90.0)
    pack = single(cell, 0.9)
    for k in range(3000):
        v = under_current(pack, 80.0, 0.1)
        t = (k + 1) * 0.1
        drop = 1.5e-3 + 0.4e-3 * (1 - math.exp(-t / 3)) + 0.6e-3 * (1 - math.exp(-t / 90))
        assert v == pytest.approx(3.7 - 80 * drop, abs=1e-9)
    for _ in range(3000):
        v = under_current(pack, 0.0, 0.1)
    assert v == pytest.approx(3.7 - 80 * 0.6e-3 * (1 - math.exp(-300 / 90)) * math.exp(-300 / 90), abs=1e-9)


def test_shipped_curve_has_the_shape_of_a_pouch_cell() -> None:
    curve = dict(zip(CHARGE, ECKER_V, strict=True))
    apart_mv = {z: 1000 * (POUCH_22AH.open_circuit(z)[0] - v) for z, v in curve.items()}
    # facts section 6 (Ecker et al. 2015, J. Electrochem. Soc. 162 A1836): reached 23 mV and 50 mV.
    assert max(abs(apart_mv[z]) for z in CHARGE if z >= 0.1) < 25
    assert abs(apart_mv[0.05]) < 55
    # Not the curve of the estimates in another dress: some of it more than 10 mV either way.
    assert min(apart_mv.values()) < -10
    assert max(apart_mv[z] for z in CHARGE if z >= 0.1) > 10
    assert (
        max(
            abs(POUCH_22AH.open_circuit(z / 100)[0] - PUBLISHED["lipo"].rest_voltage_at(z)) for z in range(10, 101)
        )
        > 0.02
    )
    # facts section 6: 30 to 60 % of charge spans about 0.11 V; this cell 0.137 V.
    assert POUCH_22AH.open_circuit(0.6)[0] - POUCH_22AH.open_circuit(0.3)[0] == pytest.approx(0.11, abs=0.03)
    assert POUCH_22AH.open_circuit(1.0)[0] == pytest.approx(4.19, abs=2e-3)
    assert POUCH_22AH.open_circuit(0.04)[0] == pytest.approx(3.30, abs=2e-3)
    assert min(POUCH_22AH.slope_v) > 0


@pytest.mark.parametrize(
    ("kind", "published"), [("nickel", "Mohtat2020"), ("cobalt", "Ai2020"), ("cobalt-steep", "Ramadass2004")]
)
def test_the_other_kinds_are_cells_as_published(kind: str, published: str) -> None:
    """Of pybamm's parameter sets (`publishedcells` names their papers), between 3.0 and 4.2 V."""
    part("pybamm")
    cell, charges = CELLS[kind], tuple(pct / 100 for pct in range(5, 101))
    told = np.array([cell.open_circuit(charge)[0] for charge in charges])
    assert np.max(np.abs(told - rest_v(published, charges))) < 0.012
    assert min(cell.slope_v) > 0
    # and not what the estimates take any cell for
    assert (
        max(abs(v - PUBLISHED["lipo"].rest_voltage_at(100 * z)) for z, v in zip(charges, told, strict=True))
        > 0.015
    )
    # they differ in their curve only
    assert replace(cell, ocv_v=POUCH_22AH.ocv_v) == POUCH_22AH


def test_shipped_resistance_lies_where_such_cells_lie() -> None:
    # facts section 6: about 1 mohm typical of high-current cells, 0.8 to 2.5 mohm DC; 3 to 5 times at -20 (weak).
    dc_ohm = POUCH_22AH.r0_ohm + POUCH_22AH.r1_ohm + POUCH_22AH.r2_ohm
    assert dc_ohm * POUCH_22AH.charge_factor(0.5) == pytest.approx(1e-3, rel=0.01)
    assert 3 < POUCH_22AH.temperature_factor(-20.0) < 5
    assert POUCH_22AH.temperature_factor(25.0) == 1.0
    assert POUCH_22AH.temperature_factor(50.0) < 1.0
    assert POUCH_22AH.charge_factor(0.03) > 1.5


def test_end_of_life() -> None:
    # facts section 6: about twice the resistance (weak); 80 % of capacity is common practice.
    assert POUCH_22AH.age_factor(0) == 1.0
    assert POUCH_22AH.age_factor(POUCH_22AH.life_cycles) == pytest.approx(2.0)
    assert POUCH_22AH.aged_capacity_ah(POUCH_22AH.life_cycles) == pytest.approx(0.8 * 22)
    assert POUCH_22AH.aged_capacity_ah(1e9) == pytest.approx(0.2 * 22)


@pytest.mark.parametrize("charge", [-0.1, -0.03, 0.0, 0.013, 0.5, 0.99999, 1.0, 1.02])
def test_energy_is_the_integral_of_the_curve(charge: float) -> None:
    n = 20_000
    middle = sum(POUCH_22AH.open_circuit(charge * (k + 0.5) / n)[0] for k in range(n)) * charge / n
    assert POUCH_22AH.energy_v(charge) == pytest.approx(middle, abs=1e-6)


def test_curve_goes_on_beyond_its_ends() -> None:
    assert POUCH_22AH.open_circuit(-0.01)[0] == pytest.approx(POUCH_22AH.ocv_v[0] - 0.6)
    assert POUCH_22AH.open_circuit(-5.0) == (0.0, 0.0)
    assert POUCH_22AH.open_circuit(1.01)[0] > POUCH_22AH.ocv_v[-1]
    assert POUCH_22AH.charge_factor(-1.0) == POUCH_22AH.by_charge[0]
    assert POUCH_22AH.charge_factor(2.0) == POUCH_22AH.by_charge[-1]


def test_a_broken_line_meets_its_points_and_holds_its_ends() -> None:
    table = broken_line([(0.25, 2.0), (0.5, 3.0), (0.75, 2.5)])
    assert [table[round(GRID * x)] for x in (0.0, 0.25, 0.375, 0.5, 0.75, 1.0)] == [2.0, 2.0, 2.5, 3.0, 2.5, 2.5]


@pytest.mark.parametrize(
    "wrong",
    [
        {"ocv_v": (3.0, 4.2)},
        {"ocv_v": sampled(lambda z: 4.2 - z)},
        {"by_charge": EVEN[1:]},
        {"by_charge": broken_line([(0.0, 0.0)])},
        {"capacity_ah": 0.0},
        {"tau2_s": 0.0},
        {"r0_ohm": 0.0},
        {"r1_ohm": -1e-3},
    ],
    ids=str,
)
def test_an_impossible_cell_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"values|rises|above 0"):
        replace(POUCH_22AH, **wrong)
