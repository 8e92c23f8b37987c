"""The cell against a measured 33 Ah pouch cell: fitted to pulses and a slow discharge, it predicts the rest.

Data: Wiggins, Allu, Wang, Oak Ridge National Laboratory, doi 10.5281/zenodo.2580327. Fitted are only the 1C
discharge and the pulses at 25 degrees C. Taken as given: the shipped activation energy; 700 J/K (a kilogram of
such cells takes about 1 kJ/K) and 2 W/K of cooling (forced air in a chamber), which nobody measured: with 1 or
3 W/K the 2C prediction is off by 21 or 10 mV, the 3C one by 105 or 75 mV. The cell was made for energy: at 3C a
tenth of its voltage is lost, several times what a high-current cell loses in a flight, and near empty its loss
grows faster than the current, which no linear pair can follow.
"""

from __future__ import annotations

import csv
import importlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest

from simulators.physics.cell import CellModel, broken_line
from simulators.physics.packs import Pack, PackModel
from tests.conftest import RequireData

optimize = importlib.import_module("scipy.optimize")  # without type stubs

Array = np.ndarray[Any, np.dtype[np.float64]]
CAPACITY_AH = 30.51
"""What the 25 degree pulse test drew in all, down to 3.0 V."""
PULSE_A = 30.0


class Pulse(NamedTuple):
    """30 s of 30 A after an hour of rest, then rest: drop below the resting voltage by time since its start."""

    charge: float
    rest_v: float
    time_s: Array
    drop_v: Array
    samples: int


class Discharge(NamedTuple):
    """A whole discharge at one current after 600 s of rest from full."""

    current_a: float
    time_s: Array
    charge: Array
    voltage_v: Array


def rows(path: Path) -> Array:
    """Return time, cycle, current (discharge positive) and voltage of every row that is one."""
    with path.open(encoding="utf-8") as file:
        good = [row for row in csv.reader(file) if row and row[0] == "No"]
    return np.array([(float(r[1]), int(r[2]), -float(r[8]), float(r[9])) for r in good])


def pulses(path: Path) -> list[Pulse]:
    time_s, _, current_a, voltage_v = rows(path).T
    drawn_ah = np.concatenate([[0.0], np.cumsum(np.diff(time_s) * current_a[1:])]) / 3600
    on = current_a > PULSE_A - 5
    found = []
    for start in np.flatnonzero(on[1:] & ~on[:-1]) + 1:
        samples = int(np.argmin(on[start:]))
        part = slice(start, start + samples + 39)
        rest_v = voltage_v[start - 1]
        charge = 1 - (drawn_ah[start - 1] - drawn_ah.min()) / CAPACITY_AH
        # The first sample of a pulse lies about 0.1 s after its start.
        found.append(Pulse(charge, rest_v, time_s[part] - time_s[start] + 0.1, rest_v - voltage_v[part], samples))
    return found


def discharge(path: Path) -> Discharge:
    """Return the second cycle, which began rested."""
    time_s, cycle, current_a, voltage_v = rows(path).T
    inside = (cycle == 2) & (current_a > 5)
    current = float(current_a[inside].mean())
    since_s = time_s[inside] - time_s[inside][0] + 1.0
    return Discharge(current, since_s, 1 - current * since_s / 3600 / CAPACITY_AH, voltage_v[inside])


def single(cell: CellModel, charge: float, degc: float) -> Pack:
    return Pack(PackModel(cell, cells_in_series=1, wiring_ohm=0.0, case_j_k=0.0, cooling_w_k=2.0), charge, degc)


def pulse_drop_v(cell: CellModel, pulse: Pulse, degc: float) -> Array:
    """Return the model's drop at the samples of a pulse."""
    pack, before_s, drops = single(cell, pulse.charge, degc), 0.0, []
    start_v = pack.rest_v
    for index, time_s in enumerate(pulse.time_s):
        current_a = PULSE_A if index < pulse.samples else 0.0
        pack.prepare(time_s - before_s)
        pack.carry(current_a, degc)
        drops.append(start_v - pack.rest_v + current_a * pack.series_ohm)
        before_s = time_s
    return np.array(drops)


def voltage_v(cell: CellModel, measured: Discharge) -> Array:
    """Return the model's voltage at the samples of a discharge from full, second by second."""
    pack, found = single(cell, 1.0, 25.0), []
    seconds = np.arange(1, int(measured.time_s[-1]) + 1)
    for _ in seconds:
        pack.prepare(1.0)
        pack.carry(measured.current_a, 25.0)
        found.append(pack.rest_v - measured.current_a * pack.series_ohm)
    return np.asarray(np.interp(measured.time_s, seconds, found))


def at_charge(charge: Array | list[float], measured: Discharge, values: Array) -> Array:
    return np.asarray(np.interp(charge, measured.charge[::-1], values[::-1]))


@dataclass(frozen=True)
class Fit:
    """The fitted cell, and what was measured."""

    cell: CellModel
    pulses_25: list[Pulse]
    pulses_10: list[Pulse]
    discharges: dict[int, Discharge]


def resistance_ohm(pulse: Pulse, drop_v: Array, time_s: float) -> float:
    return float(np.interp(time_s, pulse.time_s, drop_v)) / PULSE_A


@pytest.fixture(scope="module")
def fit(require_data: RequireData) -> Fit:
    """Fit resistances and time constants, then read the open-circuit curve off the 1C discharge."""
    warm = pulses(require_data("cells/cell-low-current-hppc-25c.csv"))
    cold = pulses(require_data("cells/cell-low-current-hppc-10c.csv"))
    runs = {c: discharge(require_data(f"cells/cell-discharge-bitrode-{c}c.csv")) for c in (1, 2, 3)}
    rising = sorted(warm)
    ten_s = [resistance_ohm(pulse, pulse.drop_v, 10.0) for pulse in rising]
    middle = float(np.interp(0.5, [pulse.charge for pulse in rising], ten_s))
    rested = CellModel(
        capacity_ah=CAPACITY_AH,
        ocv_v=broken_line([(pulse.charge, pulse.rest_v) for pulse in rising]),
        r0_ohm=1.5e-3,
        r1_ohm=0.5e-3,
        tau1_s=10.0,
        r2_ohm=2e-3,
        tau2_s=150.0,
        by_charge=broken_line([(p.charge, ohm / middle) for p, ohm in zip(rising, ten_s, strict=True)]),
        heat_capacity_j_k=700.0,
    )
    slow = runs[1]

    def cell_of(x: Array) -> CellModel:
        r0, r1, tau1, r2, tau2 = (float(value) for value in x)
        return replace(rested, r0_ohm=r0 / 1e3, r1_ohm=r1 / 1e3, tau1_s=tau1, r2_ohm=r2 / 1e3, tau2_s=tau2)

    def loss_v(cell: CellModel) -> Array:
        return np.array([cell.open_circuit(z)[0] for z in slow.charge]) - voltage_v(cell, slow)

    def apart_mv(x: Array) -> Array:
        cell = cell_of(x)
        apart = [
            (pulse_drop_v(cell, p, 25.0) - p.drop_v) / np.sqrt(len(p.time_s)) for p in warm if 0.1 < p.charge < 0.9
        ]
        inner = [p for p in warm if 0.1 < p.charge < 0.9]
        lost = np.array([p.rest_v for p in inner]) - at_charge([p.charge for p in inner], slow, slow.voltage_v)
        apart.append(lost - at_charge([p.charge for p in inner], slow, loss_v(cell)))
        return 1e3 * np.concatenate(apart)

    # The slow pair is held to 200 s, which the fit takes up: this cell has slower losses too.
    found = optimize.least_squares(
        apart_mv, [1.5, 0.5, 10.0, 2.0, 150.0], bounds=(0.01, [5.0, 5.0, 30.0, 10.0, 200.0])
    )
    cell = cell_of(found.x)
    open_v = np.maximum.accumulate((slow.voltage_v + loss_v(cell))[::-1])
    points = [
        *zip(slow.charge[::-1].tolist(), open_v.tolist(), strict=True),
        (1.0, max(warm[0].rest_v, open_v[-1])),
    ]
    return Fit(replace(cell, ocv_v=broken_line(points)), warm, cold, runs)


def rms_mv(fit: Fit, rate: int, low: float = 0.1) -> float:
    """Return how far the prediction lies from a discharge, from a charge of `low` to 90 %."""
    measured = fit.discharges[rate]
    charge = np.linspace(low, 0.9, 81)
    apart = at_charge(charge, measured, voltage_v(fit.cell, measured) - measured.voltage_v)
    return float(1e3 * np.sqrt(np.mean(apart**2)))


def test_the_fit_is_a_cell_of_its_kind(fit: Fit) -> None:
    cell = fit.cell
    # facts section 6: 16 to 30 Ah cells have 0.8 to 2.5 mohm; this one has 1.6 at once, and more after minutes.
    assert 0.8e-3 < cell.r0_ohm + cell.r1_ohm < 2.5e-3
    assert cell.r2_ohm < 2.5e-3
    # The curve read off the 1C discharge agrees with the rests of an hour. Reached: 13 mV.
    inner = [p for p in fit.pulses_25 if 0.1 < p.charge < 0.9]
    assert max(abs(cell.open_circuit(p.charge)[0] - p.rest_v) for p in inner) < 0.016


def test_pulse_voltages_at_25_degrees(fit: Fit) -> None:
    # Fitted; reached: 5.4 mV at worst, 0.7 to 1.7 mV mostly, of drops of 74 to 86 mV.
    for pulse in fit.pulses_25[1:-1]:
        apart = pulse_drop_v(fit.cell, pulse, 25.0) - pulse.drop_v
        assert float(np.sqrt(np.mean(apart**2))) < 6e-3


def test_1c_discharge(fit: Fit) -> None:
    # Fitted: the open-circuit curve is read off it; the table's coarseness is left. Reached: less than 0.1 mV.
    assert rms_mv(fit, 1) < 0.2


def test_2c_discharge_is_predicted(fit: Fit) -> None:
    # Reached: 12.3 mV.
    assert rms_mv(fit, 2) < 15.0


def test_3c_discharge_is_predicted(fit: Fit) -> None:
    # Reached: 87 mV from 10 %, 27 mV from 40 %: near empty the real loss grows faster than the current.
    assert rms_mv(fit, 3) < 95.0
    assert rms_mv(fit, 3, low=0.4) < 30.0


@pytest.mark.parametrize("time_s", [0.1, 10.0, 29.6])
def test_resistance_at_10_degrees_is_predicted(fit: Fit, time_s: float) -> None:
    # Reached: 1 to 14 % too low, for this cell stiffens more in the cold than by the shipped 4 times at -20.
    for pulse in fit.pulses_10[1:-1]:
        predicted = resistance_ohm(pulse, pulse_drop_v(fit.cell, pulse, 10.0), time_s)
        assert predicted == pytest.approx(resistance_ohm(pulse, pulse.drop_v, time_s), rel=0.15)


def test_cold_raises_the_resistance_as_measured(fit: Fit) -> None:
    # The ratio of 10 to 25 degrees alone, at 10 s: measured 1.54 to 1.60, mean 1.577; the model's factor is 1.512.
    ratios = [
        resistance_ohm(cold, cold.drop_v, 10.0) / resistance_ohm(warm, warm.drop_v, 10.0)
        for cold, warm in zip(fit.pulses_10[1:-1], fit.pulses_25[1:-1], strict=True)
    ]
    assert fit.cell.temperature_factor(10.0) == pytest.approx(float(np.mean(ratios)), rel=0.05)
