"""Charge and resistance against a measured cell (10.5281/zenodo.2580327) and against progpy's model of another.

The measured pouch cell holds 33.1 Ah by its label; from 60 down to 20 % of that it rests 0.1 to 0.2 V above the
published lithium-ion curve. So the errors found here are those of a pack of which only capacity and chemistry are
known, and of another mixture than the published one.
"""

from __future__ import annotations

import csv
import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tests.conftest import ROOT, RequireData
from tests.estimate.packflight import Bench, Second, Told, fly
from watchkeeper.aircraft.files import load_aircraft_file
from watchkeeper.estimate.packs.cell import charge_factor, temperature_factor
from watchkeeper.estimate.packs.charge import ChargeCount
from watchkeeper.estimate.packs.curve import PUBLISHED
from watchkeeper.estimate.packs.owncurve import unlikely

LABEL_AH = 33.1
FILE = "packs: {chemistry: liion, cells: 12, capacity: 33.1 Ah, cell_floor: 3.0 V}"
FOURTH_CYCLE = 4.0
REST_BEFORE = 25


@cache
def rows(path: Path) -> np.ndarray:
    """Return time (s), current out of the cell (A), voltage (V) and cycle of each row."""
    with path.open(encoding="utf-8") as file:
        told = [row for row in csv.reader(file) if row and row[0] == "No"]
    return np.array([[float(row[1]), -float(row[8]), float(row[9]), float(row[2])] for row in told])


def discharge(path: Path) -> list[Second]:
    """Return a discharge after its rest, each two seconds; the file tells once a minute, between lies a line."""
    told = rows(path)
    at = np.flatnonzero((told[:, 3] == FOURTH_CYCLE) & (told[:, 1] > 20))
    told = told[at[0] - REST_BEFORE : at[-1] + 1]
    return resampled(told, np.arange(0.0, told[-1, 0] - told[0, 0], 2.0))


def resampled(told: np.ndarray, times_s: np.ndarray) -> list[Second]:
    """Return the rows at these times; charge by what was drawn of a full label."""
    begin_s = told[:, 0] - told[0, 0]
    used_ah = np.concatenate([[0.0], np.cumsum(np.diff(begin_s) * told[1:, 1])]) / 3600
    amps = told[np.searchsorted(begin_s, times_s, side="left"), 1]
    volts, used = np.interp(times_s, begin_s, told[:, 2]), np.interp(times_s, begin_s, used_ah)
    return [
        Second(float(t), float(v), float(a) if abs(a) > 0.1 else 0.1, 1 - float(q) / LABEL_AH)
        for t, v, a, q in zip(times_s, volts, amps, used, strict=True)
    ]


def worst(told: list[Told]) -> float:
    return max(abs(one.error) for one in told)


@pytest.mark.parametrize("gauge_pct", [None, 100.0, 70.0])
@pytest.mark.parametrize(("rate", "most"), [("1c", 0.065), ("2c", 0.05), ("3c", 0.05)])
def test_real_discharge_from_rest(
    rate: str, most: float, gauge_pct: float | None, require_data: RequireData
) -> None:
    """Found: 6.0, 4.4 and 2.1 % of charge at worst, with either gauge or none."""
    flight = discharge(require_data(f"cells/cell-discharge-bitrode-{rate}.csv"))
    bench = Bench(FILE)
    told = fly(bench, flight, gauge_pct=gauge_pct, noise_v=0.005, label_ah=LABEL_AH)
    assert worst(told) < most
    within = [abs(one.error) <= 2 * one.doubt for one in told]
    assert sum(within) / len(within) > 0.9
    assert not bench.pack.wrong_current


@pytest.mark.parametrize("rate", ["1c", "2c", "3c"])
def test_real_discharge_is_usable_until_the_cell_is_at_its_floor(rate: str, require_data: RequireData) -> None:
    """The file ends at 3.0 V under load: 0 % comes within half a minute before, and evenly until then."""
    flight = discharge(require_data(f"cells/cell-discharge-bitrode-{rate}.csv"))
    told = fly(Bench(FILE), flight, noise_v=0.005, label_ah=LABEL_AH)
    end_s = told[-1].time_s
    last_s = max(one.time_s for one in told if one.usable_pct > 0)
    assert 0 <= end_s - last_s < 30
    # at constant current what is usable falls evenly with time: 100 % at the start, 0 % at the end
    begin_s = next(s.time_s for s in flight if s.current_a > 20)
    for share in (0.25, 0.5, 0.75):
        at = min(told, key=lambda one, s=share: abs(one.time_s - begin_s - s * (end_s - begin_s)))  # type: ignore[misc]
        assert at.usable_pct == pytest.approx(100 * (1 - share), abs=10)


@pytest.mark.parametrize("degc", [10, 25])
def test_real_pulses_over_twelve_hours(degc: int, require_data: RequireData) -> None:
    """Pulses, slow draws and rests of an hour from full to 3.0 V; the aircraft's counter tells what is drawn."""
    told = rows(require_data(f"cells/cell-low-current-hppc-{degc}c.csv"))
    told = told[np.flatnonzero(told[:, 1] > 29)[0] - 20 :]
    flight = resampled(told, told[:, 0] - told[0, 0])
    found = fly(Bench(FILE), flight, noise_v=0.0, counter=True, label_ah=LABEL_AH)
    within = [abs(one.error) <= 2 * one.doubt for one in found]
    assert worst(found) < 0.08  # found: 6.8 % at 10 and 7.3 % at 25 degrees C
    assert sum(within) / len(within) > 0.9


def rests(path: Path) -> tuple[list[Second], list[int]]:
    """Return the whole file by charge of a full label, and where each pulse after a rest of an hour begins."""
    told = rows(path)
    starts = [i for i in range(1, len(told)) if told[i, 1] > 29 and abs(told[i - 1, 1]) < 1]
    flight = resampled(told, told[:, 0] - told[0, 0])
    before = flight[starts[0] - 1].charge  # it had been charged before the first
    return [one._replace(charge=one.charge + 1.0 - before) for one in flight], starts


CHARGED = (
    "charged: [3.2 Ah from 4.09 V, 9.6 Ah from 3.98 V, 15.9 Ah from 3.91 V, 22.3 Ah from 3.80 V, "
    "28.7 Ah from 3.53 V]"
)
"""What a crew would have noted of this cell: five of its rests at 25 degrees C."""


@pytest.mark.parametrize("degc", [10, 25])
def test_a_half_used_real_cell_is_known_by_what_its_crew_noted(degc: int, require_data: RequireData) -> None:
    """Begun at rests from 90 to 23 %. Found: 1.5 to 5.0 % off (root mean square), without points up to 19 %."""
    flight, starts = rests(require_data(f"cells/cell-low-current-hppc-{degc}c.csv"))
    new = FILE[:-1] + ", age: 0 cycles}"
    offs: dict[bool, list[float]] = {False: [], True: []}
    for known in (False, True):
        for start in starts[1:9]:
            bench = Bench(f"{new[:-1]}, {CHARGED}}}" if known else new)
            found = fly(bench, flight[start - 20 :], noise_v=0.0, counter=True, label_ah=LABEL_AH)
            offs[known].append(float(np.sqrt(np.mean([one.error**2 for one in found]))))
    assert max(offs[True]) < 0.055
    assert max(offs[True][3:]) < 0.035  # from 62 % down
    assert min(offs[False][3:]) > 0.09


@pytest.mark.parametrize("age", ["", ", age: 300 cycles"])
def test_no_rest_of_the_real_cell_is_taken_for_a_slip(age: str, require_data: RequireData) -> None:
    told = rows(require_data("cells/cell-low-current-hppc-25c.csv"))
    flight, starts = rests(require_data("cells/cell-low-current-hppc-25c.csv"))
    points = [f"{LABEL_AH * (1.0 - flight[i - 1].charge):.2f} Ah from {told[i - 1, 2]:.3f} V" for i in starts]
    assert unlikely(load_aircraft_file(f"{FILE[:-1]}{age}, charged: [{', '.join(points)}]}}", "a").packs) == []


def pulses(path: Path) -> dict[int, float]:
    """Return by steps of about 10 % of charge (from 10 = full) a pulse's resistance over 30 s, ohm."""
    told = rows(path)
    starts = [i for i in range(1, len(told)) if told[i, 1] > 29 and abs(told[i - 1, 1]) < 1]
    found = {}
    for step, i in enumerate(starts):
        j = i
        while told[j + 1, 1] > 29:
            j += 1
        found[10 - step] = (told[i - 1, 2] - told[j, 2]) / 30.0
    return found


def test_resistance_factors_against_measured_pulses(require_data: RequireData) -> None:
    cold = pulses(require_data("cells/cell-low-current-hppc-10c.csv"))
    warm = pulses(require_data("cells/cell-low-current-hppc-25c.csv"))
    assert len(cold) == len(warm) == 10
    ratios = [cold[step] / warm[step] for step in range(2, 10)]
    # found: 1.49 to 1.56; the factor, 1.59, is a little too careful in the cold
    assert temperature_factor(10.0) / temperature_factor(25.0) == pytest.approx(float(np.mean(ratios)), rel=0.06)
    for pulses_of in (cold, warm):
        flat = np.mean([pulses_of[step] for step in range(3, 8)])
        # the tenth pulse is at 13 % of the label, 5 % before the cell's own end; the pulse itself draws 0.8 %
        assert pulses_of[1] / flat == pytest.approx(charge_factor(0.10), rel=0.15)
        assert pulses_of[5] / flat == pytest.approx(charge_factor(0.5), rel=0.03)


# --- progpy ------------------------------------------------------------------------------------------------------

OTHER = json.loads((ROOT / "tests/authorities/progpy_battery.json").read_text(encoding="utf-8"))
OTHER_AH = OTHER["capacity_c"] / 3600


@pytest.mark.parametrize(("time_s", "volt"), [(300, 3.8598), (600, 3.7922), (1800, 3.5910), (3600, 3.3451)])
def test_the_series_is_progpys(time_s: float, volt: float) -> None:
    # facts section 6
    told = {row[0]: row[1] for row in OTHER["steady"]}
    assert told[time_s] == pytest.approx(volt, abs=6e-5)
    assert max(told) == pytest.approx(3803, abs=1)


@pytest.mark.parametrize("name", ["steady", "hover"])
def test_the_count_follows_progpys_charge(name: str) -> None:
    # progpy's charge counts 7 777 C (CMax in Daigle and Sankararaman 2013) of the 7 856 that the cell holds
    count = ChargeCount(7777 / 3600, PUBLISHED["liion"])
    for time_s, _, current_a, truth in OTHER[name]:
        first = time_s == 0
        left_pct = count.update(
            4.2 if first else None, 0.01 if first else current_a, None, None, int(time_s * 1e6) + 1
        )
        assert left_pct == pytest.approx(100 * truth, abs=0.05)


def flown_other(name: str) -> tuple[Bench, list[Told]]:
    flight = [Second(t, v, a, q) for t, v, a, q in OTHER[name]]
    flight[0] = flight[0]._replace(current_a=0.05)
    bench = Bench(f"packs: {{chemistry: liion, cells: 1, capacity: {OTHER_AH:.3f} Ah, cell_floor: 3.0 V}}")
    return bench, fly(bench, flight, cells=1, noise_v=0.0, label_ah=OTHER_AH)


@pytest.mark.parametrize("name", ["steady", "hover"])
def test_a_cell_of_another_kind_is_followed_to_its_end(name: str) -> None:
    """Eight times the expected resistance, a curve 0.2 V off. Found: up to 21 and 28 % too high in between."""
    _, told = flown_other(name)
    assert worst(told) < 0.15
    # its end at 3.0 V: nearly nothing is told to be usable, and half way there is no less than half of the half
    assert told[-1].usable_pct < 10
    assert 25 < told[len(told) // 2].usable_pct < 60


@pytest.mark.parametrize("name", ["steady", "hover"])
def test_a_cell_of_another_kind_is_not_taken_for_a_wrong_current(name: str) -> None:
    bench, told = flown_other(name)
    assert not bench.pack.wrong_current
    assert worst(told) < 0.15
